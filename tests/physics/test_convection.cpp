// SPDX-License-Identifier: Apache-2.0
#include "physics/convection.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace Catch::Matchers;
namespace physics = serosa::physics;

namespace {
constexpr double p = physics::standard_pressure;
}

TEST_CASE("natural convection is Churchill and Chu's equation") {
  const double pr = physics::prandtl_air;
  for (double d : {0.03, 0.08, 0.11, 0.2})
    for (double warmer : {2.0, 9.0, 20.0}) {
      const double film = 24.0 + warmer / 2;
      const double drive = std::hypot(warmer, physics::temperature_smoothing);
      const double rayleigh =
          9.80665 * drive * d * d * d / (film + 273.15) /
          (physics::kinematic_viscosity(film, p) * physics::thermal_diffusivity(film, p));
      const double root = 0.60 + 0.387 * std::pow(rayleigh, 1.0 / 6) /
                                     std::pow(1 + std::pow(0.559 / pr, 9.0 / 16), 8.0 / 27);
      const double expected = root * root * physics::air_conductivity(film) / d;
      // The same formula, rounding only.
      CHECK_THAT(physics::natural_convection(d, 24.0 + warmer, 24.0, 0.0, p),
                 WithinRel(expected, 1e-13));
    }
  // Incropera & DeWitt, worked example of a horizontal steam pipe (from memory): 0.1 m, 165 °C in
  // 23 °C: Ra 5.07e6, Nu 23.3 by the same correlation, 7.29 W/m²/K. Air properties differ by 2 %.
  CHECK_THAT(physics::natural_convection(0.1, 165.0, 23.0, 0.0, p), WithinRel(7.29, 0.02));
}

TEST_CASE("forced convection is Churchill and Bernstein's equation") {
  const double pr = physics::prandtl_air;
  for (double d : {0.03, 0.08, 0.15})
    for (double v : {0.05, 0.2, 0.7, 2.0}) {
      const double re =
          std::hypot(v, physics::speed_smoothing) * d / physics::kinematic_viscosity(30.0, p);
      const double nusselt = 0.3 + 0.62 * std::sqrt(re) * std::cbrt(pr) /
                                       std::pow(1 + std::pow(0.4 / pr, 2.0 / 3), 0.25) *
                                       std::pow(1 + std::pow(re / 282000, 0.625), 0.8);
      const double expected = nusselt * physics::air_conductivity(30.0) / d;
      // 2e-4: the outer power is taken as a ratio, see the docstring.
      CHECK_THAT(physics::forced_convection(d, 30.0, v, p), WithinRel(expected, 2e-4));
    }
  // Incropera & DeWitt, worked example of a heated cylinder (from memory): 12.7 mm, 10 m/s, film
  // 350 K: Re 6071, Nu 40.6, 96 W/m²/K by the same correlation. Air properties differ by 2 %.
  CHECK_THAT(physics::forced_convection(0.0127, 76.85, 10.0, p), WithinRel(96.0, 0.02));
}

TEST_CASE("still air: a newborn-sized cylinder loses what the manikin lost") {
  // Infant manikin, skin 34 °C, air 16-30 °C, below 0.2 m/s: h_c = 2.16 ΔT^0.23 (Heliyon
  // 2022;8:e12076). Trunk and limbs of a newborn as 0.10-0.11 m. 8 %: the correlation is good to
  // 10 %, the fit's exponent lies below the 1/4 of laminar flow, so the ends of the range differ.
  for (double d : {0.10, 0.11})
    for (double air : {16.0, 20.0, 24.0, 28.0, 30.0}) {
      INFO(d << " m, " << air << " °C");
      CHECK_THAT(physics::convection_coefficient(d, 34.0, air, 0.0, 0.0, p),
                 WithinRel(2.16 * std::pow(34.0 - air, 0.23), 0.08));
    }
}

