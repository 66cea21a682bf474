// SPDX-License-Identifier: Apache-2.0
// The table that `run` and `compare` print and leave as table.txt.
#pragma once
#include <string>

#include "runner/computation.hpp"

namespace serosa::runner {

/// Title, what differs, the table, the difference explained (several cases), warnings, caution. No
/// line is longer than 100 characters.
std::string report(const Computation& all);

/// The same for screen readers and logs: one fact a line, each line complete by itself (`at 1 h:
/// Urine: 1.72 (0.672)`), no columns, no lines broken.
std::string plain_report(const Computation& all);

/// The difference of every further case against the first, part by part: one row per part, one
/// column per case and report time. For spreadsheets.
std::string difference_csv(const Computation& all);

}  // namespace serosa::runner
