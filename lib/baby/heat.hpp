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
Temperatures<Real> temperatures(const State<Real>& x, const Subject<Real>& s) {
  const auto& [p, b, c] = s;
  Temperatures<Real> r;
  const Real core_at_birth =
      b.plasma_water + b.red_cell_water + b.interstitial_water + b.cell_water + b.stomach_water;
  r.core_capacity = b.core_capacity + p.specific_heat_water * (core_water(x) - core_at_birth);
  r.bowel_capacity =
      b.bowel_capacity + p.specific_heat_water * (bowel_water(x) - b.wall_water - b.lumen_water);
  r.core = x[state::core_heat] / r.core_capacity;
  r.skin = x[state::skin_heat] / b.skin_capacity;
  r.bowel = x[state::bowel_heat] / r.bowel_capacity;
  r.mattress = x[state::mattress_heat] / b.mattress_capacity;
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
Metabolism<Real> metabolism(const Real& age, const Temperatures<Real>& temperature,
                            const Surroundings<Real>& air, const Subject<Real>& s) {
  using namespace physics;
  const auto& [p, b, c] = s;
  Metabolism<Real> m;
  const Real minimal = p.oxygen_uptake_at_birth +
                       p.oxygen_uptake_rise * (1.0 - exp(-age / p.oxygen_uptake_rise_time));
  const Real q10 = exp(log(p.metabolic_q10) * 0.1 * (temperature.core - 37.0));
  const Real mean = temperature.skin + 0.65 * (temperature.core - temperature.skin);
  const Real chill =
      max(Real((p.cold_response_threshold - mean) / p.cold_response_width), Real(0.0));
  const Real available = p.cold_response_early +
                         (1.0 - p.cold_response_early) * (1.0 - exp(-age / p.cold_response_time));
  const Real failing =
      logistic(Real((temperature.core - p.cold_failure_temperature) / p.cold_failure_width));
  const Real response = p.cold_response_ceiling * b.cold_maturity * available * failing * chill *
                        chill / (1.0 + chill * chill);
  m.oxygen = c.born * b.weight * minimal * q10 * (c.activity + response);
  m.heat = m.oxygen * p.heat_per_oxygen * (1.0 / 60.0);
  m.oxidation_water = c.insensible * m.oxygen * 60.0 * p.oxidation_water_per_oxygen;

  const Real ventilation = m.oxygen * p.ventilation_per_oxygen * 60.0e-6;  // m3/h
  const Real remaining = 1.0 - c.humidified_gas * (1.0 - p.humidified_airway_share);
  const auto vapour_density = [](const Real& vapour, const Real& at) {  // g/m3, ideal gas
    return vapour * (1000.0 * molar_mass_water / gas_constant) / (at + celsius_zero);
  };
  const Real expired = p.expired_saturation * saturation_pressure(p.expired_temperature);
  m.airway_water = c.insensible * remaining * ventilation *
                   (vapour_density(expired, p.expired_temperature) -
                    vapour_density(air.vapour, c.air_temperature));
  const Real density = air_density(c.air_temperature, air.vapour, c.air_pressure);  // kg/m3
  m.airway_heat = (m.airway_water * latent_heat(p.expired_temperature) +
                   c.insensible * remaining * ventilation * density * 1000.0 * heat_capacity_air *
                       (p.expired_temperature - c.air_temperature)) *
                  (1.0 / seconds_per_hour);
  return m;
}

/// Heat in W between the nodes of the body.
template <class Real>
struct InnerHeat {
  Real core_to_skin;
  Real core_to_bowel;
};

/// Through the tissue under vasomotor control, and with the mesenteric blood.
template <class Real>
InnerHeat<Real> inner_heat(const Temperatures<Real>& temperature, const Real& mesenteric_flow,
                           const Subject<Real>& s) {
  const auto& [p, b, c] = s;
  InnerHeat<Real> i;
  const Real open = logistic(Real((temperature.core - p.vasomotor_centre) / p.vasomotor_width));
  i.core_to_skin = c.born * b.surface *
                   (p.core_skin_conductance_low +
                    open * (p.core_skin_conductance_high - p.core_skin_conductance_low)) *
                   (temperature.core - temperature.skin);
  const Real blood = p.mesenteric_flow * (b.wall_mass / p.wall_mass) * (1.0 / 60.0) *
                     mesenteric_flow * p.specific_heat_blood * p.bowel_heat_effectiveness;
  const Real contact = (1.0 - c.exposed_fraction) * p.inside_conductance * b.weight;
  i.core_to_bowel = c.born * (blood + contact) * (temperature.core - temperature.bowel);
  return i;
}

/// What the mattress patch takes from warmer, air, walls and its base, W.
template <class Real>
Real mattress_heating(const Real& temperature, const Surroundings<Real>& air,
                      const Subject<Real>& s) {
  using namespace physics;
  const auto& [p, b, c] = s;
  const Real open_area = p.mattress_area * (1.0 - c.born * p.mattress_shade);
  const Real nothing(0.0);
  const Real one(1.0);
  const Real h = convection_coefficient(p.mattress_diameter, temperature, c.air_temperature,
                                        c.air_speed, nothing, c.air_pressure);
  return open_area *
             (air.irradiance * p.mattress_absorptivity - h * (temperature - c.air_temperature) -
              long_wave_exchange(temperature, c.wall_temperature, p.mattress_absorptivity, one)) -
         p.mattress_area * p.mattress_base_conductance * (temperature - c.air_temperature);
}

}  // namespace serosa::baby
