// SPDX-License-Identifier: Apache-2.0
// What a run folder tells about the parameters: value, range, source and grade of each, and how far
// the main results move when it alone is taken to either end of its range.
#pragma once
#include <string>

#include "runner/computation.hpp"

namespace serosa::runner {

/// The text of `parameters.json`. One run per case and end of range, all others as they are; a
/// parameter that is never drawn or that the case sets is not moved. The results are those of the
/// last report time, null where a run did not finish.
std::string parameters_json(const Computation& all);

}  // namespace serosa::runner
