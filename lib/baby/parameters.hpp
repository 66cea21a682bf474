// SPDX-License-Identifier: Apache-2.0
// The model's parameters: one list gives the member, the name and the unit the model works in.
// Values, ranges, sources and grades are data: models/parameters/*.yaml.
#pragma once
#include <array>
#include <cstddef>
#include <string_view>

#define SEROSA_PARAMETERS(X)                                 \
  /* birth: size, water, blood, protein */                   \
  X(body_surface_coefficient, "1")                           \
  X(body_surface_weight_exponent, "1")                       \
  X(body_surface_length_exponent, "1")                       \
  X(length_per_cube_root_of_weight, "1")                     \
  X(total_body_water_term, "mL/kg")                          \
  X(total_body_water_per_week, "mL/kg/wk")                   \
  X(total_body_water_anchor, "wk")                           \
  X(extracellular_water_term, "mL/kg")                       \
  X(extracellular_water_per_week, "mL/kg/wk")                \
  X(feto_placental_volume, "mL/kg")                          \
  X(placental_share_late, "1")                               \
  X(placental_share_transferable, "1")                       \
  X(placental_transfusion_time, "h")                         \
  X(fetal_haematocrit_term, "1")                             \
  X(fetal_haematocrit_per_week, "1/wk")                      \
  X(reference_blood_volume, "mL/kg")                         \
  X(plasma_water_fraction, "1")                              \
  X(red_cell_water_fraction, "1")                            \
  X(plasma_sodium_at_birth, "mmol/L")                        \
  X(plasma_chloride_at_birth, "mmol/L")                      \
  X(plasma_protein_vaginal, "g/L")                           \
  X(plasma_protein_caesarean, "g/L")                         \
  X(plasma_protein_no_labour, "g/L")                         \
  X(plasma_protein_per_week, "g/L/wk")                       \
  X(gastroschisis_protein_deficit, "g/L")                    \
  X(term_week, "wk")                                         \
  /* exchange between plasma, interstitium and bowel wall */ \
  X(reference_plasma_protein, "g/L")                         \
  X(body_filtration_coefficient, "mL/kg/h/mmHg")             \
  X(body_lymph_flow, "mL/kg/h")                              \
  X(body_lymph_ceiling, "1")                                 \
  X(body_lymph_pressure_scale, "mmHg")                       \
  X(body_reflection_coefficient, "1")                        \
  X(interstitial_protein_ratio, "1")                         \
  X(interstitial_pressure_at_rest, "mmHg")                   \
  X(interstitial_compliance, "mL/kg/mmHg")                   \
  X(bowel_filtration_coefficient, "mL/g/h/mmHg")             \
  X(bowel_capillary_venous_gain, "1")                        \
  X(bowel_reflection_coefficient, "1")                       \
  X(bowel_lymph_flow, "mL/g/h")                              \
  X(bowel_lymph_ceiling, "1")                                \
  X(bowel_lymph_pressure_scale, "mmHg")                      \
  X(bowel_lymph_obstruction, "1")                            \
  X(bowel_lymph_obstruction_pressure, "mmHg")                \
  X(wall_protein_ratio, "1")                                 \
  X(wall_water_fraction, "1")                                \
  X(wall_pressure_at_rest, "mmHg")                           \
  X(wall_pressure_scale, "mmHg")                             \
  X(wall_hydration_scale, "1")                               \
  X(reflection_loss_by_exposure, "1")                        \
  X(reflection_loss_time, "h")                               \
  X(cover_protection, "1")                                   \
  X(serosal_conductance, "mL/g/h/mmHg")                      \
  X(luminal_conductance, "mL/g/h/mmHg")                      \
  X(exudation_onset, "mmHg")                                 \
  X(congestion_supine_kinked, "mmHg")                        \
  X(congestion_supine, "mmHg")                               \
  X(congestion_supine_supported, "mmHg")                     \
  X(congestion_lateral, "mmHg")                              \
  X(congestion_lateral_supported, "mmHg")                    \
  X(gas_congestion, "mmHg")                                  \
  X(closure_abdominal_pressure, "mmHg")                      \
  /* circulation */                                          \
  X(mean_filling_pressure, "mmHg")                           \
  X(stressed_fraction, "1")                                  \
  X(atrial_share, "1")                                       \
  X(heart_half_saturation, "1")                              \
  X(cardiac_output_settled, "mL/kg/min")                     \
  X(cardiac_output_at_birth, "mL/kg/min")                    \
  X(cardiac_output_settling_time, "h")                       \
  X(arterial_pressure_at_birth_term, "mmHg")                 \
  X(arterial_pressure_per_week, "mmHg/wk")                   \
  X(arterial_pressure_rise, "mmHg")                          \
  X(arterial_pressure_rise_time, "h")                        \
  X(reflex_strength, "1")                                    \
  X(collapse_loss, "1")                                      \
  X(collapse_width, "1")                                     \
  X(heart_rate_at_rest, "1/min")                             \
  X(heart_rate_reflex_term, "1/min/mmHg")                    \
  X(heart_rate_reflex_per_week, "1/min/mmHg/wk")             \
  X(heart_rate_reflex_ceiling, "1/min")                      \
  X(heart_rate_per_degree, "1/min/K")                        \
  X(mesenteric_flow, "mL/kg/min")                            \
  X(mesenteric_constriction, "1")                            \
  X(abdominal_venous_drag, "1/mmHg")                         \
  /* kidney and cell water */                                \
  X(filtration_rate_at_birth, "mL/min/m2")                   \
  X(filtration_rate_rise, "mL/min/m2")                       \
  X(filtration_rate_rise_time, "h")                          \
  X(filtration_rate_per_week, "1/wk")                        \
  X(filtration_pressure_exponent, "1")                       \
  X(solute_load, "mmol/kg/h")                                \
  X(urine_osmolality_low, "mmol/L")                          \
  X(urine_osmolality_high, "mmol/L")                         \
  X(sodium_excretion_term, "1")                              \
  X(sodium_excretion_per_week, "1/wk")                       \
  X(sodium_excretion_volume_gain, "1")                       \
  X(sodium_excretion_level_gain, "L/mmol")                   \
  X(diuresis_low, "1")                                       \
  X(diuresis_high, "1")                                      \
  X(diuresis_onset, "h")                                     \
  X(diuresis_spread, "h")                                    \
  X(antidiuretic_lag, "h")                                   \
  X(antidiuretic_sodium_centre, "mmol/L")                    \
  X(antidiuretic_sodium_width, "mmol/L")                     \
  X(antidiuretic_volume_threshold, "1")                      \
  X(antidiuretic_volume_width, "1")                          \
  X(antidiuretic_birth_stress, "1")                          \
  X(antidiuretic_stress_time, "h")                           \
  X(cell_water_time, "h")                                    \
  /* stomach, lumen, gas */                                  \
  X(gastric_secretion, "mL/kg/h")                            \
  X(gastric_sodium, "mmol/L")                                \
  X(gastric_chloride, "mmol/L")                              \
  X(secretion_chloride_ratio, "1")                           \
  X(stomach_contents_at_birth, "mL/kg")                      \
  X(lumen_contents_at_birth, "mL/kg")                        \
  X(lumen_sodium_at_birth, "mmol/L")                         \
  X(lumen_chloride_at_birth, "mmol/L")                       \
  X(gastric_passage, "1/h")                                  \
  X(lumen_absorption, "1/h")                                 \
  X(lumen_reflux, "1/h")                                     \
  X(matting_impairment, "1")                                 \
  X(free_drainage_rate, "1/h")                               \
  X(aspirated_share, "1")                                    \
  X(gas_entry_crying, "1/h")                                 \
  X(gas_entry_mask, "1/h")                                   \
  X(gas_venting_rate, "1/h")                                 \
  /* water loss of skin and airway */                        \
  X(skin_loss_term, "g/m2/h")                                \
  X(skin_loss_preterm_excess, "g/m2/h")                      \
  X(skin_loss_per_week, "1/wk")                              \
  X(skin_loss_anchor, "wk")                                  \
  X(skin_loss_maturation_time, "h")                          \
  X(skin_loss_early_gain, "1")                               \
  X(skin_loss_early_time, "h")                               \
  X(skin_loss_vapour_difference, "kPa")                      \
  X(skin_loss_air_resistance, "m2 h kPa/g")                  \
  X(sweat_threshold, "degC")                                 \
  X(sweat_gain, "1")                                         \
  X(sweat_width, "K")                                        \
  X(sweat_maturity_week, "wk")                               \
  X(sweat_maturity_width, "wk")                              \
  X(amniotic_film, "g/m2")                                   \
  X(wetness_scale, "g/m2")                                   \
  X(head_share, "1")                                         \
  X(upper_share, "1")                                        \
  X(lower_share, "1")                                        \
  X(skin_film_resistance, "m2 h kPa/g")                      \
  X(hat_evaporation_ratio, "1")                              \
  X(ventilation_per_oxygen, "1")                             \
  X(expired_temperature, "degC")                             \
  X(expired_saturation, "1")                                 \
  X(humidified_airway_share, "1")                            \
  X(oxidation_water_per_oxygen, "g/mL")                      \
  /* heat of the body */                                     \
  X(specific_heat_body, "J/g/K")                             \
  X(specific_heat_water, "J/g/K")                            \
  X(specific_heat_blood, "J/g/K")                            \
  X(core_temperature_at_birth, "degC")                       \
  X(skin_mass_fraction, "1")                                 \
  X(core_skin_conductance_low, "W/m2/K")                     \
  X(core_skin_conductance_high, "W/m2/K")                    \
  X(vasomotor_centre, "degC")                                \
  X(vasomotor_width, "K")                                    \
  X(oxygen_uptake_at_birth, "mL/kg/min")                     \
  X(oxygen_uptake_rise, "mL/kg/min")                         \
  X(oxygen_uptake_rise_time, "h")                            \
  X(heat_per_oxygen, "J/mL")                                 \
  X(metabolic_q10, "1")                                      \
  X(cold_response_ceiling, "1")                              \
  X(cold_response_threshold, "degC")                         \
  X(cold_response_width, "K")                                \
  X(cold_response_early, "1")                                \
  X(cold_response_time, "h")                                 \
  X(cold_response_week, "wk")                                \
  X(cold_response_week_width, "wk")                          \
  X(cold_failure_temperature, "degC")                        \
  X(cold_failure_width, "K")                                 \
  X(body_diameter, "m")                                      \
  X(skin_emissivity, "1")                                    \
  X(radiating_fraction, "1")                                 \
  X(convecting_fraction, "1")                                \
  X(facing_up_fraction, "1")                                 \
  X(warmer_absorptivity, "1")                                \
  X(hat_dry_ratio, "1")                                      \
  X(skin_film_dry_ratio, "1")                                \
  X(contact_fraction, "1")                                   \
  X(contact_conductance, "W/m2/K")                           \
  X(mattress_area, "m2")                                     \
  X(mattress_heat_capacity, "J/m2/K")                        \
  X(mattress_base_conductance, "W/m2/K")                     \
  X(mattress_absorptivity, "1")                              \
  X(mattress_shade, "1")                                     \
  X(mattress_diameter, "m")                                  \
  X(servo_width, "K")                                        \
  X(infusion_temperature, "degC")                            \
  X(dressing_temperature, "degC")                            \
  X(film_limp_temperature, "degC")                           \
  X(contact_burn_temperature, "degC")                        \
  /* size and surface of the herniated bowel */              \
  X(small_bowel_length, "m")                                 \
  X(small_bowel_length_per_week, "m/wk")                     \
  X(small_bowel_length_anchor, "wk")                         \
  X(wall_mass, "g/kg")                                       \
  X(loop_diameter, "m")                                      \
  X(packed_shape, "1")                                       \
  X(spread, "1")                                             \
  X(bowel_radiating_fraction, "1")                           \
  X(bowel_facing_up_fraction, "1")                           \
  X(bowel_emissivity, "1")                                   \
  X(surface_fluid_at_birth, "g/m2")                          \
  X(surface_wetness_scale, "g/m2")                           \
  X(dried_serosa_resistance, "m2 h kPa/g")                   \
  X(surface_fluid_held, "g/m2")                              \
  X(drip_rate, "1/h")                                        \
  X(leak_shelter, "1")                                       \
  X(salt_exchange_rate, "1/h")                               \
  X(dressing_wetness_scale, "g/m2")                          \
  X(bowel_heat_effectiveness, "1")                           \
  X(inside_conductance, "W/kg/K")                            \
  /* limits that reports use */                              \
  X(who_too_warm, "degC")                                    \
  X(who_normal, "degC")                                      \
  X(who_mild, "degC")                                        \
  X(who_moderate, "degC")                                    \
  X(glucose_high, "mg/kg/min")                               \
  X(sodium_low, "mmol/L")                                    \
  X(sodium_high, "mmol/L")                                   \
  X(model_core_lowest, "degC")                               \
  X(model_core_highest, "degC")                              \
  X(model_blood_lowest, "1")                                 \
  X(model_haematocrit_highest, "1")                          \
  X(model_protein_highest, "g/L")                            \
  X(model_sodium_lowest, "mmol/L")                           \
  X(model_sodium_highest, "mmol/L")                          \
  X(model_tissue_water_lowest, "1")

namespace serosa::baby {

/// Values of all parameters in the model's units. Lanes of a pack may differ.
template <class Real>
struct Parameters {
#define SEROSA_MEMBER(name, unit) Real name;
  SEROSA_PARAMETERS(SEROSA_MEMBER)
#undef SEROSA_MEMBER
};

namespace parameter {
enum Index : std::size_t {
#define SEROSA_INDEX(name, unit) name,
  SEROSA_PARAMETERS(SEROSA_INDEX)
#undef SEROSA_INDEX
      count
};
}  // namespace parameter

struct ParameterInfo {
  std::string_view name;
  std::string_view unit;  ///< unit in which the model works
};

inline constexpr std::array<ParameterInfo, parameter::count> parameter_list{{
#define SEROSA_INFO(name, unit) {#name, unit},
    SEROSA_PARAMETERS(SEROSA_INFO)
#undef SEROSA_INFO
}};

}  // namespace serosa::baby
