// SPDX-License-Identifier: Apache-2.0
// The page of a fit: what the data tell, profiles, measured against fitted,
// residuals.
#pragma once
#include <string>
#include <vector>

#include "files/fit_results.hpp"
#include "runner/page.hpp"

namespace serosa::runner {

/// Three significant digits, however small: `0.0102`.
std::string fit_figure(double x);

/// @param findings  what the reader must know beside the table, a sentence each
PageData page_of_fit(const files::FitResult& result, const std::vector<std::string>& findings);

}  // namespace serosa::runner
