// SPDX-License-Identifier: Apache-2.0
#pragma once
// Water vapour and the air of a room. Temperatures in °C, pressures in kPa.
#include "physics/real/real.hpp"

namespace serosa::physics {

inline constexpr double celsius_zero = 273.15;          ///< K, by definition
inline constexpr double standard_pressure = 101.325;    ///< kPa, by definition
inline constexpr double gas_constant = 8.314462618;     ///< J/mol/K, SI 2019, exact to the digits
inline constexpr double standard_gravity = 9.80665;     ///< m/s², by definition
inline constexpr double molar_mass_water = 18.015268;   ///< g/mol, IAPWS-95
inline constexpr double molar_mass_dry_air = 28.96546;  ///< g/mol, CIPM-2007 (Picard et al. 2008)
/// J/g/K of dry air; within 0.1 % at 0–40 °C (Lemmon et al., J Phys Chem Ref Data 2000;29:331).
inline constexpr double heat_capacity_air = 1.006;
inline constexpr double seconds_per_hour = 3600.0;

/// Saturation vapour pressure over liquid water, kPa, at `temperature` °C.
/// Buck, J Appl Meteorol 1981;20:1527, the enhanced form ln(e/a) = (b − T/d) T/(c + T), with the
/// coefficients of its 1996 revision (Buck Research CR-1A manual). 0–80 °C; 0.03–0.05 % below
/// IAPWS-95 at 20–40 °C, one exponential.
SEROSA_INLINE Real auto saturation_pressure(const Real auto& temperature) {
  return 0.61121 *
         exp((18.678 - temperature * (1.0 / 234.5)) * temperature / (257.14 + temperature));
}

/// Slope of `saturation_pressure` in kPa/K, given the pressure already computed at `temperature`.
/// The analytical derivative of Buck's form.
SEROSA_INLINE auto saturation_slope(const Real auto& temperature, const Real auto& saturation) {
  const auto reach = 257.14 + temperature;
  return saturation * (18.678 * 257.14 - temperature * (514.28 + temperature) * (1.0 / 234.5)) /
         (reach * reach);
}

/// Saturation pressure, kPa, with its slope, kPa/K.
template <Real R>
struct Saturation {
  R pressure, slope;
};

/// Both at once, with one division between them.
template <Real R>
SEROSA_INLINE Saturation<R> saturation(const R& temperature) {
  const R reached = 1.0 / (257.14 + temperature);
  const R pressure = 0.61121 * exp((18.678 - temperature * (1.0 / 234.5)) * temperature * reached);
  return {pressure, pressure *
                        (18.678 * 257.14 - temperature * (514.28 + temperature) * (1.0 / 234.5)) *
                        (reached * reached)};
}

/// Temperature, °C, at which `pressure` kPa of vapour saturates: the exact inverse of
/// `saturation_pressure` (the root of its quadratic). 0.61–47 kPa (0–80 °C); `pressure` > 0.
SEROSA_INLINE Real auto dew_point(const Real auto& pressure) {
  const auto exponent = log(pressure * (1.0 / 0.61121));
  const auto rest = 18.678 - exponent;
  return (0.5 * 234.5) * (rest - sqrt(rest * rest - (4.0 * 257.14 / 234.5) * exponent));
}

/// Latent heat of evaporation of water, J/g, at `temperature` °C.
/// Linear form of the steam tables (2500.9 − 2.365 T); within 0.05 % of IAPWS-95 at 0–50 °C and
/// 0.2 % at 80 °C.
SEROSA_INLINE Real auto latent_heat(const Real auto& temperature) {
  return 2500.9 - 2.365 * temperature;
}

/// Vapour pressure, kPa, of air at `temperature` °C and a relative humidity given as a fraction.
SEROSA_INLINE auto vapour_pressure(const Real auto& temperature, const Real auto& humidity) {
  return humidity * saturation_pressure(temperature);
}

/// Density of moist air, kg/m³: ideal gases, `vapour` and `pressure` in kPa.
/// Within 0.1 % of CIPM-2007 at 15–40 °C and ordinary pressure (compressibility left out).
SEROSA_INLINE auto air_density(const Real auto& temperature, const Real auto& vapour,
                               const Real auto& pressure) {
  return (pressure * molar_mass_dry_air - vapour * (molar_mass_dry_air - molar_mass_water)) /
         (gas_constant * (temperature + celsius_zero));
}

/// (T / 273.15 K)^1.81, the growth of all diffusivities of air with temperature (Massman 1998,
/// 1999). Written as the binomial series about 300 K to the cube, which is a few multiplications
/// instead of a power; 2e-7 relative at 10–45 °C, 2e-5 at 0–80 °C.
SEROSA_INLINE Real auto diffusivity_growth(const Real auto& temperature) {
  const auto x = (temperature + (celsius_zero - 300.0)) * (1.0 / 300.0);
  return 1.1849589083218433 * (1.0 + x * (1.81 + x * (0.73305 - 0.0464265 * x)));
}

/// Powers of T / 300 K that air's properties need, as binomial series about 300 K: a few
/// multiplications instead of roots and divisions. Relative errors at 5–45 °C below 3e-6.
namespace air_power {
template <class R>
SEROSA_INLINE R series(const R& temperature, double first, double second, double third,
                       double fourth) {
  const R x = (temperature + (celsius_zero - 300.0)) * (1.0 / 300.0);
  return 1.0 + x * (first + x * (second + x * (third + x * fourth)));
}
/// 0.81 = 1.81 − 1: growth of conductivity, and of a gap's conductance for vapour.
template <class R>
SEROSA_INLINE R conductivity(const R& temperature) {
  return series(temperature, 0.81, -0.07695, 0.0305235, -0.01671161625);
}
/// −0.81 = 1 − 1.81: of a gap's resistance to vapour.
template <class R>
SEROSA_INLINE R diffusion_resistance(const R& temperature) {
  return series(temperature, -0.81, 0.73305, -0.6866235, 0.65400888375);
}
/// −0.905 = −1.81 / 2: of the root of a Reynolds number.
template <class R>
SEROSA_INLINE R root_of_reynolds(const R& temperature) {
  return series(temperature, -0.905, 0.8620125, -0.8347154375, 0.814890945859375);
}
/// −1.13125 = −1.81 · 5/8: of a Reynolds number to the power 5/8.
template <class R>
SEROSA_INLINE R reynolds_five_eighths(const R& temperature) {
  return series(temperature, -1.13125, 1.20548828125, -1.258228393554688, 1.299514012718201);
}
/// −0.77 = −(1 + 2 · 1.81) / 6: of a Rayleigh number to the power 1/6.
template <class R>
SEROSA_INLINE R rayleigh_sixth(const R& temperature) {
  return series(temperature, -0.77, 0.68145, -0.6292055, 0.59302618375);
}
/// `diffusivity_growth` at 300 K.
inline constexpr double growth_at_300 = 1.1849589083218433;
}  // namespace air_power

namespace at_zero_celsius {                               // m²/s at 273.15 K and 101.325 kPa
inline constexpr double vapour_diffusivity = 0.2178e-4;   // Massman, Atmos Environ 1998;32:1111
inline constexpr double kinematic_viscosity = 0.1327e-4;  // Massman, Atmos Environ 1999;33:453
inline constexpr double thermal_diffusivity = 0.1869e-4;  // the same paper (value from memory)
}  // namespace at_zero_celsius

/// Prandtl number of air, the ratio of Massman's two values; the same at every temperature here
/// (0.710; measured air: 0.711 at 10 °C, 0.705 at 45 °C).
inline constexpr double prandtl_air =
    at_zero_celsius::kinematic_viscosity / at_zero_celsius::thermal_diffusivity;

/// Diffusivity of water vapour in air, m²/s. Massman 1998, 0–100 °C, ± 7 %.
SEROSA_INLINE auto vapour_diffusivity(const Real auto& temperature, const Real auto& pressure) {
  return at_zero_celsius::vapour_diffusivity * standard_pressure * diffusivity_growth(temperature) /
         pressure;
}

/// Kinematic viscosity of air, m²/s. Massman 1999; within 1 % of handbook tables at 0–80 °C.
SEROSA_INLINE auto kinematic_viscosity(const Real auto& temperature, const Real auto& pressure) {
  return at_zero_celsius::kinematic_viscosity * standard_pressure *
         diffusivity_growth(temperature) / pressure;
}

/// Thermal diffusivity of air, m²/s. Massman 1999; within 2 % of handbook tables at 0–80 °C.
SEROSA_INLINE auto thermal_diffusivity(const Real auto& temperature, const Real auto& pressure) {
  return at_zero_celsius::thermal_diffusivity * standard_pressure *
         diffusivity_growth(temperature) / pressure;
}

/// Thermal conductivity of air, W/m/K: diffusivity × density × heat capacity of dry air, in which
/// the pressure cancels. Within 2 % of handbook tables at 0–80 °C.
SEROSA_INLINE Real auto air_conductivity(const Real auto& temperature) {
  constexpr double factor = at_zero_celsius::thermal_diffusivity * standard_pressure *
                            molar_mass_dry_air / gas_constant * heat_capacity_air * 1000.0;
  return factor * diffusivity_growth(temperature) / (temperature + celsius_zero);
}

/// The same by the series for air's powers.
template <Real R>
SEROSA_INLINE R still_air_conductivity(const R& temperature) {
  constexpr double at_300 = at_zero_celsius::thermal_diffusivity * standard_pressure *
                            molar_mass_dry_air / gas_constant * heat_capacity_air * 1000.0 *
                            air_power::growth_at_300 / 300.0;
  return at_300 * air_power::conductivity(temperature);
}

/// (vapour diffusivity / thermal diffusivity)^(2/3), the Chilton–Colburn analogy's exponent on
/// Massman's two values, which share their growth with temperature.
inline constexpr double lewis_factor = 1.1073860527002546;

/// Mass-transfer coefficient of water vapour, g/m²/h/kPa, that belongs to a convective coefficient
/// in W/m²/K (Chilton & Colburn 1934: h_m = h_c (D/α)^(2/3) / (ρ c_p)). Temperature cancels.
/// The drift of the air towards a strongly evaporating surface (Stefan flow, + 2–4 % at 35 °C) is
/// left out; the analogy itself is good to about 5 %.
SEROSA_INLINE auto vapour_coefficient(const Real auto& convection, const Real auto& pressure) {
  constexpr double factor =
      seconds_per_hour * lewis_factor * molar_mass_water / (molar_mass_dry_air * heat_capacity_air);
  return factor * convection / pressure;
}

/// Lewis relation: evaporative over convective coefficient, (W/m²/kPa)/(W/m²/K) = K/kPa, at
/// `temperature` °C (latent heat) and `pressure` kPa. ASHRAE Fundamentals ch. 9: 16.5 at sea
/// level; this rebuild from diffusivities gives 16.4 at 30 °C.
SEROSA_INLINE auto lewis_coefficient(const Real auto& temperature, const Real auto& pressure) {
  constexpr double factor =
      lewis_factor * molar_mass_water / (molar_mass_dry_air * heat_capacity_air);
  return factor * latent_heat(temperature) / pressure;
}

/// Temperature, in K, at which dry air would be as light as air at `temperature` °C that holds
/// `vapour` kPa: T / (1 − (1 − M_w/M_a) e/p), exact for ideal gases.
SEROSA_INLINE auto virtual_temperature(const Real auto& temperature, const Real auto& vapour,
                                       const Real auto& pressure) {
  constexpr double lightness = 1.0 - molar_mass_water / molar_mass_dry_air;
  return (temperature + celsius_zero) * pressure / (pressure - lightness * vapour);
}

/// What moisture adds to the virtual temperature, K: T (1 − M_w/M_a) e / (p − (1 − M_w/M_a) e).
SEROSA_INLINE auto virtual_rise(const Real auto& temperature, const Real auto& vapour,
                                const Real auto& pressure) {
  constexpr double lightness = 1.0 - molar_mass_water / molar_mass_dry_air;
  const auto lifted = lightness * vapour;
  return (temperature + celsius_zero) * lifted / (pressure - lifted);
}

/// What moisture adds to the buoyancy of the air at a surface, in K: the difference of virtual
/// temperatures less the difference of temperatures. Zero for equal, dry air; about + 5 K for
/// skin at 34 °C, wet, in a room at 25 °C.
SEROSA_INLINE auto moist_buoyancy(const Real auto& surface_temperature,
                                  const Real auto& surface_vapour, const Real auto& air_temperature,
                                  const Real auto& air_vapour, const Real auto& pressure) {
  return (virtual_temperature(surface_temperature, surface_vapour, pressure) -
          virtual_temperature(air_temperature, air_vapour, pressure)) -
         (surface_temperature - air_temperature);
}

}  // namespace serosa::physics
