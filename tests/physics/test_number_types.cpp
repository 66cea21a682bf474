// SPDX-License-Identifier: Apache-2.0
// Every function of the room in every number type: the same bits in each lane of a pack as in a
// double, and derivatives by dual numbers equal to central differences.
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <random>

#include "physics/convection.hpp"
#include "physics/cover_temperature.hpp"
#include "physics/oncotic.hpp"

using namespace Catch::Matchers;
namespace physics = serosa::physics;

namespace {
constexpr int inputs = 8, outputs = 28;

/// All functions at once. Inputs: surface and air temperature, humidity, air speed, diameter,
/// pressure, permeance, gap thickness.
template <physics::Real R>
std::array<R, outputs> everything(const std::array<R, inputs>& x) {
  using namespace serosa::physics;
  const auto& [surface, air, humidity, speed, diameter, pressure, permeance, thickness] = x;
  const R one(1.0);
  const R wet = saturation_pressure(surface), room = vapour_pressure(air, humidity);
  const R buoyancy = moist_buoyancy(surface, wet, air, room, pressure);
  const R h = convection_coefficient(diameter, surface, air, speed, buoyancy, pressure);
  const R outside = boundary_resistance(h, pressure);
  const R gap = gap_resistance(thickness, surface, pressure);
  const R conductance = gap_conductance(thickness, surface);
  const CoverExchange<R> e{surface, wet, conductance + 5.0, gap, permeance, one,    outside,
                           room,    air, air - 2.0,         h,   R(0.85),   R(20.0)};
  const R film = cover_temperature(e);
  const VapourPath<R> path = vapour_path(e, film);
  return {wet,
          saturation_slope(surface, wet),
          dew_point(room),
          latent_heat(surface),
          air_density(air, room, pressure),
          diffusivity_growth(air),
          vapour_diffusivity(air, pressure),
          kinematic_viscosity(air, pressure),
          thermal_diffusivity(air, pressure),
          air_conductivity(air),
          vapour_coefficient(h, pressure),
          lewis_coefficient(surface, pressure),
          virtual_temperature(air, room, pressure),
          buoyancy,
          h,
          long_wave_exchange(surface, air, humidity, 0.7),
          facing_emissivity(humidity, 0.9),
          absorbed_irradiance(300.0, humidity, 0.85, 0.9),
          cover_flux(wet, room, gap, permeance, one, outside),
          with_leak(conductance, h, humidity),
          path.inner_vapour,
          path.passed,
          path.condensed,
          cover_temperature_guess(e),
          film,
          heat_surplus(e, air),
          cover_temperature_start(surface, air),
          oncotic_pressure(surface)};
}

/// Outputs that are small differences of large terms, and how large these are.
constexpr std::array<double, outputs> term_size = [] {
  std::array<double, outputs> size{};
  size[13] = 300;   // buoyancy: of absolute temperatures
  size[20] = 100;   // inner vapour: of film saturation and distance, and the film's temperature
  size[21] = 1000;  // passed
  size[22] = 1e4;   // condensed: of flows across a thin gap
  size[23] = size[24] = 1000;
  size[25] = 1e4;  // heat surplus: of such flows' heat
  return size;
}();
constexpr std::size_t path_begins = 20;

constexpr std::array<double, inputs> low{28, 15, 0.1, 0.0, 0.03, 80, 0.0, 0.0005};
constexpr std::array<double, inputs> high{39, 35, 0.95, 2.0, 0.2, 105, 100, 0.01};

std::array<double, inputs> draw(std::mt19937_64& random) {
  std::array<double, inputs> x{};
  for (std::size_t i = 0; i < inputs; ++i)
    x[i] = std::uniform_real_distribution<double>(low[i], high[i])(random);
  return x;
}
}  // namespace

TEST_CASE("each lane of a pack holds the bits of the plain number") {
  using Pack = physics::Pack<8>;
  std::mt19937_64 random(20240607);
  for (int round = 0; round < 2000; ++round) {
    std::array<Pack, inputs> packed{};
    std::array<std::array<double, inputs>, 8> plain{};
    for (int lane = 0; lane < 8; ++lane) {
      plain[static_cast<std::size_t>(lane)] = draw(random);
      for (std::size_t i = 0; i < inputs; ++i)
        physics::set_lane(packed[i], lane, plain[static_cast<std::size_t>(lane)][i]);
    }
    const auto many = everything(packed);
    for (int lane = 0; lane < 8; ++lane) {
      const auto alone = everything(plain[static_cast<std::size_t>(lane)]);
      for (std::size_t k = 0; k < outputs; ++k) {
        const double lane_value = physics::value_of(many[k], lane);
        if (std::memcmp(&lane_value, &alone[k], sizeof(double)) != 0)
          FAIL("output " << k << ", lane " << lane << ": " << lane_value << " and " << alone[k]);
      }
    }
  }
}

TEST_CASE("derivatives by dual numbers equal central differences") {
  using Dual = physics::Dual<inputs>;
  std::mt19937_64 random(11);
  for (int round = 0; round < 100; ++round) {
    const auto x = draw(random);
    std::array<Dual, inputs> dual{};
    for (int i = 0; i < inputs; ++i)
      dual[static_cast<std::size_t>(i)] = Dual::variable(x[static_cast<std::size_t>(i)], i);
    const auto derived = everything(dual);
    const auto value = everything(x);
    for (std::size_t i = 0; i < inputs; ++i) {
      const double step = 1e-4 * (high[i] - low[i]);
      const auto shifted = [&](double by) {
        auto y = x;
        y[i] += by * step;
        return everything(y);
      };
      // Fourth-order difference: its truncation is below 1e-6 of the slope except within the
      // width over which the film's inner face turns wet, where it is below 1e-5.
      const auto a = shifted(-2), b = shifted(-1), c = shifted(1), d = shifted(2);
      for (std::size_t k = 0; k < outputs; ++k) {
        INFO("output " << k << ", input " << i << ", round " << round);
        const double slope = (8 * (c[k] - b[k]) - (d[k] - a[k])) / (12 * step);
        const double rounding = 1e-15 * std::max(std::abs(value[k]), term_size[k]) / step;
        CHECK(derived[k].value == value[k]);
        CHECK_THAT(derived[k].slope[i],
                   WithinRel(slope, k >= path_begins ? 1e-5 : 1e-6) || WithinAbs(slope, rounding));
      }
    }
  }
}

TEST_CASE("every derivative is finite at zero difference, zero draught and zero permeance") {
  using Dual = physics::Dual<inputs>;
  const std::array<double, inputs> still{30, 30, 1.0, 0.0, 0.1, 101.325, 0.0, 0.002};
  std::array<Dual, inputs> dual{};
  for (int i = 0; i < inputs; ++i)
    dual[static_cast<std::size_t>(i)] = Dual::variable(still[static_cast<std::size_t>(i)], i);
  for (const auto& y : everything(dual)) CHECK(physics::isfinite(y));
}
