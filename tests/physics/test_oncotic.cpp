// SPDX-License-Identifier: Apache-2.0
#include "physics/oncotic.hpp"

#include <catch2/catch.hpp>

using namespace Catch::Matchers;
namespace physics = serosa::physics;
using physics::landis_pappenheimer::albumin;
using physics::landis_pappenheimer::globulin;

TEST_CASE("oncotic pressure of total protein") {
  // Landis-Pappenheimer as quoted by Mullins et al. 1983, worked by hand at g/L; two decimals.
  const double table[][2] = {{30, 7.98},  {40, 11.54}, {50, 15.62}, {51, 16.07},
                             {60, 20.30}, {62, 21.32}, {70, 25.63}, {73, 27.36}};
  for (const auto& row : table) {
    INFO(row[0] << " g/L");
    CHECK_THAT(physics::oncotic_pressure(row[0]), WithinAbs(row[1], 0.006));
  }
}

TEST_CASE("normal adult plasma") {
  // 21.6 ± 3.6 mmHg measured in adults (Crit Care Med about 1982, from memory) at 60-65 g/L.
  CHECK_THAT(physics::oncotic_pressure(63.0), WithinAbs(21.6, 3.6));
}

TEST_CASE("albumin draws more than globulin, plasma lies between") {
  // Albumin 5 g/dL: 20.0 mmHg (Landis & Pappenheimer 1963, from memory).
  CHECK_THAT(physics::oncotic_pressure(50.0, albumin), WithinAbs(20.0, 0.05));
  for (double c = 5; c <= 100; c += 5) {
    CHECK(physics::oncotic_pressure(c, albumin) > physics::oncotic_pressure(c));
    CHECK(physics::oncotic_pressure(c) > physics::oncotic_pressure(c, globulin));
    CHECK(physics::oncotic_pressure(c) > physics::oncotic_pressure(c - 5));
  }
  CHECK(physics::oncotic_pressure(0.0) == 0.0);
}
