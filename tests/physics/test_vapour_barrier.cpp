// SPDX-License-Identifier: Apache-2.0
#include "physics/vapour_barrier.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace Catch::Matchers;
namespace physics = serosa::physics;

namespace {
constexpr double p = physics::standard_pressure;
constexpr double none = 0.0, one = 1.0;
}  // namespace

TEST_CASE("still air passes what Fick's law says") {
  // Fick with Massman's diffusivity in SI units: D M/(R T) Δp/s for 1 kPa across 5 mm at 30 °C.
  const double d = 0.2178e-4 * std::pow(303.15 / 273.15, 1.81);
  const double flux = d * 0.018015268 / (8.314462618 * 303.15) * 1000.0 / 0.005;  // kg/m²/s
  CHECK_THAT(1 / physics::gap_resistance(0.005, 30.0, p), WithinRel(flux * 3.6e6, 1e-6));
  // Conductivity of air at 300 K: 0.0263 W/m/K (Incropera & DeWitt, Table A.4, from memory); 2 %.
  CHECK_THAT(physics::gap_conductance(0.005, 26.85), WithinRel(0.0263 / 0.005, 0.02));
}

TEST_CASE("limits of a cover are exact") {
  const double gap = physics::gap_resistance(0.003, 32.0, p);
  const double air = physics::boundary_resistance(4.0, p);
  CHECK(physics::cover_flux(5.0, 1.4, gap, 0.0, 1.0, air) == 0.0);
  CHECK(physics::cover_flux(3.0, 3.0, gap, 0.5, 1.0, air) == 0.0);
  CHECK(physics::cover_flux(5.0, 1.4, gap, 0.5, 1.0, air) ==
        -physics::cover_flux(1.4, 5.0, gap, 0.5, 1.0, air));
  CHECK_THAT(physics::cover_flux(5.0, 1.4, gap, 0.5, 0.0, air),
             WithinRel((5.0 - 1.4) / (gap + air), 1e-14));
  CHECK_THAT(physics::cover_flux(5.0, 1.4, gap, 0.5, 3.0, air),
             WithinRel((5.0 - 1.4) / (gap + 3 / 0.5 + air), 1e-14));
  CHECK(physics::with_leak(2.0, 10.0, none) == 2.0);
  CHECK_THAT(physics::with_leak(2.0, 10.0, one), WithinRel(10.0, 1e-15));
  CHECK(physics::with_leak(0.0, 10.0, none) == 0.0);
}

TEST_CASE("more permeance passes more, more layers and more gap pass less") {
  const double air = physics::boundary_resistance(4.0, p);
  for (double permeance : {0.05, 0.5, 5.0, 50.0})
    for (double layers : {1.0, 2.0, 4.0})
      for (double gap : {0.0005, 0.003, 0.01}) {
        const auto flux = [&](double m, double n, double g) {
          return physics::cover_flux(5.0, 1.4, g, m, n, air);
        };
        const double f = flux(permeance, layers, gap);
        CHECK(flux(1.1 * permeance, layers, gap) > f);
        CHECK(flux(permeance, layers + 1, gap) < f);
        CHECK(flux(permeance, layers, 1.1 * gap) < f);
      }
}

TEST_CASE("films keep water in by what packaging tables say") {
  // 12 µm film: polyethylene 1-2, plasticised PVC 15-40 g.mil/100 in²/d at 38 °C and 90 % RH
  // (Biosystems Engineering, food package engineering, Table 11.2, p. 345).
  const double cup_pressure = 0.9 * physics::saturation_pressure(38.0);
  const auto permeance = [&](double table) {
    return table * 15.5 * 25.4 / 12.0 / 24.0 / cup_pressure;  // g/m²/h/kPa
  };
  const double air = physics::boundary_resistance(4.0, p);
  const double gap = physics::gap_resistance(0.001, 32.0, p);
  const double bare = 1 / air;
  const auto share = [&](double table) {
    return physics::cover_conductance(permeance(table), one, gap + air) / bare;
  };
  // The project's own bounds for a sealed cover: at most 10 % (polyethylene), 20 % (soft PVC).
  CHECK(share(1.0) > 0.001);
  CHECK(share(2.0) < 0.01);
  CHECK(share(15.0) > 0.02);
  CHECK(share(40.0) < 0.11);
}

TEST_CASE("vapour under a film: what leaves the surface passes or condenses") {
  const double air = physics::boundary_resistance(4.0, p);
  for (double film : {15.0, 25.0, 30.0, 33.9, 36.0, 45.0})
    for (double permeance : {0.0, 0.3, 8.0, 200.0})
      for (double thickness : {0.0005, 0.003, 0.01}) {
        INFO(film << " °C, " << permeance << " g/m²/h/kPa, " << thickness << " m");
        const double surface = physics::saturation_pressure(34.0), room = 1.4;
        const double saturation = physics::saturation_pressure(film);
        const double gap = physics::gap_resistance(thickness, 32.0, p);
        const auto path = physics::vapour_path(surface, saturation, room, gap, permeance, one, air);
        CHECK_THAT(path.passed + path.condensed,
                   WithinRel((surface - path.inner_vapour) / gap, 1e-12) || WithinAbs(0.0, 1e-12));
        CHECK(path.condensed >= 0.0);
        CHECK(path.inner_vapour < saturation);
        if (permeance == 0.0) CHECK(path.passed == 0.0);
        const double series = physics::cover_flux(surface, room, gap, permeance, one, air);
        CHECK(path.passed <= series);
        const double step = 1e-5;
        const auto change = [&](double s) {
          return physics::vapour_path(surface, s, room, gap, permeance, one, air).condensed;
        };
        // Central difference: the curvature over the smoothing width limits it.
        const double slope = (change(saturation + step) - change(saturation - step)) / (2 * step);
        CHECK_THAT(path.sensitivity, WithinRel(slope, 1e-5) || WithinAbs(slope, 1e-6 / gap));
      }
}

TEST_CASE("a hot film stays dry, a cold one is wet") {
  const double air = physics::boundary_resistance(4.0, p);
  const double gap = physics::gap_resistance(0.003, 32.0, p);
  const double surface = physics::saturation_pressure(34.0);
  const auto hot =
      physics::vapour_path(surface, physics::saturation_pressure(40.0), 1.4, gap, 8.0, one, air);
  // 0.1 %: the tail of the smooth lesser of two pressures.
  CHECK_THAT(hot.passed, WithinRel(physics::cover_flux(surface, 1.4, gap, 8.0, one, air), 1e-3));
  const auto cold =
      physics::vapour_path(surface, physics::saturation_pressure(28.0), 1.4, gap, 8.0, one, air);
  CHECK_THAT(cold.inner_vapour, WithinRel(physics::saturation_pressure(28.0), 1e-3));
  CHECK(cold.condensed > 10 * cold.passed);
}
