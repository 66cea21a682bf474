// SPDX-License-Identifier: Apache-2.0
#pragma once
// Temperature of a thin film over a warm wet surface. The film stores nearly no heat (10 µm: about
// 20 J/m²/K, seconds), so it takes at once the temperature at which its gains and losses cancel.
#include "physics/radiation.hpp"
#include "physics/vapour_barrier.hpp"

namespace serosa::physics {

/// What a film exchanges heat and vapour with. Coefficients in W/m²/K, resistances in m² h kPa/g,
/// temperatures in °C, vapour pressures in kPa.
template <Real R>
struct CoverExchange {
  R surface_temperature;  ///< of what lies under the film
  R surface_vapour;       ///< at that surface
  R gap_coefficient;      ///< conduction and long-wave exchange between surface and film
  R gap_resistance;       ///< > 0
  R permeance;            ///< of one layer, g/m²/h/kPa
  R layers;               ///< number of layers
  R air_resistance;       ///< outside the film
  R air_vapour;           ///< of the room
  R air_temperature;      ///< of the room
  R wall_temperature;     ///< of the room
  R convection;           ///< from the film to the room
  R emissivity;           ///< of the film's outer face, times the fraction that sees the walls
  R absorbed;             ///< warmer irradiance that stays in the film, W/m²
};

/// Vapour under the film when the film has the temperature `film` °C.
template <Real R>
SEROSA_INLINE VapourPath<R> vapour_path(const CoverExchange<R>& e, const R& film) {
  return vapour_path(e.surface_vapour, R(saturation_pressure(film)), e.air_vapour, e.gap_resistance,
                     e.permeance, e.layers, e.air_resistance);
}

/// Dry heat that the film gains less what it loses, W/m², at `film` °C.
template <Real R>
SEROSA_INLINE R dry_heat_surplus(const CoverExchange<R>& e, const R& film) {
  const R one(1.0);
  return e.gap_coefficient * (e.surface_temperature - film) + e.absorbed -
         e.convection * (film - e.air_temperature) -
         long_wave_exchange(film, e.wall_temperature, e.emissivity, one);
}

/// All heat that the film gains less what it loses, W/m²: the dry heat and the latent heat of what
/// condenses on the inner face. Zero at the film's temperature. Vapour that passes through the
/// film takes its latent heat along.
template <Real R>
SEROSA_INLINE R heat_surplus(const CoverExchange<R>& e, const R& film) {
  return dry_heat_surplus(e, film) +
         latent_heat(film) * (1.0 / seconds_per_hour) * vapour_path(e, film).condensed;
}

/// How fast the dry surplus falls with the film's temperature, W/m²/K.
template <Real R>
SEROSA_INLINE R dry_stiffness(const CoverExchange<R>& e, const R& film) {
  return e.gap_coefficient + e.convection + e.emissivity * black_body_coefficient(film, film);
}

/// Where to evaluate `convection` and `air_resistance` as long as the film's temperature is
/// unknown.
SEROSA_INLINE auto cover_temperature_start(const Real auto& surface_temperature,
                                           const Real auto& air_temperature) {
  return 0.75 * surface_temperature + 0.25 * air_temperature;
}

/// First guess of the film's temperature, °C. The balance is linearised at the dew point of the
/// inner face: if it has heat left there the film stays dry and settles above, otherwise it is wet
/// and settles below, held by condensation. Both slopes meet smoothly.
/// Within 1.5 K over the range of `cover_temperature`.
template <Real R>
SEROSA_INLINE R cover_temperature_guess(const CoverExchange<R>& e) {
  constexpr double smoothing = 2.0;  // W/m²
  const R outward = cover_conductance(e.permeance, e.layers, e.air_resistance);
  const R dry = dry_inner_vapour(e.surface_vapour, e.air_vapour, e.gap_resistance, outward);
  const R dew = dew_point(dry);
  const R surplus = dry_heat_surplus(e, dew);
  const R dry_slope = dry_stiffness(e, dew);
  const R wet_slope = dry_slope + latent_heat(dew) * (1.0 / seconds_per_hour) *
                                      (1.0 / e.gap_resistance + outward) *
                                      saturation_slope(dew, dry);
  const R above = 0.5 * (surplus + sqrt(surplus * surplus + smoothing * smoothing));
  return dew + above / dry_slope + (surplus - above) / wet_slope;
}

/// A film's temperature, °C, improved by one Newton step on `heat_surplus` from `guess`.
template <Real R>
SEROSA_INLINE R cover_temperature(const CoverExchange<R>& e, const R& guess) {
  const R saturation = saturation_pressure(guess);
  const VapourPath<R> path = vapour_path(e.surface_vapour, saturation, e.air_vapour,
                                         e.gap_resistance, e.permeance, e.layers, e.air_resistance);
  const R latent = latent_heat(guess) * (1.0 / seconds_per_hour);
  const R surplus = dry_heat_surplus(e, guess) + latent * path.condensed;
  const R slope =
      dry_stiffness(e, guess) - latent * path.sensitivity * saturation_slope(guess, saturation);
  return guess + surplus / slope;
}

/// A film's temperature, °C, and the vapour that passes it, g/m²/h.
template <Real R>
struct CoveredFlux {
  R temperature, passed;
};

/// `cover_temperature` and `vapour_path(...).passed` at it, in one go: the same equations with
/// their common parts taken once.
template <Real R>
SEROSA_INLINE CoveredFlux<R> covered_flux(const CoverExchange<R>& e) {
  constexpr double per_hour = 1.0 / seconds_per_hour;
  constexpr double surplus_smoothing = 2.0;  // W/m², as in the guess
  const auto [per_series, per_gap] =
      inverses(R(e.layers + e.permeance * e.air_resistance), e.gap_resistance);
  const R outward = e.permeance * per_series;
  const R dry = dry_inner_vapour(e.surface_vapour, e.air_vapour, e.gap_resistance, outward);
  const R both = per_gap + outward;

  // First guess: linearised at the dew point of the inner face.
  const R dew = dew_point(dry);
  const R at_dew = dry_heat_surplus(e, dew);
  const R dry_slope = dry_stiffness(e, dew);
  const R wet_slope = dry_slope + latent_heat(dew) * per_hour * both * saturation_slope(dew, dry);
  const R above = 0.5 * (at_dew + sqrt(at_dew * at_dew + surplus_smoothing * surplus_smoothing));
  const auto [per_dry, per_wet] = inverses(dry_slope, wet_slope);
  const R guess = dew + above * per_dry + (at_dew - above) * per_wet;

  // One Newton step on the whole balance.
  const Saturation<R> s = saturation(guess);
  const auto inner = [&](const R& saturated, const R& difference, const R& distance) {
    return saturated + 0.5 * (difference - distance);
  };
  constexpr double width = condensation_smoothing * condensation_smoothing;
  const R difference = dry - s.pressure;
  const R distance = sqrt(difference * difference + width);
  const R at_guess = inner(s.pressure, difference, distance);
  const R condensed = (e.surface_vapour - at_guess) * per_gap - outward * (at_guess - e.air_vapour);
  const R latent = latent_heat(guess) * per_hour;
  const R surplus = dry_heat_surplus(e, guess) + latent * condensed;
  // The share of the inner face that is wet is (1 + difference / distance) / 2; the fraction is
  // written with `distance` in numerator and denominator, to divide once.
  const R temperature = guess + surplus * distance /
                                    (dry_stiffness(e, guess) * distance +
                                     latent * both * s.slope * (0.5 * (distance + difference)));

  const R saturated = saturation_pressure(temperature);
  const R left = dry - saturated;
  return {temperature,
          outward * (inner(saturated, left, R(sqrt(left * left + width))) - e.air_vapour)};
}

/// Temperature of the film, °C, in closed form: the guess and one Newton step, no iteration, smooth
/// in every argument. Within 0.02 K of the exact balance for given coefficients: room 15–35 °C,
/// surface 28–39 °C, gap 0.3–10 mm, any permeance, 0–90 W/m² absorbed (600 W/m² of warmer on a film
/// that keeps 15 %). With `convection` evaluated at `cover_temperature_start` for the guess and at
/// the guess for the step: within 0.1 K; at the start alone: within 0.6 K.
template <Real R>
SEROSA_INLINE R cover_temperature(const CoverExchange<R>& e) {
  return cover_temperature(e, cover_temperature_guess(e));
}

}  // namespace serosa::physics
