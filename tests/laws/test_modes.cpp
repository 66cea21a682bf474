// SPDX-License-Identifier: Apache-2.0
// Law: no mode of the model is faster than about three minutes. It is what keeps the steps long;
// faster exchange belongs into algebraic relations (model description, section 2).
#include "bench/eigenvalues.hpp"
#include "shipped.hpp"

namespace serosa::laws {
namespace {

TEST_CASE("no mode of a shipped case is faster than about three minutes", "[laws]") {
  constexpr double about_three_minutes = 2.0 / 60;  // h: "about" is taken as two at least
  for (const auto& file : shipped_cases()) {
    const auto mode = bench::fastest_mode(file.c, file.parameters);
    Violations violations;
    if (!(mode.constant > about_three_minutes))
      violations.add("a mode of ", 60 * mode.constant, " min at ", mode.time, " h, mostly ",
                     baby::state_list[mode.state].name);
    judge(file.c.name, "modes", violations);
  }
}

}  // namespace
}  // namespace serosa::laws
