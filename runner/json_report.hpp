// SPDX-License-Identifier: Apache-2.0
// What --json prints: for other programs. The form is documented in DEVELOPERS.md ("JSON").
#pragma once
#include <string>
#include <vector>

#include "files/models.hpp"
#include "runner/computation.hpp"

namespace serosa::runner {

/// Rises when a reader of the old form would misunderstand the new one; names that are only added
/// do not change it.
inline constexpr int json_format = 1;

/// `run` and `compare`: every output of every case at the report times, the difference of each
/// further case against the first, warnings. Figures that a failed run did not get to are null.
std::string json_report(const Computation& all, const std::string& results_folder);

/// `explain`: parameters (or the numbers of a data file) and outputs.
struct Explanation {
  std::string title;  ///< of a data file, else empty
  std::string note;
  std::vector<files::ParameterEntry> numbers;
  std::vector<simulate::OutputInfo> outputs;
};
std::string json_explanation(const Explanation& what, const files::Bibliography& bibliography);

}  // namespace serosa::runner
