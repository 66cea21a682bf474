// SPDX-License-Identifier: Apache-2.0
// What `sensitivity` prints.
#pragma once
#include <string>
#include <vector>

#include "runner/page.hpp"
#include "study/sensitivity_analysis.hpp"

namespace serosa::runner {

/// For every answer at the last time: the inputs that carry most of it, with intervals.
std::string sensitivity_table(const study::SensitivityResult& result);

/// What this kind of sensitivity means and rests on, in sentences.
std::string sensitivity_method(const study::SensitivityResult& result);

/// Inputs in the order of how much they carry, the first measure that ranks deciding.
std::vector<std::size_t> ranked_inputs(const study::SensitivityResult& result, std::size_t arm,
                                       std::size_t answer, std::size_t time);

/// The measure that inputs are ranked by: total index, mu*, partial rank correlation, change over
/// the range.
std::size_t ranking_measure(const study::SensitivityResult& result);

/// What people call an input or a group: `wrap: seal`, `bowel filtration coefficient`.
std::string input_label(const std::string& path);

/// The page: what carries each answer at the last time, over time, and how it settled.
/// @param described  what `inputs.json` holds: sources and grades of the inputs in words
PageData page_of_sensitivity(const study::Study& study, const study::SensitivityResult& result,
                             const PageData& described);

}  // namespace serosa::runner
