// SPDX-License-Identifier: Apache-2.0
#include "files/paths.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace serosa::files {

namespace fs = std::filesystem;

std::string joined(const std::string& path, std::string_view key) {
  return path.empty() ? std::string(key) : fmt::format("{}.{}", path, key);
}

bool is_inside(const fs::path& file, const fs::path& folder) {
  const auto mismatch = std::mismatch(folder.begin(), folder.end(), file.begin(), file.end()).first;
  return mismatch == folder.end();
}

std::optional<fs::path> file_beside(const std::string& name, const Origin& named_at,
                                    const std::string& key_path, Problems& problems) {
  std::error_code failure;
  // What somebody types names whatever file they like.
  if (!named_at.source || named_at.source->path.empty())
    return fs::is_regular_file(name, failure) ? std::optional<fs::path>(name) : std::nullopt;
  const fs::path beside = named_at.source->path.parent_path();
  const fs::path path = beside / name;
  const auto refused = [&] {
    problems.error(named_at, key_path,
                   fmt::format("{} lies outside the folder of this file", quote(name)),
                   "a file beside this one; copy it there");
    return fs::path();
  };
  // By its words alone, so that nobody learns which files there are elsewhere.
  const fs::path words(name);
  if (words.is_absolute() || std::find(words.begin(), words.end(), fs::path("..")) != words.end())
    return refused();
  if (!fs::is_regular_file(path, failure)) return std::nullopt;
  const fs::path folder = fs::canonical(beside.empty() ? fs::path(".") : beside, failure);
  const fs::path real = failure ? fs::path() : fs::canonical(path, failure);
  if (!failure && is_inside(real, folder)) return path;
  return refused();
}

std::vector<std::string> file_names(const fs::path& folder) {
  std::vector<std::string> names;
  std::error_code ignored;
  fs::directory_iterator item(folder.empty() ? fs::path(".") : folder, ignored);
  for (const fs::directory_iterator end; item != end && names.size() < 1000;
       item.increment(ignored))
    names.push_back(item->path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

}  // namespace serosa::files
