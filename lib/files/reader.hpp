// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "files/keys.hpp"

namespace serosa::files {

/// Reads one map by its KeyTable. The constructor reports unknown keys (with the nearest known
/// one), missing required keys and a node that is no map; each read reports what is wrong with
/// its key and then returns a harmless value (NaN, 0, empty), so that reading goes on and all
/// problems are seen at once. Nothing that was read may be used before
/// `problems.refuse_if_any()`.
///
/// The document must outlive its readers. Asking for a key that the table does not declare, or as
/// another kind, is a fault of the program and throws std::logic_error.
///
/// ```cpp
/// Reader reader(document.root, case_keys(), problems);
/// const double weight = reader.map("baby").quantity("weight");  // g
/// ```
class Reader {
 public:
  Reader(const Node& map, const KeyTable& table, Problems& problems, std::string path = {},
         std::string entry_name = {});

  /// In the unit of the table. NaN when refused or absent without default.
  double quantity(std::string_view key);
  /// Nothing when absent without default, or refused.
  std::optional<double> maybe_quantity(std::string_view key);
  /// One of the words, or a quantity.
  struct QuantityOrWord {
    std::string word;  ///< empty when a quantity was given
    double value;      ///< NaN when a word was given
  };
  QuantityOrWord quantity_or_word(std::string_view key);
  long count(std::string_view key);
  /// The word, or empty when refused or absent.
  std::string word(std::string_view key);
  /// The place of the word in the table's list; 0 when refused. For enums in the same order.
  std::size_t which(std::string_view key);
  std::string text(std::string_view key);
  bool flag(std::string_view key);
  /// The file `models/FOLDER/NAME.yaml`; nothing when absent or refused.
  std::optional<std::filesystem::path> file(std::string_view key,
                                            const std::filesystem::path& models);
  std::vector<double> quantities(std::string_view key);
  std::vector<std::string> words(std::string_view key);
  std::vector<std::string> texts(std::string_view key);
  /// A reader of the inner map. A map that may be absent either has the default `{}` (and is read
  /// as one with all defaults) or is asked for by maybe_map(); anything else throws.
  Reader map(std::string_view key);
  /// Nothing when absent.
  std::optional<Reader> maybe_map(std::string_view key);
  std::vector<Reader> maps(std::string_view key);
  /// Name and reader of each entry, in the order of the file.
  std::vector<std::pair<std::string, Reader>> entries(std::string_view key);
  /// The piece itself, or nullptr when absent.
  const Node* anything(std::string_view key);

  /// True when the key stands in the file (defaults do not count).
  bool given(std::string_view key) const;
  /// The variant chosen by the table's chooser; empty when none.
  const std::string& variant() const { return variant_; }
  const std::string& entry_name() const { return entry_name_; }
  const std::string& path() const { return path_; }
  const Node& node() const { return *node_; }

  /// Where the value of a key stands; the map itself when the key is absent.
  Origin origin(std::string_view key) const;
  /// Reports something about a key, or about the map when `key` is empty.
  void error(std::string_view key, std::string message, std::string remark = {});
  void warn(std::string_view key, std::string message, std::string remark = {});
  Problems& problems() { return *problems_; }

  /// Throws std::logic_error when a declared key was never asked for: an input that is documented
  /// and ignored. Call it when all is read.
  void finish() const;

 private:
  const Key& key(std::string_view name, KeyKind kind);
  /// The node of a key or of its default; nullptr when there is neither.
  const Node* value(const Key& key);
  std::string key_path(std::string_view name) const;
  void check_keys();
  void report_unknown(const Entry& entry);
  /// A reader that acts as an empty map and reports nothing more.
  Reader broken(const Key& key) const;

  std::shared_ptr<const Node> owned_;  // of a map that is not in the file
  const Node* node_;
  const KeyTable* table_;
  Problems* problems_;
  std::string path_;
  std::string entry_name_;
  std::string variant_;
  bool broken_ = false;
  std::vector<std::shared_ptr<const Node>> defaults_;
  std::set<std::string, std::less<>> asked_;
};

}  // namespace serosa::files