TEST_CASE("slow draught: the manikin in an incubator") {
  // Wheldon, Phys Med Biol 1982;27:285: 4.0 (fetal) to 5.4 (spread) W/m²/K. Air speeds of 0.1 and
  // 0.2 m/s and a skin 3-10 K above the air span what an incubator does; 10 % as the correlations.
  for (double d : {0.10, 0.11})
    for (double warmer : {3.0, 10.0})
      for (double v : {0.1, 0.2}) {
        INFO(d << " m, +" << warmer << " K, " << v << " m/s");
        const double h = physics::convection_coefficient(d, 35.0, 35.0 - warmer, v, 0.0, p);
        CHECK(h > 0.9 * 4.0);
        CHECK(h < 1.1 * 5.4);
      }
}

TEST_CASE("a newborn loses more per area than an adult in the same draught") {
  // Kerslake 1972, adults: 8.3 v^0.6.
  for (double v : {0.2, 0.5, 1.0})
    CHECK(physics::forced_convection(0.1, 30.0, v, p) > 8.3 * std::pow(v, 0.6));
}

TEST_CASE("moist air over wet skin strengthens natural convection by about a tenth") {
  for (double skin : {32.0, 34.0, 36.0})
    for (double air : {22.0, 25.0, 28.0}) {
      INFO(skin << " °C in " << air << " °C");
      const double wet = physics::saturation_pressure(skin);
      const double dry = physics::vapour_pressure(air, 0.5);
      const double more = physics::moist_buoyancy(skin, wet, air, dry, p);
      const double ratio = physics::natural_convection(0.1, skin, air, more, p) /
                           physics::natural_convection(0.1, skin, air, 0.0, p);
      // Between the powers 1/4 (laminar) and 1/3 (turbulent) of the buoyancy, any handbook; a
      // little less than 1/4 is possible where Nu is small.
      const double buoyancy = 1 + more / (skin - air);
      CHECK(ratio > std::pow(buoyancy, 0.23));
      CHECK(ratio < std::pow(buoyancy, 1.0 / 3));
    }
}

TEST_CASE("convection never falls with more draught, more difference or a smaller body") {
  for (double d : {0.04, 0.08, 0.12, 0.2})
    for (double air : {15.0, 25.0, 35.0})
      for (double warmer = 0; warmer <= 20; warmer += 1)
        for (double v = 0; v <= 2; v += 0.1) {
          const double h = physics::convection_coefficient(d, air + warmer, air, v, 0.0, p);
          CHECK(physics::convection_coefficient(d, air + warmer, air, v + 0.1, 0.0, p) > h);
          CHECK(physics::convection_coefficient(0.9 * d, air + warmer, air, v, 0.0, p) > h);
          const double heat = h * warmer;
          CHECK(physics::convection_coefficient(d, air + warmer + 1, air, v, 0.0, p) *
                    (warmer + 1) >
                heat);
        }
}

TEST_CASE("warmer and colder than the air are the same at the same mean") {
  CHECK(physics::convection_coefficient(0.1, 34.0, 26.0, 0.05, 0.0, p) ==
        physics::convection_coefficient(0.1, 26.0, 34.0, 0.05, 0.0, p));
}

TEST_CASE("derivatives exist without a difference and without a draught") {
  using Dual = physics::Dual<2>;
  const Dual surface = Dual::variable(30.0, 0), speed = Dual::variable(0.0, 1);
  const Dual h = physics::convection_coefficient(0.1, surface, 30.0, speed, 0.0, p);
  CHECK(std::isfinite(h.value));
  CHECK(h.value > 0);
  // Even in the speed and, but for the slow change of air with temperature, in the difference.
  CHECK(h.slope[1] == 0.0);
  CHECK(std::abs(h.slope[0]) < 0.01);
}

TEST_CASE("forced convection hardly depends on the film temperature") {
  // What the docstring promises, 0.05 % per K, over 10 K.
  for (double v : {0.05, 0.2, 1.0})
    CHECK_THAT(physics::forced_convection(0.1, 35.0, v, p),
               WithinRel(physics::forced_convection(0.1, 25.0, v, p), 0.006));
}
