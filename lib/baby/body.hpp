// SPDX-License-Identifier: Apache-2.0
// What stays the same through one run: the size of this baby and the coefficients solved on the
// reference newborn.
#pragma once
#include <cmath>

#include "baby/parameters.hpp"
#include "physics/oncotic.hpp"
#include "physics/real/real.hpp"

namespace serosa::baby {

/// How the baby came; decides the protein at birth.
enum class Delivery { vaginal, caesarean, caesarean_without_labour };

/// The baby as a case describes it, in the model's units. NaN where the model shall derive it.
template <class Real>
struct Inputs {
  Real weight;                ///< g
  Real gestation;             ///< wk
  Real length{std::nan("")};  ///< cm
  Delivery delivery = Delivery::vaginal;
  bool gastroschisis = true;             ///< lowers the protein at birth
  Real protein{std::nan("")};            ///< g/L of plasma at birth
  Real haematocrit{std::nan("")};        ///< fraction, of blood at birth
  Real sodium{std::nan("")};             ///< mmol/L of plasma at birth
  Real cord_clamped_at{1.0 / 60};        ///< h after birth
  Real blood_volume{std::nan("")};       ///< mL/kg at the start; from the cord when not given
  Real temperature{std::nan("")};        ///< degC, core at birth
  Real skin_temperature{std::nan("")};   ///< degC at birth; that of the core when not given
  Real bowel_temperature{std::nan("")};  ///< degC at birth; that of the core when not given
  Real herniated{0.8};                   ///< fraction of the small bowel
  Real spread{std::nan("")};             ///< 0 packed to 1 loops apart
  Real loop_diameter{std::nan("")};      ///< m
  Real bowel_length{std::nan("")};       ///< m, whole small bowel
  Real thickening{1.0};                  ///< wall mass against normal
  Real matting{0.0};                     ///< 0 none to 1 fully matted
  Real area{std::nan("")};               ///< m2, exposed area given directly
};

// X(name, unit, what it is)
#define SEROSA_BODY(X)                                                                             \
  X(weight, "kg", "Weight at birth")                                                               \
  X(gestation, "wk", "Gestation at birth")                                                         \
  X(surface, "m2", "Body surface")                                                                 \
  X(normal_blood_volume, "mL", "Blood volume at which this baby would be at rest")                 \
  X(clamped_blood_volume, "mL", "Blood volume when the cord is clamped")                           \
  X(haematocrit, "1", "Haematocrit at birth")                                                      \
  X(protein, "g/L", "Plasma protein at birth")                                                     \
  X(sodium, "mmol/L", "Plasma sodium at birth")                                                    \
  X(core_temperature, "degC", "Core temperature at birth")                                         \
  X(skin_temperature, "degC", "Skin temperature at birth")                                         \
  X(bowel_temperature, "degC", "Bowel temperature at birth")                                       \
  X(plasma_water, "g", "Plasma water at birth")                                                    \
  X(red_cell_water, "g", "Red cell water at birth")                                                \
  X(interstitial_water, "g", "Interstitial water at birth and at rest")                            \
  X(cell_water, "g", "Cell water at birth")                                                        \
  X(cell_osmoles, "g mmol/L", "Sodium that would balance the osmoles of the cells")                \
  X(cell_conductance, "g/h per mmol/L", "Cell water per difference of sodium in water")            \
  X(wall_mass, "g", "Mass of the herniated bowel's wall")                                          \
  X(wall_water, "g", "Interstitial water of the bowel wall at birth and at rest")                  \
  X(stomach_water, "g", "Stomach contents at birth")                                               \
  X(lumen_water, "g", "Contents of the herniated bowel at birth")                                  \
  X(motility, "1", "Share of passage and absorption left by matting")                              \
  X(body_filtration, "mL/h/mmHg", "Filtration coefficient of the body, bowel left out")            \
  X(body_lymph, "mL/h", "Lymph flow of the body at rest")                                          \
  X(body_diffusion, "mL/h", "Permeability-surface product for protein, body")                      \
  X(interstitial_stiffness, "mmHg/mL", "Inverse of the interstitial compliance")                   \
  X(capillary_pressure, "mmHg", "Capillary pressure of the body at rest")                          \
  X(postcapillary_share, "1", "Share of the resistance downstream of the capillaries, at rest")    \
  X(wall_filtration, "mL/h/mmHg", "Filtration coefficient of the bowel wall")                      \
  X(wall_lymph, "mL/h", "Lymph flow of the bowel wall at rest")                                    \
  X(wall_diffusion, "mL/h", "Permeability-surface product for protein, bowel wall")                \
  X(wall_arterial_share, "1", "Share of the arterial pressure in the wall's capillaries, at rest") \
  X(serosal_exudation, "mL/h/mmHg", "Transudation per rise of wall pressure")                      \
  X(luminal_exudation, "mL/h/mmHg", "Secretion per rise of wall pressure")                         \
  X(arterial_pressure, "mmHg", "Mean arterial pressure at birth, undisturbed")                     \
  X(reference_arterial_pressure, "mmHg", "Arterial pressure at which the rest was solved")         \
  X(atrial_pressure, "mmHg", "Atrial pressure at rest")                                            \
  X(heart_rate_reflex, "1/min/mmHg", "Heart rate per fall of arterial pressure")                   \
  X(packed_area, "m2", "Envelope of the packed bowel")                                             \
  X(spread_area, "m2", "Area that bare bowel exposes")                                             \
  X(bowel_diameter, "m", "Diameter of the herniated mass")                                         \
  X(skin_loss_settled, "g/m2/h", "Skin loss of this gestation that stays")                         \
  X(skin_loss_immature, "g/m2/h", "Skin loss of this gestation that wanes with age")               \
  X(sweat_maturity, "1", "Share of the term baby's sweating")                                      \
  X(cold_maturity, "1", "Share of the term baby's cold response")                                  \
  X(filtration_maturity, "1", "Glomerular filtration per surface against term")                    \
  X(sodium_excretion, "1", "Fractional sodium excretion, settled")                                 \
  X(core_capacity, "J/K", "Heat capacity of the core at birth")                                    \
  X(skin_capacity, "J/K", "Heat capacity of the skin shell")                                       \
  X(bowel_capacity, "J/K", "Heat capacity of the herniated bowel at birth")                        \
  X(mattress_capacity, "J/K", "Heat capacity of the mattress patch")

template <class Real>
struct Body {
#define SEROSA_MEMBER(name, unit, text) Real name;
  SEROSA_BODY(SEROSA_MEMBER)
#undef SEROSA_MEMBER
};

/// Derives `Body` from a case's inputs and the parameters. Real is a scalar: double or Dual.
///
/// The coefficients of exchange are solved in closed form so that the reference newborn (reference
/// blood volume and protein, nothing exposed) is at rest: filtration equals lymph flow, and protein
/// leaves the blood as fast as lymph returns it.
template <class Real>
Body<Real> prepare(const Inputs<Real>& in, const Parameters<Real>& p) {
  using namespace physics;
  const auto given = [](const Real& x, const Real& derived) {
    return std::isnan(value_of(x, 0)) ? derived : x;
  };
  Body<Real> b{};
  b.weight = in.weight / 1000.0;
  b.gestation = in.gestation;
  const Real weeks_before_term = p.term_week - in.gestation;

  // Size. Body surface from weight and length (Ahn 2010).
  const Real length = given(in.length, p.length_per_cube_root_of_weight * cbrt(in.weight));
  b.surface = 1e-4 * p.body_surface_coefficient *
              exp(p.body_surface_weight_exponent * log(in.weight) +
                  p.body_surface_length_exponent * log(length));

  // Blood: what the placenta still holds when the cord is clamped is missing.
  const Real placental_share =
      p.placental_share_late +
      p.placental_share_transferable * exp(-in.cord_clamped_at / p.placental_transfusion_time);
  b.normal_blood_volume = p.reference_blood_volume * b.weight;
  b.clamped_blood_volume =
      given(in.blood_volume, p.feto_placental_volume * (1.0 - placental_share)) * b.weight;
  b.haematocrit = given(
      in.haematocrit, p.fetal_haematocrit_term - p.fetal_haematocrit_per_week * weeks_before_term);
  b.sodium = given(in.sodium, p.plasma_sodium_at_birth);
  const Real protein_term = in.delivery == Delivery::vaginal     ? p.plasma_protein_vaginal
                            : in.delivery == Delivery::caesarean ? p.plasma_protein_caesarean
                                                                 : p.plasma_protein_no_labour;
  Real protein = protein_term - p.plasma_protein_per_week * weeks_before_term;
  if (in.gastroschisis) protein = protein - p.gastroschisis_protein_deficit;
  b.protein = given(in.protein, protein);
  b.core_temperature = given(in.temperature, p.core_temperature_at_birth);
  b.skin_temperature = given(in.skin_temperature, b.core_temperature);
  b.bowel_temperature = given(in.bowel_temperature, b.core_temperature);

  // Water.
  const Real plasma_volume = b.clamped_blood_volume * (1.0 - b.haematocrit);
  const Real normal_plasma = b.normal_blood_volume * (1.0 - b.haematocrit);
  b.plasma_water = plasma_volume * p.plasma_water_fraction;
  b.red_cell_water = b.clamped_blood_volume * b.haematocrit * p.red_cell_water_fraction;
  b.wall_mass = p.wall_mass * b.weight * in.herniated * in.thickening;
  b.wall_water = b.wall_mass * p.wall_water_fraction;
  b.lumen_water = p.lumen_contents_at_birth * b.weight * in.herniated;
  b.stomach_water = p.stomach_contents_at_birth * b.weight;
  b.interstitial_water =
      (p.extracellular_water_term - p.extracellular_water_per_week * weeks_before_term) * b.weight -
      normal_plasma * p.plasma_water_fraction - b.wall_water;
  const Real body_water =
      (p.total_body_water_term +
       p.total_body_water_per_week * (in.gestation - p.total_body_water_anchor)) *
      b.weight;
  b.cell_water = body_water - b.interstitial_water - b.wall_water -
                 normal_plasma * p.plasma_water_fraction -
                 b.normal_blood_volume * b.haematocrit * p.red_cell_water_fraction;
  const Real sodium_in_water = b.sodium / p.plasma_water_fraction;
  b.cell_osmoles = b.cell_water * sodium_in_water;
  b.cell_conductance = b.cell_water / (p.cell_water_time * sodium_in_water);
  b.motility = 1.0 - p.matting_impairment * in.matting;

  // Rest of the whole body: filtration = lymph (Starling); protein out = protein back.
  b.atrial_pressure = p.atrial_share * p.mean_filling_pressure;
  b.arterial_pressure =
      p.arterial_pressure_at_birth_term - p.arterial_pressure_per_week * weeks_before_term;
  b.reference_arterial_pressure = b.arterial_pressure;
  b.body_filtration = p.body_filtration_coefficient * b.weight;
  b.body_lymph = p.body_lymph_flow * b.weight;
  const Real reference = p.reference_plasma_protein;
  const auto diffusion_at_rest = [&](const Real& lymph, const Real& ratio, const Real& sigma) {
    const Real mean = 0.5 * (1.0 + ratio);
    return lymph * (ratio - (1.0 - sigma) * mean) / (1.0 - ratio);
  };
  const auto capillary_at_rest = [&](const Real& tissue_pressure, const Real& ratio,
                                     const Real& sigma, const Real& lymph, const Real& filtration) {
    return tissue_pressure +
           sigma * (oncotic_pressure(reference) - oncotic_pressure(Real(ratio * reference))) +
           lymph / filtration;
  };
  b.body_diffusion =
      diffusion_at_rest(b.body_lymph, p.interstitial_protein_ratio, p.body_reflection_coefficient);
  b.interstitial_stiffness = 1.0 / (p.interstitial_compliance * b.weight);
  b.capillary_pressure =
      capillary_at_rest(p.interstitial_pressure_at_rest, p.interstitial_protein_ratio,
                        p.body_reflection_coefficient, b.body_lymph, b.body_filtration);
  b.postcapillary_share =
      (b.capillary_pressure - b.atrial_pressure) / (b.arterial_pressure - b.atrial_pressure);

  // Rest of the bowel wall.
  b.wall_filtration = p.bowel_filtration_coefficient * b.wall_mass;
  b.wall_lymph = p.bowel_lymph_flow * b.wall_mass;
  b.wall_diffusion =
      diffusion_at_rest(b.wall_lymph, p.wall_protein_ratio, p.bowel_reflection_coefficient);
  const Real wall_capillary_pressure =
      capillary_at_rest(p.wall_pressure_at_rest, p.wall_protein_ratio,
                        p.bowel_reflection_coefficient, b.wall_lymph, b.wall_filtration);
  b.wall_arterial_share =
      (wall_capillary_pressure - p.bowel_capillary_venous_gain * b.atrial_pressure) /
      b.arterial_pressure;
  b.serosal_exudation = p.serosal_conductance * b.wall_mass;
  b.luminal_exudation = p.luminal_conductance * b.wall_mass;

  // Bowel surface: between the envelope of the packed mass and the loops apart.
  const Real bowel_mass = b.wall_mass + b.lumen_water;
  const Real radius = cbrt(Real(bowel_mass * 1e-6 * (3.0 / (4.0 * M_PI))));
  b.bowel_diameter = 2.0 * radius;
  b.packed_area = p.packed_shape * 4.0 * M_PI * radius * radius;
  const Real bowel_length = given(
      in.bowel_length, p.small_bowel_length + p.small_bowel_length_per_week *
                                                  (in.gestation - p.small_bowel_length_anchor));
  const Real tube_area =
      M_PI * given(in.loop_diameter, p.loop_diameter) * bowel_length * in.herniated;
  const Real spread = given(in.spread, p.spread);
  b.spread_area = b.packed_area * exp(spread * log(tube_area / b.packed_area));
  if (!std::isnan(value_of(in.area, 0))) b.spread_area = b.packed_area = in.area;

  // What gestation decides.
  const auto logistic = [](const Real& x) { return 1.0 / (1.0 + exp(-x)); };
  b.heart_rate_reflex = p.heart_rate_reflex_term - p.heart_rate_reflex_per_week * weeks_before_term;
  b.skin_loss_settled = p.skin_loss_term;
  b.skin_loss_immature =
      p.skin_loss_preterm_excess * exp(-p.skin_loss_per_week * (in.gestation - p.skin_loss_anchor));
  b.sweat_maturity = logistic((in.gestation - p.sweat_maturity_week) / p.sweat_maturity_width);
  b.cold_maturity = logistic((in.gestation - p.cold_response_week) / p.cold_response_week_width);
  b.filtration_maturity = exp(-p.filtration_rate_per_week * weeks_before_term);
  b.sodium_excretion =
      p.sodium_excretion_term * exp(p.sodium_excretion_per_week * weeks_before_term);

  // Heat.
  const Real body_capacity = p.specific_heat_body * in.weight;
  b.skin_capacity = p.skin_mass_fraction * body_capacity;
  b.bowel_capacity = p.specific_heat_body * b.wall_mass + p.specific_heat_water * b.lumen_water;
  b.core_capacity = body_capacity - b.skin_capacity - b.bowel_capacity;
  b.mattress_capacity = p.mattress_heat_capacity * p.mattress_area;
  return b;
}

}  // namespace serosa::baby
