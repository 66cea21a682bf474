// SPDX-License-Identifier: Apache-2.0
// Blood volume, filling, output, pressure and heart rate: algebraic, in closed form.
#pragma once
#include "baby/settled.hpp"

namespace serosa::baby {

template <class Real>
struct Circulation {
  Real plasma_volume;      ///< mL
  Real red_cell_volume;    ///< mL
  Real blood_volume;       ///< mL
  Real haematocrit;        ///< fraction
  Real relative_loss;      ///< 1 − blood volume / normal blood volume
  Real relative_output;    ///< cardiac output against rest at this age
  Real cardiac_output;     ///< mL/kg/min
  Real atrial_pressure;    ///< mmHg
  Real arterial_pressure;  ///< mmHg, mean
  Real relative_pressure;  ///< arterial pressure against rest at this age
  Real heart_rate;         ///< 1/min
  Real tone;               ///< precapillary resistance against rest
};

/// Output where venous return meets the heart: (m − p)/(1 − a) = B p/(p + k), pressures in units of
/// the resting filling pressure, m filling, p atrial, a its resting value, B so that p = a gives 1.
/// A quadratic in p. Guyton's graphical analysis in closed form.
/// @param filling mean filling pressure against rest, > 0
/// @param response (1 − a)(a + k)/a, B in these units
/// @return atrial pressure in units of the resting filling pressure
template <class Real>
SEROSA_INLINE Real atrial_share(const Real& filling, const Real& response,
                                const Parameters<Real>& p) {
  const Real k = p.heart_half_saturation;
  const Real half = 0.5 * (filling - k - response);
  return half + physics::sqrt(half * half + filling * k);
}

/// Mean arterial pressure of this baby at rest at this age, mmHg.
template <class Real>
SEROSA_INLINE Real resting_arterial_pressure(const Real& age, const Subject<Real>& s,
                                             const Settled<Real>& k) {
  const auto& p = s.parameters;
  return s.body.arterial_pressure +
         p.arterial_pressure_rise * (1.0 - physics::exp(-age * k.per_arterial_pressure_rise_time));
}

template <class Real>
SEROSA_INLINE Circulation<Real> circulation(const Real& age, const Real& core_temperature,
                                            const State<Real>& x, const Subject<Real>& s,
                                            const Settled<Real>& k) {
  using physics::exp;
  const auto& [p, b, c] = s;
  Circulation<Real> r;
  r.plasma_volume = x[state::plasma_water] * k.per_plasma_water_fraction;
  r.red_cell_volume = x[state::red_cell_water] * k.per_red_cell_water_fraction;
  r.blood_volume = r.plasma_volume + r.red_cell_volume;
  r.haematocrit = r.red_cell_volume / r.blood_volume;
  r.relative_loss = 1.0 - r.blood_volume * k.per_normal_blood_volume;

  const Real filling = kept_positive(Real((1.0 - r.relative_loss * k.per_stressed_fraction) *
                                          (1.0 - p.abdominal_venous_drag * c.abdominal_pressure)),
                                     0.02);
  const Real atrial = atrial_share(filling, k.heart_response, p);
  r.relative_output = kept_positive(Real((filling - atrial) * k.per_atrial_rest), 0.01);
  r.atrial_pressure = atrial * p.mean_filling_pressure;
  r.cardiac_output = r.relative_output * (p.cardiac_output_settled +
                                          (p.cardiac_output_at_birth - p.cardiac_output_settled) *
                                              exp(-age * k.per_cardiac_output_settling_time));

  // The reflex makes up for the share β of a fall in output until it collapses.
  const Real holding = logistic(Real((p.collapse_loss - r.relative_loss) * k.per_collapse_width));
  const Real reflex = p.reflex_strength * holding;
  const Real log_output = physics::log(r.relative_output);
  r.tone = exp(-reflex * log_output);
  r.relative_pressure = r.relative_output * r.tone;
  const Real rest = resting_arterial_pressure(age, s, k);
  r.arterial_pressure = rest * r.relative_pressure;
  r.heart_rate = p.heart_rate_at_rest + p.heart_rate_per_degree * (core_temperature - 37.0) +
                 p.heart_rate_reflex_ceiling *
                     physics::tanh(Real(b.heart_rate_reflex * (rest - r.arterial_pressure) *
                                        k.per_heart_rate_reflex_ceiling)) *
                     holding;
  return r;
}

template <class Real>
Circulation<Real> circulation(const Real& age, const Real& core_temperature, const State<Real>& x,
                              const Subject<Real>& s) {
  return circulation(age, core_temperature, x, s, settled(s));
}

}  // namespace serosa::baby
