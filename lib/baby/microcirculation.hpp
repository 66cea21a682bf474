// SPDX-License-Identifier: Apache-2.0
// What passes between plasma, interstitium and the bowel wall (Starling), and back by lymph.
#pragma once
#include "baby/circulation.hpp"
#include "physics/oncotic.hpp"

namespace serosa::baby {

/// Water and protein between plasma and one tissue, per hour.
template <class Real>
struct Exchange {
  Real filtration;          ///< mL/h out of the capillaries
  Real lymph;               ///< mL/h back into the blood
  Real protein_out;         ///< g/h out of the capillaries
  Real protein_back;        ///< g/h back with the lymph
  Real capillary_pressure;  ///< mmHg
  Real tissue_pressure;     ///< mmHg
  Real tissue_protein;      ///< g/L
};

/// Starling's filtration with convection and diffusion of protein:
/// J = K [(P_c − P_i) − σ (π_p − π_i)],  J_s = (1 − σ) J (C_p + C_i)/2 + PS (C_p − C_i).
/// Landis & Pappenheimer 1963 for π; the mean concentration stands for the pore's.
template <class Real>
SEROSA_INLINE Exchange<Real> exchange(const Real& filtration_coefficient, const Real& sigma,
                                      const Real& diffusion, const Real& capillary_pressure,
                                      const Real& tissue_pressure, const Real& plasma_protein,
                                      const Real& tissue_protein, const Real& lymph) {
  using physics::oncotic_pressure;
  Exchange<Real> e;
  e.capillary_pressure = capillary_pressure;
  e.tissue_pressure = tissue_pressure;
  e.tissue_protein = tissue_protein;
  e.filtration = filtration_coefficient *
                 (capillary_pressure - tissue_pressure -
                  sigma * (oncotic_pressure(plasma_protein) - oncotic_pressure(tissue_protein)));
  e.lymph = lymph;
  e.protein_out = 1e-3 * ((1.0 - sigma) * e.filtration * 0.5 * (plasma_protein + tissue_protein) +
                          diffusion * (plasma_protein - tissue_protein));
  e.protein_back = 1e-3 * lymph * tissue_protein;
  return e;
}

/// The body without the bowel. Capillary pressure lies between venous and arterial pressure and
/// falls as the arterioles close.
template <class Real>
SEROSA_INLINE Exchange<Real> body_exchange(const State<Real>& x, const Circulation<Real>& blood,
                                           const Real& plasma_protein, const Subject<Real>& s,
                                           const Settled<Real>& k) {
  const auto& p = s.parameters;
  const auto& b = s.body;
  // The arterial pressure climbs over the first days; the tissue is spared that by its arterioles,
  // so the pressure upstream is the resting one times what has changed.
  const Real upstream = b.reference_arterial_pressure * blood.relative_pressure;
  const Real share =
      b.postcapillary_share / (b.postcapillary_share + (1.0 - b.postcapillary_share) * blood.tone);
  const Real capillary = blood.atrial_pressure + share * (upstream - blood.atrial_pressure);
  const Real swelling = x[state::interstitial_water] - b.interstitial_water;
  const Real rise = swelling * b.interstitial_stiffness;
  const Real protein = 1000.0 * x[state::interstitial_protein] / x[state::interstitial_water];
  const Real lymph =
      b.body_lymph * climbing(Real(rise * k.per_body_lymph_pressure_scale), p.body_lymph_ceiling);
  return exchange(b.body_filtration, p.body_reflection_coefficient, b.body_diffusion, capillary,
                  Real(p.interstitial_pressure_at_rest + rise), plasma_protein, protein, lymph);
}

/// Rise of venous pressure in the herniated bowel by kink, tight wrap, gas and abdominal pressure,
/// mmHg. Blood that does not come cannot dam up: the rise fades as arterial pressure fails.
/// @param wrapped  0 bare to 1 wrapped
template <class Real>
SEROSA_INLINE Real congestion(const State<Real>& x, const Real& wrapped,
                              const Circulation<Real>& blood, const Subject<Real>& s) {
  const auto& c = s.controls;
  constexpr double failing = 0.1;  // share of the resting pressure at which half the rise is left
  const Real dammed =
      (1.0 + failing) * blood.relative_pressure / (blood.relative_pressure + failing);
  return dammed * (c.exposed_fraction * (c.position_congestion + wrapped * c.tension) +
                   s.parameters.gas_congestion * x[state::bowel_gas] + c.abdominal_pressure);
}

/// The bowel wall, with what it exudes to both sides.
template <class Real>
struct WallExchange : Exchange<Real> {
  Real transudation;  ///< mL/h onto the serosa
  Real secretion;     ///< mL/h into the lumen
};

/// Filtration into the wall under a raised venous pressure; lymph that climbs with the wall's
/// pressure unless the outflow is obstructed too; exudation once the wall swells.
/// P_w = P_rest + scale asinh(relative swelling / hydration scale): the cat-ileum curve.
template <class Real>
SEROSA_INLINE WallExchange<Real> wall_exchange(const State<Real>& x, const Circulation<Real>& blood,
                                               const Real& plasma_protein, const Real& congestion,
                                               const Subject<Real>& s, const Settled<Real>& k) {
  using physics::exp;
  const auto& p = s.parameters;
  const auto& b = s.body;
  // Pc = gain · venous pressure + share · arterial pressure (Johnson 1965); the share from rest.
  const Real upstream = b.reference_arterial_pressure * blood.relative_pressure;
  const Real capillary = p.bowel_capillary_venous_gain * (blood.atrial_pressure + congestion) +
                         b.wall_arterial_share * upstream;
  const Real swelling =
      (x[state::wall_water] * k.per_wall_water - 1.0) * k.per_wall_hydration_scale;
  const Real rise =
      p.wall_pressure_scale * physics::log(swelling + physics::sqrt(swelling * swelling + 1.0));
  const Real protein = 1000.0 * x[state::wall_protein] / x[state::wall_water];
  const Real sigma = p.bowel_reflection_coefficient -
                     p.reflection_loss_by_exposure *
                         (1.0 - exp(-x[state::bowel_exposure] * k.per_reflection_loss_time));
  const Real open = 1.0 - p.bowel_lymph_obstruction * congestion /
                              (congestion + p.bowel_lymph_obstruction_pressure);
  const Real lymph = b.wall_lymph * open *
                     climbing(Real(rise * k.per_bowel_lymph_pressure_scale), p.bowel_lymph_ceiling);
  WallExchange<Real> w;
  static_cast<Exchange<Real>&>(w) =
      exchange(b.wall_filtration, sigma, b.wall_diffusion, capillary,
               Real(p.wall_pressure_at_rest + rise), plasma_protein, protein, lymph);
  const Real driven = rising_from_rest(rise, p.exudation_onset);
  w.transudation = b.serosal_exudation * s.controls.exposed_fraction * driven;
  w.secretion = b.luminal_exudation * driven;
  return w;
}

template <class Real>
WallExchange<Real> wall_exchange(const State<Real>& x, const Circulation<Real>& blood,
                                 const Real& plasma_protein, const Real& congestion,
                                 const Subject<Real>& s) {
  return wall_exchange(x, blood, plasma_protein, congestion, s, settled(s));
}

/// Mesenteric blood flow against rest: what pressure difference is left over the bowel, through
/// arterioles that close as output falls.
template <class Real>
SEROSA_INLINE Real mesenteric_flow(const Circulation<Real>& blood, const Real& congestion,
                                   const Subject<Real>& s, const Settled<Real>& k) {
  const auto& b = s.body;
  const Real upstream = b.reference_arterial_pressure * blood.relative_pressure;
  const Real drive = (upstream - blood.atrial_pressure - congestion) * k.per_rest_drive;
  return kept_positive(drive, 0.02) *
         physics::exp(s.parameters.mesenteric_constriction * physics::log(blood.relative_output));
}

}  // namespace serosa::baby
