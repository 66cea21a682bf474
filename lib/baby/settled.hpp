// SPDX-License-Identifier: Apache-2.0
// What the rates need that changes neither with the state nor with the time, only with an act:
// worked out once between two acts instead of at every evaluation.
#pragma once
#include "baby/smooth.hpp"
#include "baby/subject.hpp"
#include "physics/convection.hpp"

// X(name, what it is)
#define SEROSA_SETTLED(X)                                                                     \
  X(air_vapour, "Vapour pressure of the room's air, kPa")                                     \
  X(air_virtual, "Virtual temperature of the room's air less its temperature, K")             \
  X(vapour_per_convection, "Mass transfer per convective coefficient, g/m2/h/kPa per W/m2/K") \
  X(breath_vapour, "Vapour that a volume of breath takes along, g/m3")                        \
  X(breath_heat, "Heat that a volume of dry breath takes along, J/m3")                        \
  X(log_q10, "Logarithm of the metabolic Q10")                                                \
  X(log_osmolality_range, "Logarithm of highest over lowest urine osmolality")                \
  X(abdominal_perfusion, "Share of the kidney's perfusion that abdominal pressure leaves")    \
  X(open_skin, "Skin surface open to the air, m2")                                            \
  X(heart_response, "What the heart puts out per filling, in units of rest")                  \
  X(rest_drive, "Pressure over the bowel's vessels at rest, mmHg")                            \
  X(per_gap, "One over the cover's air gap, 1/m")                                             \
  /* one over a parameter or a size of the baby */                                            \
  X(per_plasma_water_fraction, "1")                                                           \
  X(per_red_cell_water_fraction, "1")                                                         \
  X(per_normal_blood_volume, "1/mL")                                                          \
  X(per_stressed_fraction, "1")                                                               \
  X(per_atrial_rest, "One over one less the atrial share")                                    \
  X(per_cardiac_output_settling_time, "1/h")                                                  \
  X(per_arterial_pressure_rise_time, "1/h")                                                   \
  X(per_collapse_width, "1")                                                                  \
  X(per_heart_rate_reflex_ceiling, "min")                                                     \
  X(per_body_lymph_pressure_scale, "1/mmHg")                                                  \
  X(per_bowel_lymph_pressure_scale, "1/mmHg")                                                 \
  X(per_wall_water, "1/g")                                                                    \
  X(per_wall_hydration_scale, "1")                                                            \
  X(per_reflection_loss_time, "1/h")                                                          \
  X(per_rest_drive, "1/mmHg")                                                                 \
  X(per_filtration_rate_rise_time, "1/h")                                                     \
  X(per_diuresis_spread, "1/h")                                                               \
  X(per_antidiuretic_sodium_width, "L/mmol")                                                  \
  X(per_antidiuretic_volume_width, "1")                                                       \
  X(per_antidiuretic_stress_time, "1/h")                                                      \
  X(per_antidiuretic_lag, "1/h")                                                              \
  X(per_servo_width, "1/K")                                                                   \
  X(per_head_scale, "1/g")                                                                    \
  X(per_upper_scale, "1/g")                                                                   \
  X(per_lower_scale, "1/g")                                                                   \
  X(per_dressing_scale, "1/g")                                                                \
  X(per_open_skin, "1/m2")                                                                    \
  X(per_surface_wetness_scale, "m2/g")                                                        \
  X(per_skin_loss_maturation_time, "1/h")                                                     \
  X(per_skin_loss_early_time, "1/h")                                                          \
  X(per_sweat_width, "1/K")                                                                   \
  X(per_oxygen_uptake_rise_time, "1/h")                                                       \
  X(per_cold_response_time, "1/h")                                                            \
  X(per_cold_response_width, "1/K")                                                           \
  X(per_cold_failure_width, "1/K")                                                            \
  X(per_vasomotor_width, "1/K")                                                               \
  X(mesenteric_heat, "Heat per degree that the mesenteric flow at rest carries, W/K")

