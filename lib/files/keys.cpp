// SPDX-License-Identifier: Apache-2.0
#include "files/keys.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "files/key_values.hpp"
#include "files/paths.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

Key make(std::string name, KeyKind kind, std::string help) {
  Key key;
  key.name = std::move(name);
  key.kind = kind;
  key.help = std::move(help);
  return key;
}

Key made_with_table(std::string name, KeyKind kind, const KeyTable& table, std::string help) {
  Key key = make(std::move(name), kind, std::move(help));
  key.table = &table;
  return key;
}

}  // namespace

Key Key::possible(double low, double high) const {
  Key key = *this;
  key.possible_range = {low, high};
  return key;
}

Key Key::published(double low, double high, std::string source) const {
  Key key = *this;
  key.published_range = {low, high};
  key.published_source = std::move(source);
  return key;
}

Key Key::fallback(std::string text) const {
  Key key = *this;
  key.fallback_text = std::move(text);
  return key;
}

Key Key::required() const {
  Key key = *this;
  key.is_required = true;
  return key;
}

Key Key::or_words(std::vector<std::string> words) const {
  Key key = *this;
  key.word_list = std::move(words);
  return key;
}

Key Key::length(std::size_t fewest_items, std::size_t most_items) const {
  Key key = *this;
  key.fewest = fewest_items;
  key.most = most_items;
  return key;
}

Key quantity(std::string name, std::string unit, std::string help) {
  Key key = make(std::move(name), KeyKind::quantity, std::move(help));
  key.unit = std::move(unit);
  return key;
}
Key count(std::string name, std::string help) {
  return make(std::move(name), KeyKind::count, std::move(help));
}
Key word(std::string name, std::vector<std::string> words, std::string help) {
  return make(std::move(name), KeyKind::word, std::move(help)).or_words(std::move(words));
}
Key text(std::string name, std::string help) {
  return make(std::move(name), KeyKind::text, std::move(help));
}
Key flag(std::string name, std::string help) {
  return make(std::move(name), KeyKind::flag, std::move(help));
}
Key file(std::string name, std::string folder, std::string help) {
  Key key = make(std::move(name), KeyKind::file, std::move(help));
  key.folder = std::move(folder);
  return key;
}
Key quantities(std::string name, std::string unit, std::string help) {
  Key key = make(std::move(name), KeyKind::quantities, std::move(help));
  key.unit = std::move(unit);
  return key;
}
Key words(std::string name, std::vector<std::string> words, std::string help) {
  return make(std::move(name), KeyKind::words, std::move(help)).or_words(std::move(words));
}
Key texts(std::string name, std::string help) {
  return make(std::move(name), KeyKind::texts, std::move(help));
}
Key map(std::string name, const KeyTable& table, std::string help) {
  return made_with_table(std::move(name), KeyKind::map, table, std::move(help));
}
Key maps(std::string name, const KeyTable& table, std::string help) {
  return made_with_table(std::move(name), KeyKind::maps, table, std::move(help));
}
Key entries(std::string name, const KeyTable& table, std::string help) {
  return made_with_table(std::move(name), KeyKind::entries, table, std::move(help));
}
Key anything(std::string name, std::string help) {
  return make(std::move(name), KeyKind::anything, std::move(help));
}

const std::vector<Key>* KeyTable::variant(std::string_view variant_name) const {
  for (const auto& [word, extra] : variants)
    if (word == variant_name) return &extra;
  return nullptr;
}

const Key* find_key(const KeyTable& table, std::string_view variant, std::string_view name) {
  for (const Key& key : table.keys)
    if (key.name == name) return &key;
  if (const auto* extra = table.variant(variant))
    for (const Key& key : *extra)
      if (key.name == name) return &key;
  return nullptr;
}

std::vector<const Key*> keys_of(const KeyTable& table, std::string_view variant) {
  std::vector<const Key*> all;
  for (const Key& key : table.keys) all.push_back(&key);
  if (const auto* extra = table.variant(variant))
    for (const Key& key : *extra) all.push_back(&key);
  return all;
}

std::string chosen_variant(const Node& map, const KeyTable& table, std::string_view entry_name) {
  const Key* chooser = table.chooser.empty() ? nullptr : find_key(table, {}, table.chooser);
  if (!chooser) return {};
  const auto known = [&](std::string_view word) {
    const auto& list = chooser->word_list;
    return std::find(list.begin(), list.end(), word) != list.end() ? std::string(word)
                                                                   : std::string();
  };
  if (const Node* told = map.find(table.chooser))
    return told->is_text() ? known(told->text) : std::string();
  if (std::string by_name = known(entry_name); !by_name.empty()) return by_name;
  return chooser->fallback_text ? known(*chooser->fallback_text) : std::string();
}

