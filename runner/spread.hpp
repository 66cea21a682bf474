// SPDX-License-Identifier: Apache-2.0
// `--spread N` of run and compare: how sure is this?
#pragma once
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "runner/computation.hpp"

namespace serosa::runner {

/// Draws all parameters from their ranges, N runs of each case, and keeps what they gave.
/// @param runs  rounded up to a multiple of 4, at least 8
SpreadOfCases spread_of(const Computation& all, std::uint64_t runs, bool quiet);

/// Ranges of the main figures at the table's times, and who owes the variance at the last.
std::string spread_report(const Computation& all);

/// The same as JSON.
nlohmann::ordered_json spread_json(const Computation& all);

}  // namespace serosa::runner
