// SPDX-License-Identifier: Apache-2.0
#include "physics/radiation.hpp"

#include <catch2/catch.hpp>

using namespace Catch::Matchers;
namespace physics = serosa::physics;

TEST_CASE("a black body radiates what the handbook says") {
  // 459.3 W/m² at 300 K: σT⁴ in heat-transfer handbooks (from memory); four digits. Walls at 0 K.
  CHECK_THAT(physics::long_wave_exchange(26.85, -273.15, 1.0, 1.0), WithinRel(459.3, 2e-4));
}

TEST_CASE("long-wave exchange is the difference of fourth powers, and antisymmetric") {
  for (double s : {20.0, 34.0, 40.0})
    for (double w : {10.0, 25.0, 34.0}) {
      const double fourth = [](double t) { return t * t * t * t; }(s + 273.15) -
                            [](double t) { return t * t * t * t; }(w + 273.15);
      // The factored form loses nothing; the difference of fourth powers loses digits.
      CHECK_THAT(physics::long_wave_exchange(s, w, 0.97, 0.7),
                 WithinAbs(0.97 * 0.7 * physics::stefan_boltzmann * fourth, 1e-11));
      CHECK(physics::long_wave_exchange(s, w, 0.9, 0.7) ==
            -physics::long_wave_exchange(w, s, 0.9, 0.7));
    }
  CHECK(physics::long_wave_exchange(30.0, 30.0, 0.97, 0.7) == 0.0);
}

TEST_CASE("the baby manikin's radiation coefficient") {
  // Wheldon, Phys Med Biol 1982;27:285: 3.1-4.9 W/m²/K at area fractions 0.48-0.76. Skin 35 °C,
  // walls 30 °C, emissivity 0.97 (skin, table value in PMC9542768); 4 % for those.
  const double black = physics::black_body_coefficient(35.0, 30.0);
  CHECK_THAT(0.97 * 0.48 * black, WithinRel(3.1, 0.04));
  CHECK_THAT(0.97 * 0.76 * black, WithinRel(4.9, 0.04));
}

TEST_CASE("facing surfaces and the warmer's share") {
  CHECK_THAT(physics::facing_emissivity(1.0, 0.4), WithinRel(0.4, 1e-15));
  CHECK(physics::facing_emissivity(1.0, 1.0) == 1.0);
  CHECK_THAT(physics::facing_emissivity(0.8, 0.5), WithinRel(1 / (1 / 0.8 + 1 / 0.5 - 1), 1e-14));
  CHECK(physics::absorbed_irradiance(300.0, 0.4, 0.85, 0.0) == 0.0);
  CHECK_THAT(physics::absorbed_irradiance(300.0, 0.4, 0.85, 0.9), WithinRel(91.8, 1e-14));
}
