// SPDX-License-Identifier: Apache-2.0
// Blood volume, filling, output, pressure and heart rate: algebraic, in closed form.
#pragma once
#include "baby/smooth.hpp"
#include "baby/subject.hpp"

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
/// @return atrial pressure in units of the resting filling pressure
template <class Real>
Real atrial_share(const Real& filling, const Parameters<Real>& p) {
  const Real a = p.atrial_share;
  const Real k = p.heart_half_saturation;
  const Real response = (1.0 - a) * (a + k) / a;
  const Real half = 0.5 * (filling - k - response);
  return half + physics::sqrt(half * half + filling * k);
}

/// Mean arterial pressure of this baby at rest at this age, mmHg.
template <class Real>
Real resting_arterial_pressure(const Real& age, const Subject<Real>& s) {
  const auto& p = s.parameters;
  return s.body.arterial_pressure +
         p.arterial_pressure_rise * (1.0 - physics::exp(-age / p.arterial_pressure_rise_time));
}

template <class Real>
Circulation<Real> circulation(const Real& age, const Real& core_temperature, const State<Real>& x,
                              const Subject<Real>& s) {
  using physics::exp;
  const auto& [p, b, c] = s;
  Circulation<Real> r;
  r.plasma_volume = x[state::plasma_water] / p.plasma_water_fraction;
  r.red_cell_volume = x[state::red_cell_water] / p.red_cell_water_fraction;
  r.blood_volume = r.plasma_volume + r.red_cell_volume;
  r.haematocrit = r.red_cell_volume / r.blood_volume;
  r.relative_loss = 1.0 - r.blood_volume / b.normal_blood_volume;

  const Real filling = kept_positive(Real((1.0 - r.relative_loss / p.stressed_fraction) *
                                          (1.0 - p.abdominal_venous_drag * c.abdominal_pressure)),
                                     0.02);
  const Real atrial = atrial_share(filling, p);
  r.relative_output = kept_positive(Real((filling - atrial) / (1.0 - p.atrial_share)), 0.01);
  r.atrial_pressure = atrial * p.mean_filling_pressure;
  r.cardiac_output = r.relative_output * (p.cardiac_output_settled +
                                          (p.cardiac_output_at_birth - p.cardiac_output_settled) *
                                              exp(-age / p.cardiac_output_settling_time));

  // The reflex makes up for the share β of a fall in output until it collapses.
  const Real reflex =
      p.reflex_strength * logistic(Real((p.collapse_loss - r.relative_loss) / p.collapse_width));
  const Real log_output = physics::log(r.relative_output);
  r.tone = exp(-reflex * log_output);
  r.relative_pressure = r.relative_output * r.tone;
  const Real rest = resting_arterial_pressure(age, s);
  r.arterial_pressure = rest * r.relative_pressure;
  r.heart_rate = p.heart_rate_at_rest + p.heart_rate_per_degree * (core_temperature - 37.0) +
                 p.heart_rate_reflex_ceiling *
                     physics::tanh(Real(b.heart_rate_reflex * (rest - r.arterial_pressure) /
                                        p.heart_rate_reflex_ceiling)) *
                     (reflex / p.reflex_strength);
  return r;
}

}  // namespace serosa::baby
