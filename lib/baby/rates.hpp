// SPDX-License-Identifier: Apache-2.0
// The one function of the model: d(state)/dt from time, state and subject.
#pragma once
#include "baby/gut.hpp"
#include "baby/heat.hpp"
#include "baby/kidney.hpp"
#include "baby/microcirculation.hpp"

namespace serosa::baby {

/// Everything algebraic at one moment. `rates` adds it up, outputs read it.
template <class Real>
struct Moment {
  Real age;              ///< h
  Real sodium;           ///< mmol per L of extracellular water
  Real chloride;         ///< mmol per L of extracellular water
  Real plasma_protein;   ///< g/L
  Real congestion;       ///< mmHg
  Real mesenteric_flow;  ///< against rest
  Temperatures<Real> temperature;
  Surroundings<Real> air;
  Circulation<Real> blood;
  Exchange<Real> body;
  WallExchange<Real> wall;
  Kidney<Real> kidney;
  Gut<Real> gut;
  SkinSurface<Real> skin;
  BowelSurface<Real> bowel;
  Metabolism<Real> metabolism;
  InnerHeat<Real> inner_heat;
  Real mattress_gain;  ///< W
};

/// @param t  hours after birth
/// @param k  `settled(s)`
template <class Real>
SEROSA_INLINE Moment<Real> moment(const Real& t, const State<Real>& x, const Subject<Real>& s,
                                  const Settled<Real>& k) {
  const auto& c = s.controls;
  Moment<Real> m;
  m.age = physics::max(Real(c.ageing * t + c.age_offset), Real(0.0));
  m.temperature = temperatures(x, s);
  m.air = surroundings(t, m.temperature.skin, s, k);
  m.blood = circulation(m.age, m.temperature.core, x, s, k);
  const Real extracellular =
      x[state::plasma_water] + x[state::interstitial_water] + x[state::wall_water];
  const auto [per_plasma, per_extracellular] =
      physics::inverses(m.blood.plasma_volume, extracellular);
  m.plasma_protein = 1000.0 * x[state::plasma_protein] * per_plasma;
  m.sodium = 1000.0 * x[state::extracellular_sodium] * per_extracellular;
  m.chloride = 1000.0 * x[state::extracellular_chloride] * per_extracellular;
  m.congestion = congestion(x, m.air.wrapped, m.blood, s);
  m.mesenteric_flow = mesenteric_flow(m.blood, m.congestion, s, k);
  m.body = body_exchange(x, m.blood, m.plasma_protein, s, k);
  m.wall = wall_exchange(x, m.blood, m.plasma_protein, m.congestion, s, k);
  m.kidney = kidney(m.age, x, m.blood, m.sodium, m.chloride, s, k);
  m.gut = gut(x, m.blood.relative_pressure, s);
  m.skin = skin_surface(m.age, x, m.temperature.skin, m.temperature.core, m.temperature.mattress,
                        m.air, s, k);
  m.bowel = bowel_surface(x, m.temperature.bowel, m.air, s, k);
  m.metabolism = metabolism(m.age, m.temperature, s, k);
  m.inner_heat = inner_heat(m.temperature, m.mesenteric_flow, s, k);
  m.mattress_gain = mattress_heating(m.temperature.mattress, m.air, s, k);
  return m;
}

template <class Real>
Moment<Real> moment(const Real& t, const State<Real>& x, const Subject<Real>& s) {
  return moment(t, x, s, settled(s));
}

/// Salt between two stores by diffusion, mmol/h from the first to the second. Written so that it
/// stays bounded as either store runs dry.
/// @param rate  per water of both
template <class Real>
SEROSA_INLINE Real salt_exchange(const Real& rate, const Real& first_salt, const Real& first_water,
                                 const Real& second_salt, const Real& second_water) {
  return rate * (first_salt * second_water - second_salt * first_water);
}

/// d(state)/dt per hour.
/// @param t    hours after birth, negative before it
/// @param x    state, `state::count` numbers in the order of `state_list`
/// @param s    parameters, body, controls
/// @param k    `settled(s)`
/// @param dx   d(state)/dt, same order and units per hour
template <class Real>
void rates(const Real& t, const State<Real>& x, const Subject<Real>& s, const Settled<Real>& k,
           State<Real>& dx) {
  using namespace state;
  using physics::seconds_per_hour;
  const auto& [p, b, c] = s;
  const Moment<Real> m = moment(t, x, s, k);
  const Real born = c.born;
  constexpr double per_litre = 1e-3;  // mmol/L · mL = 1e-3 mmol
  constexpr double tiny = 1e-9;

  // One over what stores hold, and over what two that exchange salt hold together.
  const auto [per_surface, per_dressing, per_stomach, per_lumen] =
      physics::inverses(Real(x[surface_water] + tiny), Real(x[dressing_water] + tiny),
                        Real(x[stomach_water] + tiny), Real(x[lumen_water] + tiny));
  const auto [per_surface_and_wall, per_dressing_and_surface, per_cell_water, per_chloride] =
      physics::inverses(Real(x[surface_water] + x[wall_water] + tiny),
                        Real(x[dressing_water] + x[surface_water] + tiny), x[cell_water],
                        m.chloride);

  // Water of the body.
  const Real plasma_share = 1.0 - m.blood.haematocrit;
  const Real bled_plasma = c.bleeding * plasma_share * p.plasma_water_fraction;
  const Real bled_red_cells = c.bleeding * m.blood.haematocrit * p.red_cell_water_fraction;
  const Real into_cells =
      born * b.cell_conductance * (1000.0 * per_litre * b.cell_osmoles * per_cell_water - m.sodium);
  dx[plasma_water] = born * (m.body.lymph - m.body.filtration + m.wall.lymph - m.wall.filtration) +
                     m.gut.absorption - m.gut.gastric_secretion - m.kidney.urine -
                     m.metabolism.airway_water + c.given_water - bled_plasma;
  dx[red_cell_water] = c.given_red_cell_water - bled_red_cells;
  dx[interstitial_water] = born * (m.body.filtration - m.body.lymph) - into_cells - m.skin.loss;
  dx[cell_water] = into_cells + m.metabolism.oxidation_water;

  // Water of the bowel.
  dx[wall_water] =
      born * (m.wall.filtration - m.wall.lymph - m.wall.transudation - m.wall.secretion) -
      m.bowel.from_wall;
  dx[stomach_water] = m.gut.gastric_secretion + m.gut.reflux - m.gut.passage - m.gut.drainage;
  dx[lumen_water] = born * m.wall.secretion + m.gut.passage - m.gut.absorption - m.gut.reflux;
  dx[surface_water] = born * m.wall.transudation - m.bowel.from_fluid - m.bowel.drip;
  dx[dressing_water] = -m.bowel.from_dressing - m.bowel.dressing_drip;
  dx[head_wetness] = -m.skin.amniotic_head;
  dx[upper_wetness] = -m.skin.amniotic_upper;
  dx[lower_wetness] = -m.skin.amniotic_lower;

  // Sodium and chloride ride along.
  const Real drip_share = m.bowel.drip * per_surface;
  const Real dressing_drip_share = m.bowel.dressing_drip * per_dressing;
  const Real from_stomach = (m.gut.passage + m.gut.drainage) * per_stomach;
  const Real drained_share = m.gut.drainage * per_stomach;
  const Real passed_share = m.gut.passage * per_stomach;
  const Real absorbed_share = m.gut.absorption * per_lumen;
  const Real refluxed_share = m.gut.reflux * per_lumen;
  const Real exchange_rate = born * c.exposed_fraction * p.salt_exchange_rate;
  const Real wall_exchange_rate = exchange_rate * per_surface_and_wall;
  const Real dressing_exchange_rate = exchange_rate * per_dressing_and_surface;
  const auto salt = [&](Index extracellular, Index stomach, Index lumen, Index surface,
                        Index dressing, Index in_urine, Index in_drainage, Index in_drip,
                        Index in_blood, const Real& concentration, const Real& gastric,
                        const Real& secreted, const Real& urine_flow, const Real& given) {
    const Real gastric_flow = per_litre * m.gut.gastric_secretion * gastric;
    const Real secretion = per_litre * born * m.wall.secretion * secreted * concentration;
    const Real transudate = per_litre * born * m.wall.transudation * concentration;
    const Real absorbed = absorbed_share * x[lumen];
    const Real wall_salt = per_litre * concentration * x[wall_water];
    const Real surface_to_wall =
        salt_exchange(wall_exchange_rate, x[surface], x[surface_water], wall_salt, x[wall_water]);
    const Real dressing_to_surface = salt_exchange(dressing_exchange_rate, x[dressing],
                                                   x[dressing_water], x[surface], x[surface_water]);
    const Real drip = drip_share * x[surface];
    const Real dressing_drip = dressing_drip_share * x[dressing];
    const Real bled = per_litre * bled_plasma * concentration;
    dx[extracellular] = absorbed + surface_to_wall + given - gastric_flow - secretion - transudate -
                        urine_flow - bled;
    dx[stomach] = gastric_flow + refluxed_share * x[lumen] - from_stomach * x[stomach];
    dx[lumen] = secretion + passed_share * x[stomach] - absorbed - refluxed_share * x[lumen];
    dx[surface] = transudate + dressing_to_surface - surface_to_wall - drip;
    dx[dressing] = -dressing_to_surface - dressing_drip;
    dx[in_urine] = urine_flow;
    dx[in_drainage] = drained_share * x[stomach];
    dx[in_drip] = drip + dressing_drip;
    dx[in_blood] = bled;
  };
  const Real unchanged(1.0);
  salt(extracellular_sodium, stomach_sodium, lumen_sodium, surface_sodium, dressing_sodium,
       urine_sodium, gastric_drainage_sodium, drip_sodium, blood_loss_sodium, m.sodium,
       p.gastric_sodium, unchanged, m.kidney.sodium, c.given_sodium);
  salt(extracellular_chloride, stomach_chloride, lumen_chloride, surface_chloride,
       dressing_chloride, urine_chloride, gastric_drainage_chloride, drip_chloride,
       blood_loss_chloride, m.chloride, p.gastric_chloride,
       Real(p.secretion_chloride_ratio * m.sodium * per_chloride), m.kidney.chloride,
       c.given_chloride);

  // Protein.
  const Real exuded = per_litre * born * m.wall.transudation * m.wall.tissue_protein;
  const Real dripped = drip_share * x[surface_protein];
  const Real bled_protein = per_litre * c.bleeding * plasma_share * m.plasma_protein;
  dx[plasma_protein] =
      born * (m.body.protein_back - m.body.protein_out + m.wall.protein_back - m.wall.protein_out) +
      c.given_protein - bled_protein;
  dx[interstitial_protein] = born * (m.body.protein_out - m.body.protein_back);
  dx[wall_protein] = born * (m.wall.protein_out - m.wall.protein_back) - exuded;
  dx[surface_protein] = exuded - dripped;

  // Heat. Water that moves takes its heat along; c_w T per gram, T of where it comes from.
  const auto& temperature = m.temperature;
  const Real cw = p.specific_heat_water;
  const Real amniotic = m.skin.amniotic_head + m.skin.amniotic_upper + m.skin.amniotic_lower;
  const Real to_bowel_water = born * m.wall.filtration + m.gut.passage;
  const Real from_bowel_water = born * m.wall.lymph + m.gut.absorption + m.gut.reflux;
  const Real moved =
      cw * (to_bowel_water * temperature.core - from_bowel_water * temperature.bowel);
  const Real bowel_vapour = m.bowel.from_fluid + m.bowel.from_wall + m.bowel.from_dressing;
  const Real bowel_vapour_heat =
      seconds_per_hour * m.bowel.latent + cw * temperature.bowel * bowel_vapour;
  const Real skin_vapour_heat =
      seconds_per_hour * m.skin.latent + cw * temperature.skin * m.skin.loss;
  const Real core_outflow =
      cw * temperature.core * (m.kidney.urine + m.gut.drainage + bled_plasma + bled_red_cells);
  const Real bowel_outflow = cw * temperature.bowel * (m.bowel.drip + m.bowel.dressing_drip);
  const Real breath = seconds_per_hour * m.metabolism.airway_heat +
                      cw * temperature.core * m.metabolism.airway_water;
  const Real made =
      seconds_per_hour * m.metabolism.heat + cw * temperature.core * m.metabolism.oxidation_water;
  const Real to_skin =
      seconds_per_hour * m.inner_heat.core_to_skin + cw * temperature.core * m.skin.loss;
  const Real to_bowel = seconds_per_hour * m.inner_heat.core_to_bowel + moved;
  const Real skin_dry = seconds_per_hour * (m.skin.convection + m.skin.radiation);
  const Real bowel_dry = seconds_per_hour * (m.bowel.convection + m.bowel.radiation);
  const Real contact = seconds_per_hour * m.skin.contact;
  // A node whose temperature is held takes heat only with the water it gains.
  const Real core_net = made + c.given_heat - breath - core_outflow - to_skin - to_bowel;
  const Real skin_net =
      to_skin + seconds_per_hour * m.skin.warmer - skin_dry - contact - skin_vapour_heat;
  const Real bowel_net =
      to_bowel + seconds_per_hour * m.bowel.warmer - bowel_dry - bowel_vapour_heat - bowel_outflow;
  const Real core_free = c.heat_flows * (1.0 - c.core_held);
  const Real skin_free = c.heat_flows * (1.0 - c.skin_held);
  const Real bowel_free = c.heat_flows * (1.0 - c.bowel_held);
  const Real core_inflow = dx[plasma_water] + dx[red_cell_water] + dx[interstitial_water] +
                           dx[cell_water] + dx[stomach_water];
  const Real bowel_inflow =
      dx[wall_water] + dx[lumen_water] + dx[surface_water] + dx[dressing_water];
  dx[core_heat] = core_free * core_net + (1.0 - core_free) * cw * temperature.core * core_inflow;
  dx[skin_heat] = skin_free * skin_net;
  dx[bowel_heat] =
      bowel_free * bowel_net + (1.0 - bowel_free) * cw * temperature.bowel * bowel_inflow;
  dx[held_heat] = dx[core_heat] + dx[skin_heat] + dx[bowel_heat] -
                  c.heat_flows * (core_net + skin_net + bowel_net);
  dx[mattress_heat] = c.heat_flows * (contact + seconds_per_hour * m.mattress_gain);

  // Regulation.
  dx[antidiuretic_signal] =
      born * (m.kidney.antidiuretic_target - x[antidiuretic_signal]) * k.per_antidiuretic_lag;
  dx[bowel_gas] = m.gut.gas_change;
  dx[bowel_exposure] = born * c.exposed_fraction * (1.0 - p.cover_protection * m.air.wrapped);

  // Ledgers.
  dx[skin_loss] = m.skin.loss;
  dx[amniotic_evaporation] = amniotic;
  dx[bowel_evaporation] = m.bowel.from_fluid + m.bowel.from_wall;
  dx[dressing_evaporation] = m.bowel.from_dressing;
  dx[airway_loss] = m.metabolism.airway_water;
  dx[urine] = m.kidney.urine;
  dx[gastric_drainage] = m.gut.drainage;
  dx[bowel_drip] = m.bowel.drip;
  dx[dressing_drip] = m.bowel.dressing_drip;
  dx[blood_loss] = bled_plasma + bled_red_cells;
  dx[oxidation_water] = m.metabolism.oxidation_water;
  dx[drip_protein] = dripped;
  dx[blood_loss_protein] = bled_protein;
  dx[metabolic_heat] = c.heat_flows * made;
  dx[warmer_heat] = c.heat_flows * seconds_per_hour * (m.skin.warmer + m.bowel.warmer);
  dx[convection_heat] = c.heat_flows * seconds_per_hour * (m.skin.convection + m.bowel.convection);
  dx[radiation_heat] = c.heat_flows * seconds_per_hour * (m.skin.radiation + m.bowel.radiation);
  dx[evaporation_heat] = c.heat_flows * (skin_vapour_heat + bowel_vapour_heat);
  dx[conduction_heat] = c.heat_flows * contact;
  dx[mattress_gain] = c.heat_flows * seconds_per_hour * m.mattress_gain;
  dx[airway_heat] = c.heat_flows * breath;
  dx[outflow_heat] = c.heat_flows * (core_outflow + bowel_outflow);
}

/// The same, settling first. For single evaluations; a run settles once between two acts.
template <class Real>
void rates(const Real& t, const State<Real>& x, const Subject<Real>& s, State<Real>& dx) {
  rates(t, x, s, settled(s), dx);
}

}  // namespace serosa::baby
