// SPDX-License-Identifier: Apache-2.0
#include "physics/cover_temperature.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "physics/convection.hpp"

using namespace Catch::Matchers;
namespace physics = serosa::physics;

namespace {
constexpr double p = physics::standard_pressure;

struct Setting {
  double surface, wetness, room, wall_offset, speed, gap, permeance, absorbed;
};

/// The film's surroundings with the convection that belongs to a film of `film` °C.
physics::CoverExchange<double> surroundings(const Setting& s, double film) {
  physics::CoverExchange<double> e{};
  e.surface_temperature = s.surface;
  e.surface_vapour = s.wetness * physics::saturation_pressure(s.surface);
  e.gap_coefficient = physics::gap_conductance(s.gap, 30.0) + 5.0;
  e.gap_resistance = physics::gap_resistance(s.gap, 30.0, p);
  e.permeance = s.permeance;
  e.layers = 1.0;
  e.air_temperature = s.room;
  e.air_vapour = physics::vapour_pressure(s.room, 0.4);
  e.wall_temperature = s.room + s.wall_offset;
  e.convection = physics::convection_coefficient(0.09, film, s.room, s.speed, 0.0, p);
  e.air_resistance = physics::boundary_resistance(e.convection, p);
  e.emissivity = 0.85;
  e.absorbed = s.absorbed;
  return e;
}

/// Bisection on the full balance; `balance(film)` falls with the film's temperature.
template <class Balance>
double root(Balance balance) {
  double low = -20.0, high = 120.0;
  for (int i = 0; i < 70; ++i) {
    const double middle = 0.5 * (low + high);
    (balance(middle) > 0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

template <class Visit>
void every_setting(Visit visit) {
  for (double wetness : {0.4, 1.0})
    for (double permeance : {0.0, 0.3, 8.0, 200.0})
      for (double gap : {0.0003, 0.001, 0.003, 0.01})
        for (double room = 15; room <= 35; room += 5)
          for (double wall_offset : {-5.0, 0.0})
            for (double surface = 28; surface <= 39; surface += 2.2)
              for (double absorbed = 0; absorbed <= 90; absorbed += 15)  // 15 % of 0-600 W/m²
                for (double speed : {0.0, 0.2, 1.0}) {
                  const Setting s{surface, wetness, room,      wall_offset,
                                  speed,   gap,     permeance, absorbed};
                  const auto e = surroundings(s, surface);
                  if (e.surface_vapour > e.air_vapour) visit(s);
                }
}
}  // namespace

TEST_CASE("film temperature in closed form against the exact balance") {
  double worst = 0, worst_guess = 0, worst_two = 0, worst_start = 0;
  int settings = 0;
  every_setting([&](const Setting& s) {
    ++settings;
    const double exact =
        root([&](double film) { return physics::heat_surplus(surroundings(s, film), film); });
    const auto at_exact = surroundings(s, exact);
    worst = std::max(worst, std::abs(physics::cover_temperature(at_exact) - exact));
    worst_guess =
        std::max(worst_guess, std::abs(physics::cover_temperature_guess(at_exact) - exact));

    const auto at_start = surroundings(s, physics::cover_temperature_start(s.surface, s.room));
    worst_start = std::max(worst_start, std::abs(physics::cover_temperature(at_start) - exact));
    const double guess = physics::cover_temperature_guess(at_start);
    const double film = physics::cover_temperature(surroundings(s, guess), guess);
    worst_two = std::max(worst_two, std::abs(film - exact));
  });
  REQUIRE(settings > 10000);
  // The limits that the docstrings promise; the design asks for 0.3 K.
  INFO("given " << worst << ", guess " << worst_guess << ", convection at the guess " << worst_two
                << ", convection at the start " << worst_start << " K");
  CHECK(worst < 0.02);
  CHECK(worst_guess < 1.5);
  CHECK(worst_two < 0.1);
  CHECK(worst_start < 0.6);
}

TEST_CASE("without exchange of vapour the film's temperature is the weighted mean") {
  physics::CoverExchange<double> e{};
  e.surface_temperature = 36.0;
  e.surface_vapour = 2.0;
  e.air_vapour = 2.0;  // nothing evaporates, dew point 17.5 °C: nothing condenses
  e.gap_coefficient = 12.0;
  e.gap_resistance = 0.005;
  e.permeance = 0.3;
  e.layers = 1.0;
  e.air_resistance = 0.01;
  e.air_temperature = 24.0;
  e.wall_temperature = 24.0;
  e.convection = 4.0;
  e.emissivity = 0.0;
  e.absorbed = 8.0;
  // (12·36 + 4·24 + 8) / 16; 1e-3 for the smooth turn from dry to wet.
  CHECK_THAT(physics::cover_temperature(e), WithinAbs(33.5, 1e-3));
}

TEST_CASE("the film warms with bowel, room and warmer, and cools with draught") {
  every_setting([&](const Setting& s) {
    const auto film = [](const Setting& x) {
      return physics::cover_temperature(
          surroundings(x, physics::cover_temperature_start(x.surface, x.room)));
    };
    Setting warmer_bowel = s, warmer_room = s, more_heat = s;
    warmer_bowel.surface += 0.5;
    warmer_room.room += 0.5;
    more_heat.absorbed += 5;
    const double t = film(s);
    if (!(film(warmer_bowel) > t && film(warmer_room) > t && film(more_heat) > t))
      FAIL("surface " << s.surface << ", room " << s.room << ", absorbed " << s.absorbed << ", gap "
                      << s.gap << ", permeance " << s.permeance << ", wetness " << s.wetness);
  });
}

TEST_CASE("condensation keeps the film close to the wet surface") {
  // An impermeable film loses no water, yet carries more heat over a wet surface than over a dry
  // one: a heat pipe.
  const Setting wet{36.0, 1.0, 24.0, 0.0, 0.1, 0.002, 0.0, 0.0};
  Setting dry = wet;
  dry.wetness = 0.3;  // 1.8 kPa, dew point 16 °C
  const auto at = [](const Setting& s) {
    return surroundings(s, physics::cover_temperature_start(s.surface, s.room));
  };
  const double wet_film = physics::cover_temperature(at(wet));
  const double dry_film = physics::cover_temperature(at(dry));
  CHECK(wet_film > dry_film + 1.0);
  CHECK(wet_film < 36.0);
  CHECK(physics::vapour_path(at(wet), wet_film).passed == 0.0);
  CHECK(physics::vapour_path(at(wet), wet_film).condensed > 50.0);
}
