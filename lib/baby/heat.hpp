// SPDX-License-Identifier: Apache-2.0
// Heat made, moved inside and lost with the breath; the mattress.
#pragma once
#include "baby/surfaces.hpp"

namespace serosa::baby {

template <class Real>
struct Temperatures {
  Real core, skin, bowel, mattress;    ///< degC
  Real core_capacity, bowel_capacity;  ///< J/K, with the water they hold now
};

/// Water of the core: all but what the bowel holds.
template <class Real>
Real core_water(const State<Real>& x) {
  return x[state::plasma_water] + x[state::red_cell_water] + x[state::interstitial_water] +
         x[state::cell_water] + x[state::stomach_water];
}

template <class Real>
Real bowel_water(const State<Real>& x) {
  return x[state::wall_water] + x[state::lumen_water] + x[state::surface_water] +
         x[state::dressing_water];
}

/// Temperatures from heat contents, with the heat capacity that the water at this moment gives.
template <class Real>
SEROSA_INLINE Temperatures<Real> temperatures(const State<Real>& x, const Subject<Real>& s) {
  const auto& [p, b, c] = s;
  Temperatures<Real> r;
  const Real core_at_birth =
      b.plasma_water + b.red_cell_water + b.interstitial_water + b.cell_water + b.stomach_water;
  r.core_capacity = b.core_capacity + p.specific_heat_water * (core_water(x) - core_at_birth);
  r.bowel_capacity =
      b.bowel_capacity + p.specific_heat_water * (bowel_water(x) - b.wall_water - b.lumen_water);
  const auto [per_core, per_skin, per_bowel, per_mattress] =
      physics::inverses(r.core_capacity, b.skin_capacity, r.bowel_capacity, b.mattress_capacity);
  r.core = x[state::core_heat] * per_core;
  r.skin = x[state::skin_heat] * per_skin;
  r.bowel = x[state::bowel_heat] * per_bowel;
  r.mattress = x[state::mattress_heat] * per_mattress;
  return r;
}

/// Metabolism and breath. Heat in W.
template <class Real>
struct Metabolism {
  Real oxygen;           ///< mL/min
  Real heat;             ///< W
  Real oxidation_water;  ///< g/h
  Real airway_water;     ///< g/h
  Real airway_heat;      ///< W
};

/// Minimal metabolism by age, Q10, activity, and a cold response that is weak in the first hours,
/// weaker when preterm, and fails in a cold core.
template <class Real>
SEROSA_INLINE Metabolism<Real> metabolism(const Real& age, const Temperatures<Real>& temperature,
                                          const Subject<Real>& s, const Settled<Real>& k) {
  using namespace physics;
  const auto& [p, b, c] = s;
  Metabolism<Real> m;
  const Real minimal = p.oxygen_uptake_at_birth +
                       p.oxygen_uptake_rise * (1.0 - exp(-age * k.per_oxygen_uptake_rise_time));
  const Real q10 = exp(k.log_q10 * 0.1 * (temperature.core - 37.0));
  const Real mean = temperature.skin + 0.65 * (temperature.core - temperature.skin);
  const Real chill =
      max(Real((p.cold_response_threshold - mean) * k.per_cold_response_width), Real(0.0));
  const Real available = p.cold_response_early + (1.0 - p.cold_response_early) *
                                                     (1.0 - exp(-age * k.per_cold_response_time));
  // Failing in the cold, a logistic, and the response to chill, over one denominator.
  const Real cold =
      exp(-(temperature.core - p.cold_failure_temperature) * k.per_cold_failure_width);
  const Real response = p.cold_response_ceiling * b.cold_maturity * available * (chill * chill) /
                        ((1.0 + chill * chill) * (1.0 + cold));
  m.oxygen = c.born * b.weight * minimal * q10 * (c.activity + response);
  m.heat = m.oxygen * p.heat_per_oxygen * (1.0 / 60.0);
  m.oxidation_water = c.insensible * m.oxygen * 60.0 * p.oxidation_water_per_oxygen;

  const Real ventilation = m.oxygen * p.ventilation_per_oxygen * 60.0e-6;  // m3/h
  const Real remaining = 1.0 - c.humidified_gas * (1.0 - p.humidified_airway_share);
  const Real breathed = c.insensible * remaining * ventilation;
  m.airway_water = breathed * k.breath_vapour;
  m.airway_heat = (m.airway_water * latent_heat(p.expired_temperature) + breathed * k.breath_heat) *
                  (1.0 / seconds_per_hour);
  return m;
}

template <class Real>
Metabolism<Real> metabolism(const Real& age, const Temperatures<Real>& temperature,
                            const Subject<Real>& s) {
  return metabolism(age, temperature, s, settled(s));
}

/// Heat in W between the nodes of the body.
template <class Real>
struct InnerHeat {
  Real core_to_skin;
  Real core_to_bowel;
};

/// Through the tissue under vasomotor control, and with the mesenteric blood.
template <class Real>
SEROSA_INLINE InnerHeat<Real> inner_heat(const Temperatures<Real>& temperature,
                                         const Real& mesenteric_flow, const Subject<Real>& s,
                                         const Settled<Real>& k) {
  const auto& [p, b, c] = s;
  InnerHeat<Real> i;
  const Real open = logistic(Real((temperature.core - p.vasomotor_centre) * k.per_vasomotor_width));
  i.core_to_skin = c.born * b.surface *
                   (p.core_skin_conductance_low +
                    open * (p.core_skin_conductance_high - p.core_skin_conductance_low)) *
                   (temperature.core - temperature.skin);
  const Real blood = k.mesenteric_heat * mesenteric_flow;
  const Real contact = (1.0 - c.exposed_fraction) * p.inside_conductance * b.weight;
  i.core_to_bowel = c.born * (blood + contact) * (temperature.core - temperature.bowel);
  return i;
}

/// What the mattress patch takes from warmer, air, walls and its base, W.
template <class Real>
SEROSA_INLINE Real mattress_heating(const Real& temperature, const Surroundings<Real>& air,
                                    const Subject<Real>& s, const Settled<Real>& k) {
  using namespace physics;
  const auto& [p, b, c] = s;
  const Real open_area = p.mattress_area * (1.0 - c.born * p.mattress_shade);
  const Real nothing(0.0);
  const Real one(1.0);
  const Real h = convection_coefficient(k.mattress, temperature, c.air_temperature, nothing);
  return open_area *
             (air.irradiance * p.mattress_absorptivity - h * (temperature - c.air_temperature) -
              long_wave_exchange(temperature, c.wall_temperature, p.mattress_absorptivity, one)) -
         p.mattress_area * p.mattress_base_conductance * (temperature - c.air_temperature);
}

template <class Real>
Real mattress_heating(const Real& temperature, const Surroundings<Real>& air,
                      const Subject<Real>& s) {
  return mattress_heating(temperature, air, s, settled(s));
}

}  // namespace serosa::baby
