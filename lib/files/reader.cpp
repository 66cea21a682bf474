// SPDX-License-Identifier: Apache-2.0
#include "files/reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "files/key_values.hpp"
#include "files/paths.hpp"
#include "units/nearest.hpp"

namespace serosa::files {
namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();

const Node& empty_map() {
  static const Node node = Node::make_map();
  return node;
}

}  // namespace

Reader::Reader(const Node& map, const KeyTable& table, Problems& problems, std::string path,
               std::string entry_name)
    : node_(&map),
      table_(&table),
      problems_(&problems),
      path_(std::move(path)),
      entry_name_(std::move(entry_name)) {
  if (!check_map(map, path_, problems)) {
    broken_ = true;
    auto empty = std::make_shared<Node>(empty_map());
    empty->origin = map.origin;
    owned_ = std::move(empty);
    node_ = owned_.get();
    return;
  }
  variant_ = chosen_variant(map, table, entry_name_);
  check_keys();
}

void Reader::check_keys() {
  if (!table_->chooser.empty() && variant_.empty()) {
    const Key* chooser = find_key(*table_, {}, table_->chooser);
    if (!chooser) throw std::logic_error("the chooser " + table_->chooser + " is not declared");
    if (const Node* told = node_->find(table_->chooser))
      read_word(*chooser, *told, key_path(chooser->name), *problems_);
    else
      problems_->error(node_->origin, path_,
                       fmt::format("the key {} is missing", quote(chooser->name)),
                       expected(*chooser));
    // Which keys belong here cannot be told, so the others are left alone.
    broken_ = true;
    return;
  }
  for (const Entry& entry : node_->entries)
    if (!find_key(*table_, variant_, entry.key)) report_unknown(entry);
  for (const Key* key : keys_of(*table_, variant_))
    if (key->is_required && !given(key->name) && key->name != table_->chooser)
      problems_->error(node_->origin, path_, fmt::format("the key {} is missing", quote(key->name)),
                       expected(*key));
}

void Reader::report_unknown(const Entry& entry) {
  std::vector<std::string> known;
  for (const Key* key : keys_of(*table_, variant_)) known.push_back(key->name);
  const std::string near = units::nearest(entry.key, known);
  std::string advice = near.empty() ? std::string() : "; did you mean " + near + "?";
  if (entry.value.is_nothing() && entry.key.find(':') != std::string::npos)
    advice = "; write a blank after the colon";
  else if (near.empty())
    for (const auto& [word, extra] : table_->variants)
      if (word != variant_ && find_key(*table_, word, entry.key)) {
        advice = fmt::format("; it belongs to {}: {}", table_->chooser, word);
        break;
      }
  problems_->error(entry.origin, joined(path_, entry.key), "this key is not known" + advice,
                   fmt::format("known keys: {}", fmt::join(known, ", ")));
}

std::string Reader::key_path(std::string_view name) const { return joined(path_, name); }

const Key& Reader::key(std::string_view name, KeyKind kind) {
  const Key* found = find_key(*table_, variant_, name);
  if (!found && broken_) {
    // The variant is not known: any variant's declaration will do.
    for (const auto& variant : table_->variants)
      if (!found) found = find_key(*table_, variant.first, name);
  }
  if (!found || found->kind != kind)
    throw std::logic_error(
        fmt::format("{} is not declared in {} or of another kind", name, table_->name));
  asked_.emplace(name);
  return *found;
}

const Node* Reader::value(const Key& key) {
  if (const Node* given = node_->find(key.name)) return given;
  auto fallback = default_node(key);
  if (!fallback) return nullptr;
  defaults_.push_back(std::move(fallback));
  return defaults_.back().get();
}

double Reader::quantity(std::string_view name) { return maybe_quantity(name).value_or(none); }

std::optional<double> Reader::maybe_quantity(std::string_view name) {
  const Key& which_key = key(name, KeyKind::quantity);
  const Node* node = value(which_key);
  if (!node) return std::nullopt;
  return read_quantity(which_key, *node, key_path(name), *problems_);
}

Reader::QuantityOrWord Reader::quantity_or_word(std::string_view name) {
  const Key& which_key = key(name, KeyKind::quantity);
  const Node* node = value(which_key);
  if (!node) return {{}, none};
  const auto& words = which_key.word_list;
  if (node->is_text() && std::find(words.begin(), words.end(), node->text) != words.end())
    return {node->text, none};
  return {{}, read_quantity(which_key, *node, key_path(name), *problems_).value_or(none)};
}

long Reader::count(std::string_view name) {
  const Key& which_key = key(name, KeyKind::count);
  const Node* node = value(which_key);
  return node ? read_count(which_key, *node, key_path(name), *problems_).value_or(0) : 0;
}

std::string Reader::word(std::string_view name) {
  const Key& which_key = key(name, KeyKind::word);
  if (name == table_->chooser) return variant_;
  const Node* node = value(which_key);
  if (!node) return {};
  const auto place = read_word(which_key, *node, key_path(name), *problems_);
  return place ? which_key.word_list[*place] : std::string();
}

std::size_t Reader::which(std::string_view name) {
  const std::string chosen = word(name);
  const Key& which_key = key(name, KeyKind::word);
  const auto& words = which_key.word_list;
  const auto found = std::find(words.begin(), words.end(), chosen);
  return found == words.end() ? 0 : static_cast<std::size_t>(found - words.begin());
}

std::string Reader::text(std::string_view name) {
  const Key& which_key = key(name, KeyKind::text);
  const Node* node = value(which_key);
  return node ? read_text(which_key, *node, key_path(name), *problems_).value_or("")
              : std::string();
}

