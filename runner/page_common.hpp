// SPDX-License-Identifier: Apache-2.0
// What pages of all commands say alike.
#pragma once
#include <string>
#include <vector>

#include "runner/page.hpp"

namespace serosa::runner {

/// What the words and units mean; `more` come after those of all pages.
PageData words_section(const std::vector<std::pair<std::string, std::string>>& more = {});

/// What no page of this model can tell; `more` come after.
PageData limits_section(const std::vector<std::string>& more);

}  // namespace serosa::runner
