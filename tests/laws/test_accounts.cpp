// SPDX-License-Identifier: Apache-2.0
// Law: water, sodium, chloride, protein and heat accounts close; no state is below zero.
// Sources: conservation of mass and energy.
#include <algorithm>

#include "accounts.hpp"
#include "shipped.hpp"

namespace serosa::laws {
namespace {

using namespace simulate;

TEST_CASE("accounts of water, salt, protein and heat close in every shipped case", "[laws]") {
  const double relative = GENERATE(from_range(std::begin(tolerances), std::end(tolerances)));
  const Settings settings = tolerance(relative);
  for (const auto& file : shipped_cases()) {
    const auto times = fine_grid(file.c, file.c.every);
    const Job job{&file.c, &file.parameters, times};
    Result result;
    run_scalar({&job, 1}, {&result, 1}, settings);
    Violations violations;
    if (result.report.status != RunStatus::finished)
      violations.add("the run ended with ", message(result.report.status));
    const double ends[] = {times.front(), times.back()};
    const auto kept = snapshots(file.c, file.parameters, ends, settings);
    REQUIRE(kept.size() == 2);
    const auto list = accounts(kept[0], kept[1], result, times.size() - 1);
    for (const Account& a : list) {
      const double most = allowed(a.passed, a.contents);
      for (std::size_t i = 0; i < times.size(); ++i)
        if (!(std::fabs(result.at(i, a.unaccounted)) <= most))
          violations.add(a.name, " is off by ", result.at(i, a.unaccounted), " at ", times[i],
                         " h; allowed ", most, ", passed ", a.passed, ", tolerance ", relative);
    }
    judge(file.c.name, "accounts", violations);
  }
}

TEST_CASE("no state of a shipped case falls below minus its absolute tolerance", "[laws]") {
  const double relative = GENERATE(from_range(std::begin(tolerances), std::end(tolerances)));
  const Settings settings = tolerance(relative);
  for (const auto& file : shipped_cases()) {
    // Twice as fine as the series; the steps of the solver lie in between.
    const auto times = fine_grid(file.c, 0.5 * file.c.every);
    Violations violations;
    const auto kept = snapshots(file.c, file.parameters, times, settings);
    if (kept.size() != times.size()) violations.add("the run ended early");
    for (const Snapshot& s : kept)
      for (std::size_t i = 0; i < baby::state::stores; ++i) {
        const auto& info = baby::state_list[i];
        const double least = -info.absolute_tolerance * settings.absolute_tolerance_factor;
        if (!(s.state[i] >= least))
          violations.add(info.name, " is ", s.state[i], " at ", s.time, " h, tolerance ", relative);
      }
    judge(file.c.name, "not below zero", violations);
  }
}

}  // namespace
}  // namespace serosa::laws