std::shared_ptr<const Node> default_node(const Key& key) {
  if (!key.fallback_text) return nullptr;
  const auto source = make_source("default of " + key.name, {}, *key.fallback_text);
  const std::string& text = *key.fallback_text;
  if (!text.empty() && (text.front() == '[' || text.front() == '{')) {
    Problems problems;
    auto parsed = parse_document(source, problems);
    return parsed ? std::make_shared<const Node>(std::move(*parsed)) : nullptr;
  }
  return std::make_shared<const Node>(Node::make_text(text, {source, 1, 1}));
}

std::string range_text(const Interval& range, std::string_view unit) {
  const bool below = std::isfinite(range.low);
  const bool above = std::isfinite(range.high);
  const auto shown = [&](double x) {
    if (unit.empty()) return units::shortest(x);
    // Nobody thinks in 0.000277… h.
    if (unit == "h" && x != 0 && std::abs(x) < 1.0 / 60) return fmt::format("{:g} s", x * 3600);
    if (unit == "h" && x != 0 && std::abs(x) < 1.0) return fmt::format("{:g} min", x * 60);
    return units::from_model(x, unit);
  };
  if (below && above) return fmt::format("between {} and {}", shown(range.low), shown(range.high));
  if (below) return "at least " + shown(range.low);
  if (above) return "at most " + shown(range.high);
  return {};
}

std::string expected(const Key& key) {
  const std::string list = fmt::format("{}", fmt::join(key.word_list, ", "));
  const auto with_range = [&](std::string what) {
    const std::string range = range_text(key.possible_range, key.unit);
    return range.empty() ? what : what + ", " + range;
  };
  switch (key.kind) {
    case KeyKind::quantity:
      return with_range((key.word_list.empty() ? "" : "one of " + list + ", or ") +
                        units::description(key.unit));
    case KeyKind::count:
      return with_range("a whole number");
    case KeyKind::word:
      return "one of " + list;
    case KeyKind::text:
      return "a text";
    case KeyKind::flag:
      return "true or false";
    case KeyKind::file:
      return "a name from the folder " + key.folder;
    case KeyKind::quantities:
      return with_range("a list in [ ], each " + units::description(key.unit));
    case KeyKind::words:
      return "a list in [ ] of " + list;
    case KeyKind::texts:
      return "a list in [ ] of texts";
    case KeyKind::map:
      return "a map";
    case KeyKind::maps:
      return "a list of maps";
    case KeyKind::entries:
      return "a map of named entries";
    case KeyKind::anything:
      break;
  }
  return "a value";
}

