// SPDX-License-Identifier: Apache-2.0
#pragma once
// Long-wave exchange and the warmer's irradiance. Temperatures in °C, flows in W/m².
#include "physics/humid_air.hpp"

namespace serosa::physics {

inline constexpr double stefan_boltzmann = 5.670374419e-8;  ///< W/m²/K⁴, SI 2019

/// Black-body coefficient σ (T₁² + T₂²)(T₁ + T₂), W/m²/K: times T₁ − T₂ it is exactly
/// σ (T₁⁴ − T₂⁴). 4 σ T³ (5.9–6.4 at 23–31 °C) when both are equal.
SEROSA_INLINE auto black_body_coefficient(const Real auto& first_temperature,
                                          const Real auto& second_temperature) {
  const auto first = first_temperature + celsius_zero;
  const auto second = second_temperature + celsius_zero;
  return stefan_boltzmann * (first * first + second * second) * (first + second);
}

/// Long-wave heat from a surface to the walls of a room, W per m² of the whole surface:
/// σ ε f (T_s⁴ − T_w⁴). `emissivity` of the surface (walls taken as black: they are large),
/// `radiating_fraction` the share of the surface that sees the walls.
SEROSA_INLINE auto long_wave_exchange(const Real auto& surface_temperature,
                                      const Real auto& wall_temperature,
                                      const Real auto& emissivity,
                                      const Real auto& radiating_fraction) {
  return emissivity * radiating_fraction *
         black_body_coefficient(surface_temperature, wall_temperature) *
         (surface_temperature - wall_temperature);
}

/// Emissivity that stands for two facing surfaces close together: 1/(1/ε₁ + 1/ε₂ − 1)
/// (infinite parallel plates; any heat-transfer handbook). Both in (0, 1].
SEROSA_INLINE auto facing_emissivity(const Real auto& first, const Real auto& second) {
  return first * second / (first + second - first * second);
}

/// Warmer irradiance that a surface takes up, W per m² of the whole surface. `irradiance` in W/m²
/// on a plane at the mattress, `facing_fraction` the projected share of the surface that faces up,
/// `transmitted` what covers above let through (1 without), `absorptivity` of the surface.
SEROSA_INLINE auto absorbed_irradiance(const Real auto& irradiance,
                                       const Real auto& facing_fraction,
                                       const Real auto& transmitted,
                                       const Real auto& absorptivity) {
  return irradiance * facing_fraction * transmitted * absorptivity;
}

}  // namespace serosa::physics
