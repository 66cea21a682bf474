// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "files/document.hpp"

/// The keys of the input files, declared once. From a KeyTable come the reading (files/reader.hpp),
/// the list of known keys in errors, the file with all defaults filled in, the documentation and
/// the JSON Schema for editors.
namespace serosa::files {

struct Interval {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
  bool contains(double x) const { return x >= low && x <= high; }
};

enum class KeyKind {
  quantity,    ///< number with a unit; with `words`, one of these instead
  count,       ///< whole number
  word,        ///< one of a list
  text,        ///< any text
  flag,        ///< true or false
  file,        ///< the name of a data file of one folder of the models
  quantities,  ///< list of quantities
  words,       ///< list of words
  texts,       ///< list of texts
  map,         ///< a map with its own table
  maps,        ///< list of maps with one table
  entries,     ///< a map from names that the writer chooses to maps with one table
  anything     ///< left to the caller
};

struct KeyTable;

/// One key: what it takes and what it means. Made by the functions below.
struct Key {
  std::string name;
  KeyKind kind = KeyKind::text;
  std::string help;  ///< one line
  std::string unit;  ///< unit of the model, see units/units.hpp
  Interval possible_range;
  Interval published_range;
  std::string published_source;  ///< key in the bibliography
  std::vector<std::string> word_list;
  std::string folder;               ///< of a file
  const KeyTable* table = nullptr;  ///< of map, maps, entries; must outlive the key
  std::optional<std::string> fallback_text;
  bool is_required = false;
  std::size_t fewest = 0;  ///< shortest list
  std::size_t most = 1000;

  /// Values outside are refused; in the key's unit.
  Key possible(double low, double high) const;
  /// Values outside are warned about; `source` is a key in the bibliography.
  Key published(double low, double high, std::string source = {}) const;
  /// Used when the key is absent; written as it would stand in the file. A list is written as a
  /// YAML flow list.
  Key fallback(std::string text) const;
  /// The key must be there.
  Key required() const;
  /// A quantity that may also be one of these words.
  Key or_words(std::vector<std::string> words) const;
  /// Shortest and longest list.
  Key length(std::size_t fewest_items, std::size_t most_items) const;
};

Key quantity(std::string name, std::string unit, std::string help);
Key count(std::string name, std::string help);
Key word(std::string name, std::vector<std::string> words, std::string help);
Key text(std::string name, std::string help);
Key flag(std::string name, std::string help);
Key file(std::string name, std::string folder, std::string help);
Key quantities(std::string name, std::string unit, std::string help);
Key words(std::string name, std::vector<std::string> words, std::string help);
Key texts(std::string name, std::string help);
Key map(std::string name, const KeyTable& table, std::string help);
Key maps(std::string name, const KeyTable& table, std::string help);
Key entries(std::string name, const KeyTable& table, std::string help);
Key anything(std::string name, std::string help);

/// The keys of one map. Keep tables in functions: `const KeyTable& baby_keys() { static const
/// KeyTable table{…}; return table; }`.
///
/// With `chooser`, a word key of that name (declared in `keys`) adds the keys of one of `variants`:
/// `act: cover` adds the keys of a cover. When the chooser is absent and the map is an entry whose
/// name is one of the variants, that name chooses; else the chooser's fallback does.
struct KeyTable {
  std::string name;
  std::string help;
  std::vector<Key> keys;
  std::string chooser = {};
  std::vector<std::pair<std::string, std::vector<Key>>> variants = {};

  /// The keys of one variant, or nullptr.
  const std::vector<Key>* variant(std::string_view name) const;
};

/// Which variant of a table a map takes: empty when the table has none or it is not told.
std::string chosen_variant(const Node& map, const KeyTable& table, std::string_view entry_name);

/// Faults of a table, for tests: unknown units, defaults that do not read or lie outside, empty
/// help, names twice, empty ranges, published outside possible. Goes into inner tables.
std::vector<std::string> faults(const KeyTable& table);

/// The tree with every default filled in, keys in the order of the table.
Node with_defaults(const Node& root, const KeyTable& table, std::string_view entry_name = {});

/// What is expected, in words: "a mass, such as 2.56 kg, between 300 g and 8000 g".
std::string expected(const Key& key);
/// "between 300 g and 8000 g"; empty when every number is possible.
std::string range_text(const Interval& range, std::string_view unit);

/// A Markdown table of the keys, one section for each inner table.
std::string documentation(const KeyTable& table);
/// A JSON Schema (draft 2020-12) for editors.
std::string json_schema(const KeyTable& table);

}  // namespace serosa::files
