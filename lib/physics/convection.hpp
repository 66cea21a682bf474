// SPDX-License-Identifier: Apache-2.0
#pragma once
// Convective heat transfer of a body part taken as a horizontal cylinder, W/m²/K.
#include "physics/humid_air.hpp"

namespace serosa::physics {

/// Where |ΔT| and the speed enter, sqrt(x² + ε²) takes their place, so that derivatives exist at
/// zero. In K: 1 % on natural convection at ΔT = 1 K, nothing above; a room's air differs that
/// much from place to place.
inline constexpr double temperature_smoothing = 0.25;
/// In m/s: below what the air of a closed room does by itself.
inline constexpr double speed_smoothing = 0.01;

/// Natural convection, W/m²/K.
/// Churchill & Chu, Int J Heat Mass Transfer 1975;18:1049, horizontal cylinder, all laminar and
/// turbulent Rayleigh numbers (1e-6 to 1e12): Nu = {0.60 + 0.387 Ra^(1/6) / [1 +
/// (0.559/Pr)^(9/16)]^(8/27)}²; about ± 10 % against measurements.
/// Ra is built on the difference of virtual temperatures (`buoyancy`, K, adds the moisture's share
/// and is zero over dry surfaces) and properties at the mean of surface and air.
SEROSA_INLINE auto natural_convection(const Real auto& diameter,
                                      const Real auto& surface_temperature,
                                      const Real auto& air_temperature, const Real auto& buoyancy,
                                      const Real auto& pressure) {
  constexpr double rayleigh_scale = standard_gravity / (at_zero_celsius::kinematic_viscosity *
                                                        at_zero_celsius::thermal_diffusivity *
                                                        standard_pressure * standard_pressure);
  constexpr double slope = 0.3212774559279078;  // 0.387 / [...]^(8/27) at prandtl_air
  const auto film = 0.5 * (surface_temperature + air_temperature);
  const auto growth = diffusivity_growth(film);
  const auto per_kelvin = rayleigh_scale * (diameter * diameter * diameter) *
                          (pressure * pressure) / ((film + celsius_zero) * (growth * growth));
  const auto drive = surface_temperature - air_temperature + buoyancy;
  const auto rayleigh_squared =
      per_kelvin * per_kelvin * (drive * drive + temperature_smoothing * temperature_smoothing);
  const auto root = 0.60 + slope * pow(rayleigh_squared, 1.0 / 12.0);
  return air_conductivity(film) / diameter * (root * root);
}

/// Forced convection across the cylinder, W/m²/K.
/// Churchill & Bernstein, J Heat Transfer 1977;99:300, eq. 1: Nu = 0.3 + 0.62 Re^(1/2) Pr^(1/3) /
/// [1 + (0.4/Pr)^(2/3)]^(1/4) · [1 + (Re/282000)^(5/8)]^(4/5), Re·Pr > 0.2. The outer power is
/// taken as (1 + 0.9 x)/(1 + 0.1 x), within 0.02 % for Re < 2e4 (2 m/s across 0.15 m) and 0.8 % at
/// 282000. The result hardly depends on `film_temperature` (about −0.05 % per K), so it may be kept
/// while speed and pressure stay.
SEROSA_INLINE auto forced_convection(const Real auto& diameter, const Real auto& film_temperature,
                                     const Real auto& air_speed, const Real auto& pressure) {
  constexpr double slope = 0.4856769584488696;   // 0.62 Pr^(1/3) / [...]^(1/4) at prandtl_air
  constexpr double turbulent = 1.0 / 531.03672;  // 282000^(-1/2)
  const auto speed = sqrt(air_speed * air_speed + speed_smoothing * speed_smoothing);
  const auto reynolds = speed * diameter / kinematic_viscosity(film_temperature, pressure);
  const auto root = sqrt(reynolds);
  const auto ratio = root * turbulent;
  const auto x = ratio * sqrt(sqrt(ratio));  // (Re/282000)^(5/8)
  const auto nusselt = 0.3 + slope * root * (1.0 + 0.9 * x) / (1.0 + 0.1 * x);
  return air_conductivity(film_temperature) / diameter * nusselt;
}

/// Natural and forced convection at once: the cube root of the sum of cubes.
/// Churchill, AIChE J 1977;23:10 (exponent 3, assisting and cross flow). Both positive.
SEROSA_INLINE auto blended_convection(const Real auto& natural, const Real auto& forced) {
  return cbrt(natural * natural * natural + forced * forced * forced);
}

/// What stays the same for a cylinder while diameter, air speed and pressure do.
template <Real R>
struct Cylinder {
  R per_diameter;  ///< 1/m
  R natural;       ///< 0.387 / [...]^(8/27) Ra^(1/6) at 300 K and 1 K of buoyancy
  R forced;        ///< 0.62 Pr^(1/3) / [...]^(1/4) Re^(1/2) at 300 K
  R turbulence;    ///< (Re/282000)^(5/8) at 300 K
};

template <Real R>
SEROSA_INLINE void set_lane(Cylinder<R>& to, int lane, const Cylinder<Scalar<R>>& from) {
  set_lane(to.per_diameter, lane, from.per_diameter);
  set_lane(to.natural, lane, from.natural);
  set_lane(to.forced, lane, from.forced);
  set_lane(to.turbulence, lane, from.turbulence);
}

/// The same equations as `natural_convection` and `forced_convection`, parted into what stays and
/// what changes with the temperatures.
template <Real R>
SEROSA_INLINE Cylinder<R> cylinder(const R& diameter, const R& air_speed, const R& pressure) {
  constexpr double rayleigh_at_300 =
      standard_gravity /
      (at_zero_celsius::kinematic_viscosity * at_zero_celsius::thermal_diffusivity *
       standard_pressure * standard_pressure) /
      (300.0 * air_power::growth_at_300 * air_power::growth_at_300);
  constexpr double reynolds_at_300 =
      1.0 / (at_zero_celsius::kinematic_viscosity * standard_pressure * air_power::growth_at_300);
  Cylinder<R> c;
  c.per_diameter = 1.0 / diameter;
  c.natural =
      0.3212774559279078 *
      pow(rayleigh_at_300 * (diameter * diameter * diameter) * (pressure * pressure), 1.0 / 6.0);
  const R speed = sqrt(air_speed * air_speed + speed_smoothing * speed_smoothing);
  const R root = sqrt(reynolds_at_300 * speed * diameter * pressure);
  c.forced = 0.4856769584488696 * root;
  const R ratio = root * (1.0 / 531.03672);
  c.turbulence = ratio * sqrt(sqrt(ratio));
  return c;
}

/// Convective coefficient, W/m²/K, of such a cylinder at `surface_temperature` in air of
/// `air_temperature` °C; `buoyancy` from `moist_buoyancy` (0 over dry surfaces).
template <Real R>
SEROSA_INLINE R convection_coefficient(const Cylinder<R>& c, const R& surface_temperature,
                                       const R& air_temperature, const R& buoyancy) {
  const R film = 0.5 * (surface_temperature + air_temperature);
  const R drive = surface_temperature - air_temperature + buoyancy;
  const R root =
      0.60 + c.natural * air_power::rayleigh_sixth(film) *
                 pow(drive * drive + temperature_smoothing * temperature_smoothing, 1.0 / 12.0);
  const R natural = root * root;
  const R x = c.turbulence * air_power::reynolds_five_eighths(film);
  const R forced =
      0.3 + c.forced * air_power::root_of_reynolds(film) * (1.0 + 0.9 * x) / (1.0 + 0.1 * x);
  return still_air_conductivity(film) * c.per_diameter * blended_convection(natural, forced);
}

/// Convective coefficient, W/m²/K, of a cylinder of `diameter` m at `surface_temperature` °C in air
/// of `air_temperature` °C that moves at `air_speed` m/s; `buoyancy` from `moist_buoyancy` (0 over
/// dry surfaces), `pressure` kPa.
SEROSA_INLINE auto convection_coefficient(const Real auto& diameter,
                                          const Real auto& surface_temperature,
                                          const Real auto& air_temperature,
                                          const Real auto& air_speed, const Real auto& buoyancy,
                                          const Real auto& pressure) {
  return blended_convection(
      natural_convection(diameter, surface_temperature, air_temperature, buoyancy, pressure),
      forced_convection(diameter, 0.5 * (surface_temperature + air_temperature), air_speed,
                        pressure));
}

}  // namespace serosa::physics
