// SPDX-License-Identifier: Apache-2.0
#include "newborn.hpp"

namespace serosa::baby::test {
namespace {

using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

/// mL/min/1.73 m²
double filtration(double age, const Inputs<double>& in = term()) {
  const Newborn n = newborn(in);
  return n.at(age).kidney.filtration / 0.06 / n.s.body.surface * 1.73;
}

// Smeets NJL et al., J Am Soc Nephrol 2022;33:1277, term: day 1 19.6 (14.7-24.6), day 5 40.6
// (36.7-44.5) mL/min/1.73 m². The tolerance is the published interval.
TEST_CASE("glomerular filtration of the term newborn on days 1 and 5", "[kidney]") {
  CHECK_THAT(filtration(12.0), WithinAbs(19.6, 4.9));
  CHECK_THAT(filtration(108.0), WithinAbs(40.6, 3.9));
}

// Coulthard 1985, inulin: (0.24 weight/kg + 0.45) mL/min per kg at birth; its predictions lie
// within 66-151 % of measurements.
TEST_CASE("glomerular filtration of a preterm newborn at birth", "[kidney]") {
  Inputs<double> in = term();
  in.weight = 1500;
  in.gestation = 31;
  const Newborn n = newborn(in);
  const double per_kg = n.at(6.0).kidney.filtration / 0.06 / 1.5;
  CHECK(per_kg > 0.66 * (0.24 * 1.5 + 0.45));
  CHECK(per_kg < 1.51 * (0.24 * 1.5 + 0.45));
}

/// Urine, mL/kg/h, with the antidiuretic signal where it settles.
double urine(double age) {
  Newborn n = newborn();
  n.x[state::antidiuretic_signal] = n.at(age).kidney.antidiuretic_target;
  return n.at(age).kidney.urine / n.s.body.weight;
}

// 0.5-1.5 mL/kg/h before the diuresis, which begins at 24-48 h, then 3-5 ("Perioperative metabolic
// care", chapter); lowest at 12-24 h in preterm babies, tripling after (Bidiwala 1988).
TEST_CASE("urine of the first days at rest", "[kidney]") {
  INFO("urine at 6, 12, 18, 24, 72 h: " << urine(6) << ' ' << urine(12) << ' ' << urine(18) << ' '
                                        << urine(24) << ' ' << urine(72));
  for (const double age : {6.0, 12.0, 18.0}) {
    CHECK(urine(age) > 0.5);
    CHECK(urine(age) < 1.5);
  }
  CHECK(urine(72.0) > 3.0);
  CHECK(urine(72.0) < 5.0);
}

TEST_CASE("urine of day one in a run with maintenance", "[kidney]") {
  const auto r = run_case("ordinary-care", {24.0, 36.0},
                          {"baby.weight=3.5 kg", "baby.gestation=40 wk", "baby.gastroschisis=false",
                           "until=48 h", "timeline.line.act=maintenance", "timeline.line.at=1 h",
                           "timeline.line.fluid=glucose-10", "timeline.line.rate=60 mL/kg/d"});
  const double mean = r.at(24.0, simulate::output::urine) / 3.5 / 24.0;
  INFO("mean " << mean << " mL/kg/h");
  CHECK(mean > 0.5);
  CHECK(mean < 1.5);
  CHECK(r.at(36.0, simulate::output::urine_flow) > r.at(24.0, simulate::output::urine_flow));
}

// At most 550 mOsm/kg in the first week (Rees 1984), least 52.9 ± 9.4 at 35-41 weeks (second hand).
TEST_CASE("urine osmolality stays between its bounds", "[kidney]") {
  Newborn n = newborn();
  for (const double signal : {0.0, 0.3, 1.0}) {
    n.x[state::antidiuretic_signal] = signal;
    const double osmolality = n.at(24.0).kidney.urine_osmolality;
    CHECK(osmolality >= 52.9 - 9.4);
    CHECK(osmolality <= 550.0 * (1.0 + 1e-12));
  }
}

// Rises at about 10 % loss of blood volume (Modi 1998).
TEST_CASE("a tenth of the blood lost raises the antidiuretic signal", "[kidney]") {
  const auto target = [](double loss) {
    return bled(newborn(), loss).at(60.0).kidney.antidiuretic_target;
  };
  CHECK(target(0.05) - target(0.0) < 0.15);
  CHECK(target(0.15) - target(0.05) > 0.5);
}

TEST_CASE("volume loss holds sodium and water back", "[kidney]") {
  const auto calm = newborn().at(24.0).kidney, empty = bled(newborn(), 0.15).at(24.0).kidney;
  CHECK(empty.sodium < 0.6 * calm.sodium);
  CHECK(empty.filtration < calm.filtration);
}

}  // namespace
}  // namespace serosa::baby::test
