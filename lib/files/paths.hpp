// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "files/problems.hpp"

/// Small things shared by the sources of this room.
namespace serosa::files {

/// `timeline.wrap` and `at` to `timeline.wrap.at`.
std::string joined(const std::string& path, std::string_view key);

/// The file lies in the folder or below it; both paths are canonical.
bool is_inside(const std::filesystem::path& file, const std::filesystem::path& folder);

/// The ordinary file `name` beside the file that names it, or, typed on a command line, as typed;
/// nothing when there is none. One outside that folder, by its words or by a link, is refused and
/// gives an empty path.
std::optional<std::filesystem::path> file_beside(const std::string& name, const Origin& named_at,
                                                 const std::string& key_path, Problems& problems);

/// The names in a folder, sorted; none when it cannot be read.
std::vector<std::string> file_names(const std::filesystem::path& folder);

/// Reports bytes that are not UTF-8 and control characters; true when there are none.
bool check_text(const std::shared_ptr<const Source>& source, Problems& problems);

}  // namespace serosa::files
