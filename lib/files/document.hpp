// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "files/problems.hpp"

namespace serosa::files {

struct Entry;

/// A piece of an input file. Everything a person wrote is text until a Reader asks for more; maps
/// keep their order; every piece knows where it stands.
struct Node {
  enum class Shape { nothing, text, list, map };
  Shape shape = Shape::nothing;
  std::string text;            ///< of a text
  bool in_quotes = false;      ///< the text stood in quotes (or in a block of text)
  std::vector<Node> items;     ///< of a list
  std::vector<Entry> entries;  ///< of a map
  Origin origin;

  bool is_text() const { return shape == Shape::text; }
  bool is_list() const { return shape == Shape::list; }
  bool is_map() const { return shape == Shape::map; }
  bool is_nothing() const { return shape == Shape::nothing; }
  /// The value of a key of this map, or nullptr.
  const Node* find(std::string_view key) const;
  Node* find(std::string_view key);
  /// "text", "a list", "a map", "nothing".
  std::string_view shape_name() const;

  static Node make_text(std::string text, Origin origin = {});
  static Node make_map(Origin origin = {});
};

struct Entry {
  std::string key;
  Origin origin;  ///< of the key
  Node value;
};

struct Limits {
  std::size_t bytes = 4u << 20;  ///< largest file
  int depth = 32;                ///< deepest nesting of maps and lists
  int bases = 8;                 ///< longest chain of `based_on`
};

/// A file as read, with the files it is based on.
struct Document {
  Node root;
  /// Every file that went into `root`, the one asked for first (for a manifest).
  std::vector<std::shared_ptr<const Source>> sources;
};

/// Reads the bytes of a regular file of UTF-8 text. Nothing when it is missing, a directory,
/// unreadable, a pipe or device, larger than the limit, not UTF-8, or has control characters;
/// `problems` then says so, at `asked_from` when another file names it.
std::shared_ptr<const Source> read_source(const std::filesystem::path& path, Problems& problems,
                                          const Limits& limits = {}, const Origin& asked_from = {});

/// Reads YAML text. Refused, with everything found reported at once: syntax errors, duplicate
/// keys, aliases, anchors, merge keys, tags, keys that are not text, a second document, an empty
/// document, nesting beyond the limit.
std::optional<Node> parse_document(std::shared_ptr<const Source> source, Problems& problems,
                                   const Limits& limits = {});

/// One file by itself (`based_on` is an ordinary key here).
std::optional<Document> read_document(const std::filesystem::path& path, Problems& problems,
                                      const Limits& limits = {});

/// A file with everything it is based on. `based_on: other.yaml` names a file in the folder of the
/// file that says it, or in `models`; neither may be left, links resolved. Maps are merged key by
/// key, the file's own values win, lists and texts are replaced, `key: remove` deletes an inherited
/// entry. Chains in a circle and chains longer than the limit are refused.
std::optional<Document> read_based_document(const std::filesystem::path& path,
                                            const std::filesystem::path& models, Problems& problems,
                                            const Limits& limits = {});

/// The same for a text that is in no file. Its path says in which folder `based_on` is looked up.
std::optional<Document> read_based_document(std::shared_ptr<const Source> source,
                                            const std::filesystem::path& models, Problems& problems,
                                            const Limits& limits = {});

/// Merges `changes` into `base` by the rules of `based_on`. `path` leads messages.
void merge(Node& base, const Node& changes, Problems& problems, const std::string& path = {});

/// Applies one `path=value` of the command line, such as `timeline.wrap.at=20 min`: parts of the
/// path are separated by dots, missing maps are made, `path=remove` deletes. A value that begins
/// with `[` or `{` is read as a list or map. False when refused.
bool set_value(Node& root, std::string_view assignment, Problems& problems);

/// A file named by a word: `models/FOLDER/NAME.yaml`. The error lists the names there are.
std::optional<std::filesystem::path> find_data_file(const std::filesystem::path& models,
                                                    std::string_view folder, std::string_view name,
                                                    const Origin& asked_from,
                                                    const std::string& key_path,
                                                    Problems& problems);

/// The tree as YAML text that reads back to the same tree; same tree, same bytes.
std::string write_document(const Node& root);

}  // namespace serosa::files