namespace serosa::baby {

template <class Real>
struct Settled {
#define SEROSA_MEMBER(name, text) Real name;
  SEROSA_SETTLED(SEROSA_MEMBER)
#undef SEROSA_MEMBER
  physics::Cylinder<Real> body, bowel, mattress;  ///< for convection
};

/// Copies a scalar subject's into one lane.
template <class Real>
void set_lane(Settled<Real>& to, int lane, const Settled<physics::Scalar<Real>>& from) {
#define SEROSA_COPY(name, text) physics::set_lane(to.name, lane, from.name);
  SEROSA_SETTLED(SEROSA_COPY)
#undef SEROSA_COPY
  physics::set_lane(to.body, lane, from.body);
  physics::set_lane(to.bowel, lane, from.bowel);
  physics::set_lane(to.mattress, lane, from.mattress);
}

/// Works it out; to be done again whenever the subject's controls have changed.
template <class Real>
Settled<Real> settled(const Subject<Real>& s) {
  using namespace physics;
  const auto& [p, b, c] = s;
  Settled<Real> k;
  k.air_vapour = vapour_pressure(c.air_temperature, c.humidity);
  k.air_virtual = virtual_temperature(c.air_temperature, k.air_vapour, c.air_pressure) -
                  (c.air_temperature + celsius_zero);
  k.vapour_per_convection = vapour_coefficient(Real(1.0), c.air_pressure);
  const auto vapour_density = [](const Real& vapour, const Real& at) {  // g/m3, ideal gas
    return vapour * (1000.0 * molar_mass_water / gas_constant) / (at + celsius_zero);
  };
  const Real expired = p.expired_saturation * saturation_pressure(p.expired_temperature);
  k.breath_vapour = vapour_density(expired, p.expired_temperature) -
                    vapour_density(k.air_vapour, c.air_temperature);
  k.breath_heat = air_density(c.air_temperature, k.air_vapour, c.air_pressure) * 1000.0 *
                  heat_capacity_air * (p.expired_temperature - c.air_temperature);
  k.log_q10 = log(p.metabolic_q10);
  k.log_osmolality_range = log(Real(p.urine_osmolality_high / p.urine_osmolality_low));
  k.abdominal_perfusion =
      kept_positive(Real(1.0 - c.abdominal_pressure / b.reference_arterial_pressure), 0.02);
  const Real head = p.head_share * b.surface;
  const Real upper = p.upper_share * b.surface;
  const Real lower = p.lower_share * b.surface;
  k.open_skin = head + upper + lower;
  k.heart_response =
      (1.0 - p.atrial_share) * (p.atrial_share + p.heart_half_saturation) / p.atrial_share;
  k.rest_drive = b.reference_arterial_pressure - b.atrial_pressure;
  k.per_gap = 1.0 / c.gap;
  k.per_plasma_water_fraction = 1.0 / p.plasma_water_fraction;
  k.per_red_cell_water_fraction = 1.0 / p.red_cell_water_fraction;
  k.per_normal_blood_volume = 1.0 / b.normal_blood_volume;
  k.per_stressed_fraction = 1.0 / p.stressed_fraction;
  k.per_atrial_rest = 1.0 / (1.0 - p.atrial_share);
  k.per_cardiac_output_settling_time = 1.0 / p.cardiac_output_settling_time;
  k.per_arterial_pressure_rise_time = 1.0 / p.arterial_pressure_rise_time;
  k.per_collapse_width = 1.0 / p.collapse_width;
  k.per_heart_rate_reflex_ceiling = 1.0 / p.heart_rate_reflex_ceiling;
  k.per_body_lymph_pressure_scale = 1.0 / p.body_lymph_pressure_scale;
  k.per_bowel_lymph_pressure_scale = 1.0 / p.bowel_lymph_pressure_scale;
  k.per_wall_water = 1.0 / b.wall_water;
  k.per_wall_hydration_scale = 1.0 / p.wall_hydration_scale;
  k.per_reflection_loss_time = 1.0 / p.reflection_loss_time;
  k.per_rest_drive = 1.0 / k.rest_drive;
  k.per_filtration_rate_rise_time = 1.0 / p.filtration_rate_rise_time;
  k.per_diuresis_spread = 1.0 / p.diuresis_spread;
  k.per_antidiuretic_sodium_width = 1.0 / p.antidiuretic_sodium_width;
  k.per_antidiuretic_volume_width = 1.0 / p.antidiuretic_volume_width;
  k.per_antidiuretic_stress_time = 1.0 / p.antidiuretic_stress_time;
  k.per_antidiuretic_lag = 1.0 / p.antidiuretic_lag;
  k.per_servo_width = 1.0 / p.servo_width;
  k.per_head_scale = 1.0 / (head * p.wetness_scale);
  k.per_upper_scale = 1.0 / (upper * p.wetness_scale);
  k.per_lower_scale = 1.0 / (lower * p.wetness_scale);
  k.per_dressing_scale = 1.0 / (b.packed_area * p.dressing_wetness_scale);
  k.per_open_skin = 1.0 / k.open_skin;
  k.per_surface_wetness_scale = 1.0 / p.surface_wetness_scale;
  k.per_skin_loss_maturation_time = 1.0 / p.skin_loss_maturation_time;
  k.per_skin_loss_early_time = 1.0 / p.skin_loss_early_time;
  k.per_sweat_width = 1.0 / p.sweat_width;
  k.per_oxygen_uptake_rise_time = 1.0 / p.oxygen_uptake_rise_time;
  k.per_cold_response_time = 1.0 / p.cold_response_time;
  k.per_cold_response_width = 1.0 / p.cold_response_width;
  k.per_cold_failure_width = 1.0 / p.cold_failure_width;
  k.per_vasomotor_width = 1.0 / p.vasomotor_width;
  k.mesenteric_heat = p.mesenteric_flow * (b.wall_mass / p.wall_mass) * (1.0 / 60.0) *
                      p.specific_heat_blood * p.bowel_heat_effectiveness;
  k.body = cylinder(p.body_diameter, c.air_speed, c.air_pressure);
  k.bowel = cylinder(b.bowel_diameter, c.air_speed, c.air_pressure);
  k.mattress = cylinder(p.mattress_diameter, c.air_speed, c.air_pressure);
  return k;
}

}  // namespace serosa::baby
