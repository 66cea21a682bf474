// SPDX-License-Identifier: Apache-2.0
#include "newborn.hpp"

namespace serosa::baby::test {
namespace {

using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

Circulation<double> blood(double share_lost) {
  const Newborn n = bled(newborn(), share_lost);
  return circulation(24.0, 37.0, n.x, n.s);
}

/// Mean filling pressure against rest, from output = (filling − atrial) / (1 − resting atrial).
double filling(const Circulation<double>& c) {
  const auto p = laws::models().values();
  return c.relative_output * (1.0 - p.atrial_share) + c.atrial_pressure / p.mean_filling_pressure;
}

TEST_CASE("the circulation of the undisturbed newborn is at rest", "[circulation]") {
  const auto c = blood(0.0);
  // In closed form, so to rounding.
  CHECK_THAT(c.relative_loss, WithinAbs(0.0, 1e-14));
  CHECK_THAT(c.relative_output, WithinRel(1.0, 1e-12));
  CHECK_THAT(c.relative_pressure, WithinRel(1.0, 1e-12));
  CHECK_THAT(filling(c), WithinRel(1.0, 1e-12));
  const auto p = laws::models().values();
  CHECK_THAT(c.heart_rate, WithinRel(p.heart_rate_at_rest, 1e-12));
}

// Gilbert RD, Am J Physiol 1980;238:H80, fetal sheep, abstract: blood volume −10 %: mean filling
// pressure 13.8 ± 0.3 → 10.5 ± 0.6 mmHg, output 592 → 471; +10 %: 16.5 mmHg, 632. Only ratios carry
// over. The tolerance is the standard error of 10.5, 6 %.
TEST_CASE("a tenth of the blood more or less changes filling and output as in fetal sheep",
          "[circulation]") {
  const auto less = blood(0.1), more = blood(-0.1);
  CHECK_THAT(filling(less), WithinRel(10.5 / 13.8, 0.06));
  CHECK_THAT(filling(more), WithinRel(16.5 / 13.8, 0.06));
  CHECK_THAT(less.relative_output, WithinRel(471.0 / 592.0, 0.06));
  CHECK_THAT(more.relative_output, WithinRel(632.0 / 592.0, 0.06));
}

// Toubas PL et al., Am J Physiol 1981, abstract: 15 % bled in 5 min, fetal lamb, n = 12: pressure
// 50.7 → 45.5, combined ventricular output 610 → 448. Its heart slowed (186 → 151), a fetal
// response to hypoxia that the model does not claim. 8 %: no spread is given; about that of
// Gilbert's group.
TEST_CASE("bleeding a seventh lowers output more than pressure", "[circulation]") {
  const auto c = blood(0.15);
  CHECK_THAT(c.relative_pressure, WithinRel(45.5 / 50.7, 0.08));
  CHECK_THAT(c.relative_output, WithinRel(448.0 / 610.0, 0.08));
  CHECK(c.heart_rate > blood(0.0).heart_rate);
}

// Immature animals: graded to 25-30 % loss, then an abrupt fall of pressure and output (puppies
// bled 1 % of blood volume per minute, abstract); adult sheep 27 % (Scully 2016).
TEST_CASE("pressure falls gradually to a quarter of the blood, then breaks", "[circulation]") {
  const auto slope = [](double from, double to) {
    return (blood(from).relative_pressure - blood(to).relative_pressure) / (to - from);
  };
  CHECK(blood(0.20).relative_pressure > 0.75);
  CHECK(slope(0.25, 0.30) > 2.0 * slope(0.15, 0.20));
  CHECK(blood(0.35).relative_pressure < 0.4);
  double before = 2.0;
  for (double loss = -0.2; loss < 0.9; loss += 0.005) {
    const auto c = blood(loss);
    CHECK(std::isfinite(c.heart_rate));
    CHECK(c.relative_pressure > 0.0);
    CHECK(c.relative_pressure < before);
    before = c.relative_pressure;
  }
}

// Median mean arterial pressure 49 mmHg at 41 weeks, 27 at 24 (Delft, abstract, first day); left
// ventricular output 365 → 272 mL/kg/min over day 1 (Agata 1994).
TEST_CASE("pressure and output of the first day", "[circulation]") {
  Inputs<double> early = term();
  early.gestation = 24;
  early.weight = 700;
  const Newborn n = newborn(early);
  const auto preterm = circulation(1.0, 37.0, n.x, n.s);
  CHECK_THAT(preterm.arterial_pressure, WithinAbs(27.0, 2.0));
  const Newborn t = newborn();
  CHECK_THAT(circulation(1.0, 37.0, t.x, t.s).arterial_pressure, WithinAbs(48.0, 2.0));
  CHECK_THAT(circulation(1.0, 37.0, t.x, t.s).cardiac_output, WithinRel(365.0, 0.03));
  CHECK_THAT(circulation(24.0, 37.0, t.x, t.s).cardiac_output, WithinRel(272.0, 0.05));
}

}  // namespace
}  // namespace serosa::baby::test