namespace {

void faults_of(const KeyTable& table, const std::string& path, std::set<const KeyTable*>& seen,
               std::vector<std::string>& found);

void faults_of(const Key& key, const std::string& path, std::set<const KeyTable*>& seen,
               std::vector<std::string>& found) {
  const auto fault = [&](const std::string& what) { found.push_back(path + ": " + what); };
  const bool measured = key.kind == KeyKind::quantity || key.kind == KeyKind::quantities;
  if (key.help.empty()) fault("no help");
  if (key.name.empty() || key.name.find('.') != std::string::npos) fault("bad name");
  if (measured && !units::is_unit(key.unit)) return fault("unknown unit " + key.unit);
  if (!(key.possible_range.low <= key.possible_range.high)) fault("empty possible range");
  if (!(key.published_range.low <= key.published_range.high)) fault("empty published range");
  if (std::isfinite(key.published_range.low) &&
      !key.possible_range.contains(key.published_range.low))
    fault("published range begins outside the possible");
  if (std::isfinite(key.published_range.high) &&
      !key.possible_range.contains(key.published_range.high))
    fault("published range ends outside the possible");
  if ((key.kind == KeyKind::word || key.kind == KeyKind::words) && key.word_list.empty())
    fault("no words");
  if (key.kind == KeyKind::file && key.folder.empty()) fault("no folder");
  if (key.is_required && key.fallback_text) fault("required, and has a default");
  if (key.fallback_text) {
    const auto node = default_node(key);
    if (!node) {
      fault("the default is no YAML");
    } else if (key.kind != KeyKind::file) {
      Problems problems;
      check_value(key, *node, path, problems);
      if (!problems.all().empty()) fault("the default: " + problems.all().front().message);
    }
  }
  if (key.table) faults_of(*key.table, path, seen, found);
}

void faults_of(const KeyTable& table, const std::string& path, std::set<const KeyTable*>& seen,
               std::vector<std::string>& found) {
  if (!seen.insert(&table).second) return;
  const auto check_names = [&](std::string_view variant) {
    std::set<std::string> names;
    for (const Key* key : keys_of(table, variant))
      if (!names.insert(key->name).second) found.push_back(joined(path, key->name) + ": twice");
  };
  check_names({});
  for (const Key& key : table.keys) faults_of(key, joined(path, key.name), seen, found);
  for (const auto& [word, extra] : table.variants) {
    check_names(word);
    for (const Key& key : extra)
      faults_of(key, joined(path, fmt::format("({}){}", word, key.name)), seen, found);
  }
  if (table.chooser.empty()) {
    if (!table.variants.empty()) found.push_back(path + ": variants without a chooser");
    return;
  }
  const Key* chooser = find_key(table, {}, table.chooser);
  if (!chooser || chooser->kind != KeyKind::word)
    return found.push_back(path + ": the chooser is no word key");
  for (const auto& variant : table.variants)
    if (std::find(chooser->word_list.begin(), chooser->word_list.end(), variant.first) ==
        chooser->word_list.end())
      found.push_back(path + ": variant " + variant.first + " is no word of the chooser");
}

Node filled(const Node& node, const Key& key);

Node filled_map(const Node& map, const KeyTable& table, std::string_view entry_name) {
  const std::string variant = chosen_variant(map, table, entry_name);
  Node result = Node::make_map(map.origin);
  const auto add = [&](const std::string& name, Node value) {
    result.entries.push_back({name, value.origin, std::move(value)});
  };
  for (const Key* key : keys_of(table, variant)) {
    if (const Node* given = map.find(key->name))
      add(key->name, filled(*given, *key));
    else if (key->name == table.chooser && !variant.empty())
      add(key->name, Node::make_text(variant));
    else if (const auto fallback = default_node(*key))
      add(key->name, filled(*fallback, *key));
  }
  for (const Entry& entry : map.entries)
    if (!find_key(table, variant, entry.key)) result.entries.push_back(entry);
  return result;
}

Node filled(const Node& node, const Key& key) {
  Node result = node;
  if (key.kind == KeyKind::map && node.is_map()) return filled_map(node, *key.table, key.name);
  if (key.kind == KeyKind::maps)
    for (Node& item : result.items)
      if (item.is_map()) item = filled_map(item, *key.table, {});
  if (key.kind == KeyKind::entries)
    for (Entry& entry : result.entries)
      if (entry.value.is_map()) entry.value = filled_map(entry.value, *key.table, entry.key);
  return result;
}

std::string cell(std::string text) {
  for (std::size_t at = 0; (at = text.find('|', at)) != std::string::npos; at += 2)
    text.insert(at, "\\");
  return text;
}

void document_table(const KeyTable& table, std::set<const KeyTable*>& seen, std::string& text);

void document_rows(const std::vector<Key>& keys, std::string& text) {
  text += "| key | takes | published range | default | meaning |\n|---|---|---|---|---|\n";
  for (const Key& key : keys) {
    const std::string published = range_text(key.published_range, key.unit);
    std::string takes = expected(key);
    if (key.table) takes += ": see " + key.table->name;
    text += fmt::format(
        "| `{}` | {} | {} | {} | {} |\n", key.name, cell(takes),
        published + (key.published_source.empty() ? "" : " (" + key.published_source + ")"),
        key.is_required     ? "(required)"
        : key.fallback_text ? "`" + cell(*key.fallback_text) + "`"
                            : "(none)",
        cell(key.help));
  }
  text += "\n";
}

void document_table(const KeyTable& table, std::set<const KeyTable*>& seen, std::string& text) {
  if (!seen.insert(&table).second) return;
  text += fmt::format("## {}\n\n{}\n\n", table.name, table.help);
  document_rows(table.keys, text);
  for (const auto& [word, extra] : table.variants)
    if (!extra.empty()) {
      text += fmt::format("With `{}: {}` also:\n\n", table.chooser, word);
      document_rows(extra, text);
    }
  const auto inner = [&](const std::vector<Key>& keys) {
    for (const Key& key : keys)
      if (key.table) document_table(*key.table, seen, text);
  };
  inner(table.keys);
  for (const auto& variant : table.variants) inner(variant.second);
}

}  // namespace

std::vector<std::string> faults(const KeyTable& table) {
  std::vector<std::string> found;
  std::set<const KeyTable*> seen;
  faults_of(table, {}, seen, found);
  return found;
}

Node with_defaults(const Node& root, const KeyTable& table, std::string_view entry_name) {
  return filled_map(root, table, entry_name);
}

std::string documentation(const KeyTable& table) {
  std::string text;
  std::set<const KeyTable*> seen;
  document_table(table, seen, text);
  return text;
}

}  // namespace serosa::files
