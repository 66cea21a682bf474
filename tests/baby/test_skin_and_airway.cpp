// SPDX-License-Identifier: Apache-2.0
#include "newborn.hpp"

namespace serosa::baby::test {
namespace {

using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

/// Naked and dry in the incubator of the published rates: air 33 °C, 50 % relative humidity, skin
/// 35.5 °C, lying still. Loss per m² of skin that does not lie on the mattress.
double skin_loss(double gestation, double weight, double age) {
  Inputs<double> in = term();
  in.gestation = gestation;
  in.weight = weight;
  Newborn n = newborn(in);
  auto& c = n.s.controls;
  c.air_temperature = 33.0;
  c.wall_temperature = 33.0;
  c.humidity = 0.5;
  c.head_wet = c.upper_wet = c.lower_wet = 0.0;
  const auto air = surroundings(age, 35.5, n.s);
  const auto f = skin_surface(age, n.x, 35.5, 36.8, 33.0, air, n.s);
  const auto& p = n.s.parameters;
  return f.loss / ((p.head_share + p.upper_share + p.lower_share) * n.s.body.surface);
}

// Rutter and Hull, Arch Dis Child 1979;54:858: 34-41 weeks about 6 g/m²/h after the first 4 h;
// Hammarlund 1977: 8.1 at term; Cork BASELINE 2013: 7.8 ± 2.9 at 34-37 weeks. Together 6-9.
// Ågren 1998: 59.3 ± 11.6 at 25 weeks on day 0-1, 50 % relative humidity.
TEST_CASE("transepidermal loss by gestation", "[skin]") {
  INFO("term " << skin_loss(40, 3500, 6) << ", 35.5 wk " << skin_loss(35.5, 2500, 6) << ", 25 wk "
               << skin_loss(25, 707, 12));
  CHECK(skin_loss(40, 3500, 6) > 6.0);
  CHECK(skin_loss(40, 3500, 6) < 9.0);
  for (const double week : {34.0, 35.5, 37.0}) {
    CHECK(skin_loss(week, 2500, 6) > 6.0);
    CHECK(skin_loss(week, 2500, 6) < 9.0);
  }
  CHECK_THAT(skin_loss(25, 707, 12), WithinAbs(59.3, 11.6));
  // Higher in the first 4 h (Rutter and Hull).
  CHECK(skin_loss(40, 3500, 0.5) > 1.2 * skin_loss(40, 3500, 6));
}

// Hammarlund 1977: 40 % lower at 60 than at 20 % relative humidity, linear. From the published
// condition: (5.78 − 0.6·5.03)/(5.78 − 0.2·5.03) = 0.58.
TEST_CASE("transepidermal loss falls with humidity", "[skin]") {
  const auto at = [](double humidity) {
    Newborn n = newborn();
    n.s.controls.air_temperature = n.s.controls.wall_temperature = 33.0;
    n.s.controls.humidity = humidity;
    n.s.controls.head_wet = n.s.controls.upper_wet = n.s.controls.lower_wet = 0.0;
    return skin_surface(12.0, n.x, 35.5, 36.8, 33.0, surroundings(12.0, 35.5, n.s), n.s).loss;
  };
  CHECK_THAT(at(0.6) / at(0.2), WithinAbs(0.60, 0.03));
}

// Hey and Katz 1969: sweating above a core of 37.2 °C near term, loss 2-4 times.
TEST_CASE("a hot newborn near term sweats, a preterm one does not", "[skin]") {
  const auto ratio = [](double week) {
    Inputs<double> in = term();
    in.gestation = week;
    Newborn n = newborn(in);
    n.s.controls.head_wet = n.s.controls.upper_wet = n.s.controls.lower_wet = 0.0;
    const auto air = surroundings(48.0, 36.5, n.s);
    const auto loss = [&](double core) {
      return skin_surface(48.0, n.x, 36.5, core, 33.0, air, n.s).loss;
    };
    return loss(37.8) / loss(36.8);
  };
  CHECK(ratio(40) > 2.0);
  CHECK(ratio(40) < 4.0);
  CHECK(ratio(30) < 1.1);
}

// Riesenfeld, Hammarlund and Sedin, APS 1987;76:647: term, first day, at rest, 32.2 °C, 50 %: water
// 4.9 ± 1.2 mg/kg/min at an oxygen uptake of 6.0 ± 0.8 mL/kg/min.
TEST_CASE("water lost with the breath at rest on the first day", "[airway]") {
  Newborn n = newborn();
  auto& c = n.s.controls;
  c.air_temperature = c.wall_temperature = 32.2;
  c.humidity = 0.5;
  Temperatures<double> t = temperatures(n.x, n.s);
  t.core = 37.0;
  t.skin = 36.3;
  const auto m = metabolism(18.0, t, n.s);
  CHECK_THAT(m.airway_water / n.s.body.weight / 0.06, WithinAbs(4.9, 1.2));
  CHECK_THAT(m.oxygen / n.s.body.weight, WithinAbs(6.0, 0.8));
  c.humidified_gas = 1.0;
  const auto humid = metabolism(18.0, t, n.s);
  CHECK(humid.airway_water < 0.1 * m.airway_water);
}

// Scopes and Ahmed, Arch Dis Child 1966;41:407: minimal uptake at birth 4.6 mL/kg/min at all
// gestations, rising within a day above 36 weeks.
TEST_CASE("metabolism at birth and its response to cold", "[metabolism]") {
  const Newborn n = newborn();
  const auto uptake = [&](double age, double core, double skin) {
    Temperatures<double> t = temperatures(n.x, n.s);
    t.core = core;
    t.skin = skin;
    return metabolism(age, t, n.s).oxygen / n.s.body.weight;
  };
  // Warm enough: no response, so the value itself; 2 %: the mean of 115 babies.
  CHECK_THAT(uptake(0.0, 37.0, 36.6), WithinRel(4.6, 0.02));
  CHECK(uptake(24.0, 37.0, 36.6) > 1.15 * uptake(0.0, 37.0, 36.6));
  // Weak in the first hours, developed by 2-6 h (first hours, 1966).
  const auto response = [&](double age, double core, double skin) {
    return uptake(age, core, skin) / uptake(age, core, 40.0);
  };
  CHECK(response(6.0, 36.0, 33.0) > 1.4);
  CHECK(response(0.25, 36.0, 33.0) < response(6.0, 36.0, 33.0) - 0.2);
  // Fails in a core below about 34 °C (assumption of the model description).
  CHECK(response(6.0, 32.5, 30.0) < 1.0 + 0.2 * (response(6.0, 36.0, 33.0) - 1.0));
}

}  // namespace
}  // namespace serosa::baby::test
