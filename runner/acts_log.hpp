// SPDX-License-Identifier: Apache-2.0
// What the rules of a protocol did in a run, and why.
#pragma once
#include <string>
#include <vector>

#include "runner/computation.hpp"

namespace serosa::runner {

struct LoggedAct {
  double time;         ///< h
  std::string rule;    ///< as the protocol calls it
  std::string what;    ///< in words
  std::string seen;    ///< the readings that decided: `urine 0.62 mL/kg/h`
  std::string reason;  ///< as the protocol says
};
std::vector<LoggedAct> logged_acts(const Computed& c);

/// One row per act of a rule, all cases; empty when no case follows a protocol.
std::string acts_csv(const Computation& all);
/// The same in lines for a terminal.
std::string acts_text(const Computation& all);

}  // namespace serosa::runner