bool Reader::flag(std::string_view name) {
  const Key& which_key = key(name, KeyKind::flag);
  const Node* node = value(which_key);
  return node && read_flag(which_key, *node, key_path(name), *problems_).value_or(false);
}

std::optional<std::filesystem::path> Reader::file(std::string_view name,
                                                  const std::filesystem::path& models) {
  const Key& which_key = key(name, KeyKind::file);
  const Node* node = value(which_key);
  if (!node) return std::nullopt;
  const auto chosen = read_text(which_key, *node, key_path(name), *problems_);
  if (!chosen) return std::nullopt;
  return find_data_file(models, which_key.folder, *chosen, node->origin, key_path(name),
                        *problems_);
}

std::vector<double> Reader::quantities(std::string_view name) {
  const Key& which_key = key(name, KeyKind::quantities);
  const Node* node = value(which_key);
  std::vector<double> result;
  if (!node || !check_list(which_key, *node, key_path(name), *problems_)) return result;
  for (std::size_t i = 0; i < node->items.size(); ++i)
    result.push_back(
        read_quantity(which_key, node->items[i], item_path(key_path(name), i), *problems_)
            .value_or(none));
  return result;
}

std::vector<std::string> Reader::words(std::string_view name) {
  const Key& which_key = key(name, KeyKind::words);
  const Node* node = value(which_key);
  std::vector<std::string> result;
  if (!node || !check_list(which_key, *node, key_path(name), *problems_)) return result;
  for (std::size_t i = 0; i < node->items.size(); ++i)
    if (read_word(which_key, node->items[i], item_path(key_path(name), i), *problems_))
      result.push_back(node->items[i].text);
  return result;
}

std::vector<std::string> Reader::texts(std::string_view name) {
  const Key& which_key = key(name, KeyKind::texts);
  const Node* node = value(which_key);
  std::vector<std::string> result;
  if (!node || !check_list(which_key, *node, key_path(name), *problems_)) return result;
  for (std::size_t i = 0; i < node->items.size(); ++i)
    if (read_text(which_key, node->items[i], item_path(key_path(name), i), *problems_))
      result.push_back(node->items[i].text);
  return result;
}

Reader Reader::broken(const Key& key) const {
  Reader reader(empty_map(), KeyTable{key.name, "", {}}, *problems_, key_path(key.name), key.name);
  reader.table_ = key.table;
  reader.broken_ = true;
  auto empty = std::make_shared<Node>(empty_map());
  empty->origin = node_->origin;
  reader.owned_ = std::move(empty);
  reader.node_ = reader.owned_.get();
  return reader;
}

Reader Reader::map(std::string_view name) {
  const Key& which_key = key(name, KeyKind::map);
  if (const Node* node = node_->find(name))
    return Reader(*node, *which_key.table, *problems_, key_path(name), which_key.name);
  if (!which_key.is_required && !which_key.fallback_text && !broken_)
    throw std::logic_error(
        fmt::format("{} of {} may be absent: ask by maybe_map or give it the "
                    "default {{}}",
                    name, table_->name));
  if (!which_key.fallback_text || broken_) return broken(which_key);
  // A default has no place in the file: complaints about what it lacks point to the map around it.
  auto fallback = std::make_shared<Node>(*default_node(which_key));
  fallback->origin = node_->origin;
  Reader reader(*fallback, *which_key.table, *problems_, key_path(name), which_key.name);
  reader.owned_ = std::move(fallback);
  return reader;
}

std::optional<Reader> Reader::maybe_map(std::string_view name) {
  const Key& which_key = key(name, KeyKind::map);
  if (!node_->find(name) && !which_key.fallback_text) return std::nullopt;
  return map(name);
}

std::vector<Reader> Reader::maps(std::string_view name) {
  const Key& which_key = key(name, KeyKind::maps);
  const Node* node = value(which_key);
  std::vector<Reader> result;
  if (!node || !check_list(which_key, *node, key_path(name), *problems_)) return result;
  for (std::size_t i = 0; i < node->items.size(); ++i)
    result.emplace_back(node->items[i], *which_key.table, *problems_, item_path(key_path(name), i));
  return result;
}

std::vector<std::pair<std::string, Reader>> Reader::entries(std::string_view name) {
  const Key& which_key = key(name, KeyKind::entries);
  const Node* node = value(which_key);
  std::vector<std::pair<std::string, Reader>> result;
  if (!node || !check_map(*node, key_path(name), *problems_)) return result;
  for (const Entry& entry : node->entries) {
    const std::string path = joined(key_path(name), entry.key);
    if (entry.key.find('.') != std::string::npos)
      problems_->error(entry.origin, path, "a name holds no dot, which separates names in a path");
    result.emplace_back(entry.key,
                        Reader(entry.value, *which_key.table, *problems_, path, entry.key));
  }
  return result;
}

const Node* Reader::anything(std::string_view name) { return value(key(name, KeyKind::anything)); }

bool Reader::given(std::string_view name) const { return node_->find(name) != nullptr; }

Origin Reader::origin(std::string_view name) const {
  const Node* node = name.empty() ? nullptr : node_->find(name);
  return node ? node->origin : node_->origin;
}

void Reader::error(std::string_view name, std::string message, std::string remark) {
  problems_->error(origin(name), name.empty() ? path_ : key_path(name), std::move(message),
                   std::move(remark));
}

void Reader::warn(std::string_view name, std::string message, std::string remark) {
  problems_->warn(origin(name), name.empty() ? path_ : key_path(name), std::move(message),
                  std::move(remark));
}

void Reader::finish() const {
  if (broken_) return;
  for (const Key* key : keys_of(*table_, variant_))
    if (key->name != table_->chooser && !asked_.contains(key->name))
      throw std::logic_error(
          fmt::format("{} is declared in {} and never read", key->name, table_->name));
}

}  // namespace serosa::files
