// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "files/keys.hpp"

/// Reading of single values by their Key; shared by Reader and by the check of defaults.
namespace serosa::files {

/// The key of a table (its variant included), or nullptr.
const Key* find_key(const KeyTable& table, std::string_view variant, std::string_view name);
std::vector<const Key*> keys_of(const KeyTable& table, std::string_view variant);

/// The default of a key as a piece of a file; nullptr when it has none.
std::shared_ptr<const Node> default_node(const Key& key);

/// These read one piece; when it is refused, `problems` says why and nothing is returned.
std::optional<double> read_quantity(const Key& key, const Node& node, const std::string& path,
                                    Problems& problems);
std::optional<long> read_count(const Key& key, const Node& node, const std::string& path,
                               Problems& problems);
std::optional<std::size_t> read_word(const Key& key, const Node& node, const std::string& path,
                                     Problems& problems);
std::optional<bool> read_flag(const Key& key, const Node& node, const std::string& path,
                              Problems& problems);
std::optional<std::string> read_text(const Key& key, const Node& node, const std::string& path,
                                     Problems& problems);
/// True when the piece is a list of a length the key allows.
bool check_list(const Key& key, const Node& node, const std::string& path, Problems& problems);
/// True when the piece is a map.
bool check_map(const Node& node, const std::string& path, Problems& problems);
/// Reads the piece, whatever its kind (maps only as such), for its problems.
void check_value(const Key& key, const Node& node, const std::string& path, Problems& problems);

/// `times` and 2 to `times[3]`: people count from 1.
std::string item_path(const std::string& path, std::size_t index);

}  // namespace serosa::files
