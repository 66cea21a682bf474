// SPDX-License-Identifier: Apache-2.0
#include "runner/credibility.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "files/results.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner {

namespace {
using study::Verdict;
}

std::string summary_line(const Validation& all) {
  const auto check = study::tally(all.experiments, all.outcomes, study::Role::check);
  const auto calibration = study::tally(all.experiments, all.outcomes, study::Role::calibration);
  return fmt::format(
      "{} of {} checks against published experiments hold ({} known failures, {} unexplained); {} "
      "of {} calibration experiments hold.",
      check.holding, check.all, check.known_failures, check.failing, calibration.holding,
      calibration.all);
}

std::string credibility_document(const Validation& all) {
  return summary_line(all) + "\n" + std::string(files::caution) + "\n";
}

}  // namespace serosa::runner
