// SPDX-License-Identifier: Apache-2.0
// Cases side by side: the times they are shown at, and courses that need more than one run.
#pragma once
#include <span>
#include <string>
#include <vector>

#include "care/case.hpp"
#include "files/results.hpp"

namespace serosa::files {

/// The times at which cases are shown together.
struct SharedTimes {
  std::vector<double> all;          ///< h, from birth on
  std::vector<std::size_t> report;  ///< which of them a table shows
  std::vector<std::string> notes;   ///< what was left out, in sentences
};

/// From birth to the earliest end, in the shortest of their steps, with every time they report at.
SharedTimes shared_times(std::span<const care::Case* const> cases);

/// A run and that of its twin under ordinary care, observed at the same times.
struct RunAndTwin {
  const simulate::Result* run;
  const simulate::Result* twin;
};

/// The deficit against the twin, and the parts of the deficits that explain differences.
/// @param times  number of times
std::vector<ExtraSeries> extra_series(std::span<const RunAndTwin> runs, std::size_t times);

}  // namespace serosa::files
