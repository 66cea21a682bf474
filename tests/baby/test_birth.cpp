// SPDX-License-Identifier: Apache-2.0
#include "newborn.hpp"

namespace serosa::baby::test {
namespace {

using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

/// Share of the feto-placental blood that stays in the placenta.
double left_behind(double seconds) {
  Inputs<double> in = term();
  in.cord_clamped_at = seconds / 3600.0;
  const auto p = laws::models().values();
  const auto b = prepare(in, p);
  return 1.0 - b.clamped_blood_volume / (p.feto_placental_volume * b.weight);
}

// Yao, review of 2017: 30 % at once, 20 % at 60 s, 13 % by 3-5 min.
TEST_CASE("what the placenta keeps by the time of clamping", "[birth]") {
  CHECK_THAT(left_behind(0), WithinAbs(0.30, 0.01));
  CHECK_THAT(left_behind(60), WithinAbs(0.20, 0.01));
  CHECK_THAT(left_behind(240), WithinAbs(0.13, 0.01));
}

double haematocrit(const std::string& clamped_at) {
  return run_case("ordinary-care", {6.0},
                  {"baby.weight=3.4 kg", "baby.gestation=39 wk", "baby.gastroschisis=false",
                   "timeline.clamp-cord.at=" + clamped_at})
      .at(6.0, simulate::output::haematocrit);
}

TEST_CASE("haematocrit at six hours rises with the time of clamping", "[birth]") {
  CHECK(haematocrit("60 s") > haematocrit("8 s"));
  CHECK(haematocrit("180 s") > haematocrit("60 s"));
}

// Ceriani Cernadas et al., Pediatrics 2006;117:779, term, n = 276: venous haematocrit at 6 h 53.5 %
// (clamped within 15 s), 57.0 % (1 min), 59.4 % (3 min). Ratios 1.07 and 1.11; 0.02 is about the
// standard error of a ratio of two of these means (groups of some 90, spread 7 %, from memory).
// The model falls short: 1.04 and 1.07, and the level at one minute is 50 % against 57 %. Too
// little of a transfused baby's plasma leaves the blood in six hours. Once this passes it fails as
// a test, and the tag goes.
TEST_CASE("haematocrit at six hours as measured", "[birth][!shouldfail]") {
  const double at_once = haematocrit("8 s"), minute = haematocrit("60 s"),
               three = haematocrit("180 s");
  INFO("haematocrit " << at_once << ' ' << minute << ' ' << three);
  CHECK_THAT(minute / at_once, WithinAbs(57.0 / 53.5, 0.02));
  CHECK_THAT(three / at_once, WithinAbs(59.4 / 53.5, 0.02));
  // The level itself; 5 %: cord blood, sex and site of sampling.
  CHECK_THAT(minute, WithinRel(0.570, 0.05));
}

// Total body water 73.8 % of weight at term (Young 2021); extracellular 40 % at term, 65 % at 26
// weeks (Modi 2003). Weight of the baby at rest, not that of the clamped blood.
TEST_CASE("water of the newborn adds up", "[birth]") {
  const Newborn n = newborn();
  const auto& x = n.x;
  const double extracellular =
      x[state::plasma_water] + x[state::interstitial_water] + x[state::wall_water];
  const double total = extracellular + x[state::cell_water] + x[state::red_cell_water];
  CHECK_THAT(total / 3500.0, WithinAbs(0.738, 0.013));
  CHECK_THAT(extracellular / 3500.0, WithinAbs(0.40, 0.005));
  // Cells and plasma are in osmotic balance.
  State<double> dx;
  rates(0.0, n.x, n.s, dx);
  CHECK_THAT(dx[state::cell_water], WithinAbs(n.at(0).metabolism.oxidation_water, 1e-9));
}

// Sola and Gregory 1981 through Landis and Pappenheimer: 19.4, 16.0, 14.9 mmHg by delivery; Carroll
// 2001: 51 against 62 g/L in gastroschisis.
TEST_CASE("protein at birth by delivery and gastroschisis", "[birth]") {
  const auto oncotic = [](Delivery delivery) {
    Inputs<double> in = term();
    in.delivery = delivery;
    return physics::oncotic_pressure(prepare(in, laws::models().values()).protein);
  };
  CHECK_THAT(oncotic(Delivery::vaginal), WithinAbs(19.4, 0.4));
  CHECK_THAT(oncotic(Delivery::caesarean), WithinAbs(16.0, 0.4));
  CHECK_THAT(oncotic(Delivery::caesarean_without_labour), WithinAbs(14.9, 0.4));
  Inputs<double> in = term();
  in.gastroschisis = true;
  const auto p = laws::models().values();
  CHECK_THAT(prepare(term(), p).protein - prepare(in, p).protein, WithinAbs(11.0, 1e-12));
}

// Ahn 2010: 5.520 W^0.5526 L^0.3800 cm²; by hand for 3500 g and 50 cm: 2219 cm².
TEST_CASE("body surface", "[birth]") {
  Inputs<double> in = term();
  in.length = 50.0;
  CHECK_THAT(prepare(in, laws::models().values()).surface,
             WithinRel(1e-4 * 5.520 * std::pow(3500.0, 0.5526) * std::pow(50.0, 0.38), 1e-12));
  // Mosteller's formula for comparison, another fit: sqrt(cm kg / 3600) m².
  CHECK_THAT(prepare(in, laws::models().values()).surface,
             WithinRel(std::sqrt(50.0 * 3.5 / 3600.0), 0.05));
}

}  // namespace
}  // namespace serosa::baby::test
