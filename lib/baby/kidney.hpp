// SPDX-License-Identifier: Apache-2.0
// Filtration, sodium and water excretion of the first days, and the antidiuretic signal.
#pragma once
#include "baby/circulation.hpp"

namespace serosa::baby {

template <class Real>
struct Kidney {
  Real filtration;           ///< L/h
  Real urine;                ///< mL/h
  Real urine_osmolality;     ///< mOsm/kg
  Real sodium;               ///< mmol/h
  Real chloride;             ///< mmol/h
  Real antidiuretic_target;  ///< where the antidiuretic signal goes, 0 to 1
};

/// @param sodium, chloride  mmol per L of plasma water
template <class Real>
SEROSA_INLINE Kidney<Real> kidney(const Real& age, const State<Real>& x,
                                  const Circulation<Real>& blood, const Real& sodium,
                                  const Real& chloride, const Subject<Real>& s,
                                  const Settled<Real>& settled) {
  using physics::exp;
  using physics::log;
  const auto& [p, b, c] = s;
  Kidney<Real> k;

  // Filtration by gestation and age, times perfusion; abdominal pressure counts against it.
  const Real perfusion = blood.relative_pressure * settled.abdominal_perfusion;
  const Real perfused = exp(p.filtration_pressure_exponent * log(perfusion));
  const Real by_age =
      p.filtration_rate_at_birth +
      p.filtration_rate_rise * (1.0 - exp(-age * settled.per_filtration_rate_rise_time));
  k.filtration = c.kidney_works * c.born * by_age * 0.06 * b.surface * b.filtration_maturity *
                 perfused;  // 0.06: mL/min to L/h

  // Sodium: fractional excretion by gestation, phase of the first days, volume and level.
  const Real phase =
      p.diuresis_low + (p.diuresis_high - p.diuresis_low) *
                           logistic(Real((age - p.diuresis_onset) * settled.per_diuresis_spread));
  const Real plasma_sodium = sodium * p.plasma_water_fraction;
  const Real fraction = b.sodium_excretion * phase *
                        exp(-p.sodium_excretion_volume_gain * blood.relative_loss +
                            p.sodium_excretion_level_gain * (plasma_sodium - b.sodium));
  k.sodium = k.filtration * sodium * fraction;
  k.chloride = k.filtration * chloride * fraction;

  // Water follows the solutes at an osmolality between the bounds, set by the signal.
  k.urine_osmolality =
      p.urine_osmolality_low * exp(x[state::antidiuretic_signal] * settled.log_osmolality_range);
  const Real solutes =
      2.0 * k.sodium + c.kidney_works * c.born * p.solute_load * b.weight * perfused;
  k.urine = 1000.0 * solutes / k.urine_osmolality;

  // The signal: sodium, loss of volume, stress of birth; any of them is enough.
  // What is left without each: one less a logistic is the logistic of the other sign.
  const Real osmotic =
      exp((plasma_sodium - p.antidiuretic_sodium_centre) * settled.per_antidiuretic_sodium_width);
  const Real volume = exp((blood.relative_loss - p.antidiuretic_volume_threshold) *
                          settled.per_antidiuretic_volume_width);
  const Real stress =
      p.antidiuretic_birth_stress * exp(-age * settled.per_antidiuretic_stress_time);
  k.antidiuretic_target = 1.0 - (1.0 - stress) / ((1.0 + osmotic) * (1.0 + volume));
  return k;
}

}  // namespace serosa::baby
