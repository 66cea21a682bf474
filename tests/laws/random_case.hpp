// SPDX-License-Identifier: Apache-2.0
// A case drawn at random from everything that the key tables allow.
#pragma once
#include <fmt/format.h>

#include <cmath>
#include <string>
#include <vector>

#include "files/case_file.hpp"
#include "study/random.hpp"

namespace serosa::laws {

/// Draws the tree of a case file: every key may be there or not, every number lies anywhere in its
/// possible range (half of them in the published one), every word and data file has its turn, up
/// to twelve acts of every kind stand at random hours, single parameters lie in their ranges. Only
/// `hold` is left out: it sets what an experiment holds, without bounds.
class RandomCase {
 public:
  RandomCase(const files::Models& models, std::uint64_t seed, std::uint64_t number)
      : models_(models), seed_(seed), number_(number) {}

  files::Node draw() {
    const auto& table = files::case_keys();
    files::Node root = files::Node::make_map();
    for (const auto& key : table.keys) {
      if (key.name == "title") put(root, "title", fmt::format("case {}", number_));
      if (key.name == "baby" || key.name == "bowel" || key.name == "air")
        root.entries.push_back({key.name, {}, map(key.table->keys)});
      if (key.name == "room" || key.name == "wet") add(root, key);
    }
    // Rarely up to 200 h, mostly hours: the time is what a run costs.
    until_ = std::pow(10.0, between(-1.0, chance(0.05) ? 2.3 : 1.6));
    put(root, "until", fmt::format("{:.17g} h", until_));
    put(root, "every", fmt::format("{:.17g} h", until_ / 20));
    files::Node parameters = files::Node::make_map();
    for (const auto& p : models_.parameters)
      if (chance(0.02)) {
        const double value = between(p.model_range.low, p.model_range.high);
        put(parameters, p.name, with_unit(value, p.model_unit));
      }
    root.entries.push_back({"parameters", {}, parameters});
    files::Node timeline = files::Node::make_map();
    const auto& acts = *table_of(table, "timeline");
    const int count = static_cast<int>(between(0, 13));
    for (int i = 0; i < count; ++i) {
      const auto& [word, keys] = acts.variants[pick(acts.variants.size())];
      if (word == "hold") continue;
      files::Node act = map(keys);
      put(act, "act", word);
      const double at = chance(0.1) ? between(-1, 0) : std::pow(until_ + 1, between(0, 1)) - 1;
      put(act, "at", fmt::format("{:.17g} h", at));
      timeline.entries.push_back({fmt::format("{} {}", word, i), {}, act});
    }
    root.entries.push_back({"timeline", {}, timeline});
    return root;
  }

 private:
  double fraction() { return study::open_fraction(study::random_bits(seed_, number_, drawn_++)); }
  double between(double low, double high) { return low + (high - low) * fraction(); }
  bool chance(double share) { return fraction() < share; }
  std::size_t pick(std::size_t size) {
    return static_cast<std::size_t>(fraction() * static_cast<double>(size));
  }

  static const files::KeyTable* table_of(const files::KeyTable& table, std::string_view name) {
    for (const auto& key : table.keys)
      if (key.name == name) return key.table;
    return nullptr;
  }

  static std::string with_unit(double value, const std::string& unit) {
    return unit == "1" ? fmt::format("{:.17g}", value) : fmt::format("{:.17g} {}", value, unit);
  }

  static void put(files::Node& map, const std::string& name, const std::string& text) {
    map.entries.push_back({name, {}, files::Node::make_text(text)});
  }

  files::Node map(const std::vector<files::Key>& keys) {
    files::Node node = files::Node::make_map();
    for (const auto& key : keys) add(node, key);
    return node;
  }

  void add(files::Node& node, const files::Key& key) {
    using files::KeyKind;
    if (!key.is_required && chance(0.5)) return;
    switch (key.kind) {
      case KeyKind::quantity: {
        const bool published = std::isfinite(key.published_range.low) &&
                               std::isfinite(key.published_range.high) && chance(0.5);
        const auto& range = published ? key.published_range : key.possible_range;
        return put(node, key.name, with_unit(between(range.low, range.high), key.unit));
      }
      case KeyKind::count:
        return put(node, key.name,
                   fmt::format("{:.0f}", std::floor(between(key.possible_range.low,
                                                            key.possible_range.high + 1))));
      case KeyKind::word:
        return put(node, key.name, key.word_list[pick(key.word_list.size())]);
      case KeyKind::flag:
        return put(node, key.name, chance(0.5) ? "true" : "false");
      case KeyKind::file: {
        const auto& names = names_in(key.folder);
        return put(node, key.name, names[pick(names.size())]);
      }
      case KeyKind::map:
        node.entries.push_back({key.name, {}, map(key.table->keys)});
        return;
      default:
        return;
    }
  }

  std::vector<std::string> names_in(const std::string& folder) const {
    for (const auto kind : {files::DataKind::cover, files::DataKind::fluid, files::DataKind::warmer,
                            files::DataKind::room})
      if (files::folder_of(kind) == folder) return files::data_names(models_.folder, kind);
    return {};
  }

  const files::Models& models_;
  std::uint64_t seed_;
  std::uint64_t number_;
  std::uint64_t drawn_ = 0;
  double until_ = 0;
};

/// Takes the entry at a dotted path out of a tree; entry names may hold spaces, not dots.
inline bool remove_at(files::Node& node, std::string_view path) {
  for (auto entry = node.entries.begin(); entry != node.entries.end(); ++entry) {
    if (path == entry->key) {
      node.entries.erase(entry);
      return true;
    }
    if (path.substr(0, entry->key.size()) == entry->key && path.size() > entry->key.size() &&
        path[entry->key.size()] == '.')
      return remove_at(entry->value, path.substr(entry->key.size() + 1));
  }
  return false;
}

}  // namespace serosa::laws
