// SPDX-License-Identifier: Apache-2.0
// Sections of a page that `--spread` adds.
#pragma once
#include <filesystem>

#include "runner/page.hpp"

namespace serosa::runner {

/// Adds bands over time and who owes them, when the folder holds `spread.nc`. Throws
/// files::InputError when that file can't be read.
void add_spread(PageData& page, const std::filesystem::path& folder);

}  // namespace serosa::runner
