// SPDX-License-Identifier: Apache-2.0
#pragma once
// Water vapour through a cover: resistances in series per unit area, m² h kPa/g, and a leak beside.
#include "physics/humid_air.hpp"

namespace serosa::physics {

/// Resistance, m² h kPa/g, of the boundary layer that goes with a convective coefficient W/m²/K.
/// About 0.010 in still air (4 W/m²/K).
SEROSA_INLINE auto boundary_resistance(const Real auto& convection, const Real auto& pressure) {
  return 1.0 / vapour_coefficient(convection, pressure);
}

/// Resistance, m² h kPa/g, of still air of `thickness` m: R T s / (D M_w) (Fick). `thickness` > 0;
/// about 0.0015 per millimetre. Convection within the gap is left out: right below about 10 mm.
SEROSA_INLINE auto gap_resistance(const Real auto& thickness, const Real auto& temperature,
                                  const Real auto& pressure) {
  constexpr double factor = gas_constant / (molar_mass_water * 1000.0 * seconds_per_hour);
  return factor * thickness * (temperature + celsius_zero) /
         vapour_diffusivity(temperature, pressure);
}

/// The same per metre, m² h kPa/g per m, by the series for air's powers.
template <Real R>
SEROSA_INLINE R still_air_resistance(const R& temperature, const R& pressure) {
  constexpr double factor =
      gas_constant / (molar_mass_water * 1000.0 * seconds_per_hour) * 300.0 /
      (at_zero_celsius::vapour_diffusivity * standard_pressure * air_power::growth_at_300);
  return factor * pressure * air_power::diffusion_resistance(temperature);
}

/// Heat conductance, W/m²/K, of still air of `thickness` m; the same range as `gap_resistance`.
SEROSA_INLINE auto gap_conductance(const Real auto& thickness, const Real auto& temperature) {
  return air_conductivity(temperature) / thickness;
}

/// Conductance, g/m²/h/kPa, of film and what lies in series with it: 1 / (layers/permeance +
/// resistance), written so that zero permeance gives exactly zero and zero layers the series alone.
/// `permeance` of one layer in g/m²/h/kPa, ≥ 0; `resistance` of everything else, > 0.
SEROSA_INLINE auto cover_conductance(const Real auto& permeance, const Real auto& layers,
                                     const Real auto& resistance) {
  return permeance / (layers + permeance * resistance);
}

/// Water that passes, g/m²/h, from a surface at `surface_vapour` kPa to air at `air_vapour` kPa
/// through a gap, film and the outer boundary layer when nothing condenses:
/// (p_s − p_a) / (R_gap + layers/permeance + R_air).
SEROSA_INLINE auto cover_flux(const Real auto& surface_vapour, const Real auto& air_vapour,
                              const Real auto& gap, const Real auto& permeance,
                              const Real auto& layers, const Real auto& air) {
  return cover_conductance(permeance, layers, gap + air) * (surface_vapour - air_vapour);
}

/// What a cover and the leak beside it give together, per unit area: `leak` is the share of the
/// area, 0–1, that behaves as `leaking`, the rest as `covered`. For conductances and for fluxes.
SEROSA_INLINE auto with_leak(const Real auto& covered, const Real auto& leaking,
                             const Real auto& leak) {
  return covered + leak * (leaking - covered);
}

/// Over this width, kPa, the film's inner face turns from dry to wet (0.06 K at 34 °C).
inline constexpr double condensation_smoothing = 0.02;

/// What happens to vapour under a film.
template <Real R>
struct VapourPath {
  R inner_vapour;  ///< kPa at the inner face of the film
  R passed;        ///< g/m²/h that leaves through the film
  R condensed;     ///< g/m²/h that condenses on the film's inner face and stays under the cover
  R sensitivity;   ///< ∂ condensed / ∂ saturation pressure at the film, g/m²/h/kPa (≤ 0)
};

/// Vapour pressure, kPa, at the inner face of the film when nothing condenses there.
SEROSA_INLINE auto dry_inner_vapour(const Real auto& surface_vapour, const Real auto& air_vapour,
                                    const Real auto& gap, const Real auto& outward) {
  const auto ratio = gap * outward;
  return (surface_vapour + ratio * air_vapour) / (1.0 + ratio);
}

/// Vapour between a wet surface and a film whose own temperature saturates at `film_saturation`
/// kPa. The inner face holds the pressure of the series of resistances, or the film's saturation
/// pressure when that is lower (a smooth lesser of the two, never above either). The surface gives
/// off `passed` + `condensed`; only `passed` is lost, while both took latent heat from the surface
/// and `condensed` gives it to the film. `gap` > 0 and `air`: resistances, m² h kPa/g.
/// Condensation on the outer face (film below the room's dew point) is left out.
template <Real R>
SEROSA_INLINE VapourPath<R> vapour_path(const R& surface_vapour, const R& film_saturation,
                                        const R& air_vapour, const R& gap, const R& permeance,
                                        const R& layers, const R& air) {
  const R outward = cover_conductance(permeance, layers, air);
  const R difference = dry_inner_vapour(surface_vapour, air_vapour, gap, outward) - film_saturation;
  const R distance =
      sqrt(difference * difference + condensation_smoothing * condensation_smoothing);
  const R inner = film_saturation + 0.5 * (difference - distance);
  const R passed = outward * (inner - air_vapour);
  const R wetness = 0.5 * (1.0 + difference / distance);
  return {inner, passed, (surface_vapour - inner) / gap - passed, -(1.0 / gap + outward) * wetness};
}

}  // namespace serosa::physics
