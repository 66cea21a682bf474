// SPDX-License-Identifier: Apache-2.0
// What a reader must not overlook.
#pragma once
#include <string>
#include <vector>

#include "runner/computation.hpp"

namespace serosa::runner {

/// The WHO class of a core temperature, by the limits of the parameters: `too warm`, `normal`,
/// `mild hypothermia`, `moderate hypothermia`, `severe hypothermia`.
std::string who_class(double core, const baby::Parameters<double>& bands);

/// All warnings, each a sentence or two: of the input files, of the request, and of each case what
/// its run shows (film too hot before birth, overheating, hypothermia, sodium, glucose), and how
/// failed runs failed.
std::vector<std::string> warnings(const Computation& all);

/// One message for each run that did not finish: name, status, its meaning, state and hour.
std::vector<std::string> failures(const Computation& all);

}  // namespace serosa::runner
