// SPDX-License-Identifier: Apache-2.0
// What a run tells: one list gives index, name, unit, meaning and formula of every output.
#pragma once
#include <array>
#include <cstddef>
#include <string_view>

#include "baby/rates.hpp"
#include "care/carer.hpp"

// X(name, unit, what it is, formula)
// In the formulas: m the moment, x the state, x0 the state at the start, b the body, p the
// parameters, g what was given, t the hour.
// clang-format off
#define SEROSA_OUTPUTS(X)                                                                          \
  /* the water account, since birth */                                                             \
  X(skin_loss, "g", "Water lost through the dry skin, sweat included", x[skin_loss])               \
  X(amniotic_evaporation, "g", "Amniotic fluid evaporated from the skin", x[amniotic_evaporation]) \
  X(bowel_evaporation, "g", "Body water evaporated from the bowel", x[bowel_evaporation])          \
  X(dressing_evaporation, "g", "Dressing water evaporated", x[dressing_evaporation])               \
  X(airway_loss, "g", "Water lost with the breath", x[airway_loss])                                \
  X(urine, "g", "Urine", x[urine])                                                                 \
  X(gastric_drainage, "g", "Fluid drained from the stomach", x[gastric_drainage])                  \
  X(bowel_drip, "g", "Fluid that dripped from the bowel", x[bowel_drip])                           \
  X(blood_loss, "g", "Water of blood lost or sampled", x[blood_loss])                              \
  X(oxidation_water, "g", "Water made by oxidation", x[oxidation_water])                           \
  X(given_total, "g", "Water given into the blood", g.water)                                       \
  X(given_maintenance, "mL", "Maintenance given", g.volume[0])                                     \
  X(given_boluses, "mL", "Boluses given", g.volume[1])                                             \
  X(given_replacement, "mL", "Replacement of gastric loss given", g.volume[2])                     \
  X(given_blood, "mL", "Blood products given", g.volume[3])                                        \
  X(boluses, "1", "Boluses begun", g.boluses)                                                      \
  /* where the water is */                                                                         \
  X(plasma_volume, "mL", "Plasma volume", m.blood.plasma_volume)                                   \
  X(red_cell_volume, "mL", "Red cell volume", m.blood.red_cell_volume)                             \
  X(blood_volume, "mL", "Blood volume", m.blood.blood_volume)                                      \
  X(plasma_water, "g", "Water of the plasma", x[plasma_water])                                     \
  X(red_cell_water, "g", "Water of the red cells", x[red_cell_water])                              \
  X(interstitial_water, "g", "Water between the cells of the body", x[interstitial_water])         \
  X(cell_water, "g", "Water of the cells", x[cell_water])                                          \
  X(wall_water, "g", "Interstitial water of the bowel wall", x[wall_water])                        \
  X(stomach_water, "g", "Fluid in the stomach", x[stomach_water])                                  \
  X(lumen_water, "g", "Fluid in the bowel's lumen", x[lumen_water])                                \
  X(surface_water, "g", "Free fluid on the bowel, in the wrap or bag", x[surface_water])           \
  X(dressing_water, "g", "Water held by the dressing", x[dressing_water])                          \
  X(skin_wetness, "g", "Amniotic fluid on the skin",                                               \
    x[head_wetness] + x[upper_wetness] + x[lower_wetness])                                         \
  /* deficits: water missing counts positive */                                                    \
  X(circulating_deficit, "mL", "Blood volume missing against the volume when the cord was clamped", \
    b.clamped_blood_volume - m.blood.blood_volume)                                                 \
  X(external_deficit, "g", "All water lost less all water gained, by every route",                 \
    body_loss(x) - x[oxidation_water] - g.water)                                                   \
  X(charted_deficit, "g", "What a fluid chart shows: urine, drainage and blood out less fluids in", \
    x[urine] + x[gastric_drainage] + x[blood_loss] - g.volume[0] - g.volume[1] - g.volume[2] -     \
        g.volume[3])                                                                               \
  X(third_space, "g", "Water gained by bowel wall, lumen and surface since birth",                 \
    x[wall_water] + x[lumen_water] + x[surface_water] - x0[wall_water] - x0[lumen_water] -         \
        x0[surface_water])                                                                         \
  X(weight_change, "g",                                                                            \
    "Change of weight since birth by water lost and given (that of oxidation was substrate)",      \
    g.water - body_loss(x))                                                                        \
  /* blood */                                                                                      \
  X(haematocrit, "1", "Haematocrit", m.blood.haematocrit)                                          \
  X(plasma_sodium, "mmol/L", "Plasma sodium", m.sodium * p.plasma_water_fraction)                  \
  X(exchangeable_cations, "mmol/L", "Exchangeable sodium and potassium per litre of body water",   \
    (1000.0 * sodium(x) + b.cell_osmoles) / body_water(x))                                                  \
  X(plasma_chloride, "mmol/L", "Plasma chloride", m.chloride * p.plasma_water_fraction)            \
  X(plasma_protein, "g/L", "Plasma protein", m.plasma_protein)                                     \
  X(oncotic_pressure, "mmHg", "Colloid osmotic pressure of the plasma",                            \
    physics::oncotic_pressure(m.plasma_protein))                                                   \
  X(urine_flow, "mL/kg/h", "Urine flow", m.kidney.urine / b.weight)                                \
  X(urine_osmolality, "mmol/L", "Urine osmolality", m.kidney.urine_osmolality)                     \
  X(filtration_rate, "mL/kg/min", "Glomerular filtration", m.kidney.filtration / b.weight / 0.06)  \
  X(urine_sodium, "mmol", "Sodium in the urine", x[urine_sodium])                                  \
  X(protein_escape, "1/h", "Share of the plasma's protein that leaves the capillaries",            \
    (m.body.protein_out + m.wall.protein_out) / x[plasma_protein])                                 \
  /* circulation */                                                                                \
  X(heart_rate, "1/min", "Heart rate (weak evidence in newborns)", m.blood.heart_rate)             \
  X(arterial_pressure, "mmHg", "Mean arterial pressure", m.blood.arterial_pressure)                \
  X(cardiac_output, "mL/kg/min", "Left-ventricular output", m.blood.cardiac_output)                \
  X(relative_output, "1", "Cardiac output against rest at this age", m.blood.relative_output)      \
  X(filling_pressure, "mmHg", "Atrial pressure", m.blood.atrial_pressure)                          \
  X(mesenteric_flow, "1", "Mesenteric blood flow against rest", m.mesenteric_flow)                 \
  X(congestion, "mmHg", "Rise of venous pressure in the bowel", m.congestion)                      \
  X(wall_pressure, "mmHg", "Interstitial pressure of the bowel wall", m.wall.tissue_pressure)      \
  X(body_lymph, "mL/kg/h", "Lymph flow of the body without the bowel", m.body.lymph / b.weight)    \
  X(wall_lymph, "mL/kg/h", "Lymph flow of the bowel wall", m.wall.lymph / b.weight)                \
  X(capillary_pressure, "mmHg", "Capillary pressure of the body", m.body.capillary_pressure)       \
  X(wall_capillary_pressure, "mmHg", "Capillary pressure of the bowel wall",                       \
    m.wall.capillary_pressure)                                                                     \
  X(interstitial_pressure, "mmHg", "Interstitial pressure of the body", m.body.tissue_pressure)    \
  X(interstitial_protein, "g/L", "Protein of the fluid between the cells", m.body.tissue_protein)  \
  X(wall_protein, "g/L", "Protein of the bowel wall's fluid, and so of its lymph",                 \
    m.wall.tissue_protein)                                                                         \
  /* temperatures */                                                                               \
  X(core_temperature, "degC", "Core temperature", m.temperature.core)                              \
  X(skin_temperature, "degC", "Skin temperature", m.temperature.skin)                              \
  X(bowel_temperature, "degC", "Bowel temperature", m.temperature.bowel)                           \
  X(mattress_temperature, "degC", "Mattress temperature", m.temperature.mattress)                  \
  X(film_temperature, "degC", "Temperature of the film, of the bowel when there is none",          \
    m.bowel.film_temperature)                                                                      \
  /* flows at this moment */                                                                       \
  X(bowel_flux, "g/m2/h", "Evaporation per exposed bowel area", m.bowel.flux)                      \
  X(bowel_heat_flux, "W/m2", "Heat lost per m2 of the packed bowel, warmer left out",              \
    (m.bowel.convection + m.bowel.radiation + m.bowel.latent) / b.packed_area)                     \
  X(skin_convection, "W/m2/K", "Convective coefficient at the skin", m.skin.coefficient)           \
  X(skin_dry_flux, "W/m2", "Dry heat lost per skin surface, warmer left out",                      \
    (m.skin.convection + m.skin.radiation) / b.surface)                                            \
  X(skin_saturation, "kPa", "Saturation pressure at the skin temperature",                         \
    physics::saturation_pressure(m.temperature.skin))                                              \
  X(lewis_coefficient, "K/kPa", "Evaporative against convective coefficient at the skin",          \
    physics::lewis_coefficient(m.temperature.skin, s.controls.air_pressure))                       \
  X(ventilation, "mL/kg/min", "Minute ventilation",                                                \
    m.metabolism.oxygen * p.ventilation_per_oxygen / b.weight)                                     \
  X(skin_flux, "g/m2/h", "Evaporation of body water per skin surface open to the air",             \
    m.skin.loss / (b.surface * (p.head_share + p.upper_share + p.lower_share)))                    \
  X(airway_flow, "mg/kg/min", "Water lost with the breath",                                        \
    m.metabolism.airway_water / b.weight / 0.06)                                                   \
  X(oxygen_uptake, "mL/kg/min", "Oxygen uptake", m.metabolism.oxygen / b.weight)                   \
  X(irradiance, "W/m2", "What the warmer gives at the mattress", m.air.irradiance)                 \
  /* what the fluids bring */                                                                      \
  X(sodium_given, "mmol/kg", "Sodium given", g.sodium / b.weight)                                  \
  X(chloride_given, "mmol/kg", "Chloride given", g.chloride / b.weight)                            \
  X(protein_given, "g/kg", "Protein given", g.protein / b.weight)                                  \
  X(glucose_rate, "mg/kg/min", "Glucose that runs in now", glucose_rate / b.weight / 0.06)         \
  /* heat, since the start */                                                                      \
  X(metabolic_heat, "J", "Heat made by metabolism", x[metabolic_heat])                             \
  X(warmer_heat, "J", "Heat absorbed from the warmer", x[warmer_heat])                             \
  X(convection_heat, "J", "Heat lost by convection", x[convection_heat])                           \
  X(radiation_heat, "J", "Heat lost by long-wave radiation", x[radiation_heat])                    \
  X(evaporation_heat, "J", "Heat lost by evaporation", x[evaporation_heat])                        \
  X(conduction_heat, "J", "Heat passed to the mattress", x[conduction_heat])                       \
  X(airway_heat, "J", "Heat lost with the breath", x[airway_heat])                                 \
  /* accounts: what is there less what should be */                                                \
  X(water_unaccounted, "g", "Water of the body that no route explains",                            \
    body_water(x) - body_water(x0) - g.water - x[oxidation_water] + body_loss(x))                  \
  X(dressing_unaccounted, "g", "Dressing water that no route explains",                            \
    x[dressing_water] - g.dressing_water + x[dressing_evaporation] + x[dressing_drip])             \
  X(wetness_unaccounted, "g", "Amniotic fluid that no route explains",                             \
    wetness(x) - wetness(x0) + x[amniotic_evaporation] + g.towelled)                               \
  X(sodium_unaccounted, "mmol", "Sodium that no route explains",                                   \
    sodium(x) - sodium(x0) - g.sodium - g.dressing_sodium + x[urine_sodium] +                      \
        x[gastric_drainage_sodium] + x[drip_sodium] + x[blood_loss_sodium])                        \
  X(chloride_unaccounted, "mmol", "Chloride that no route explains",                               \
    chloride(x) - chloride(x0) - g.chloride - g.dressing_chloride + x[urine_chloride] +            \
        x[gastric_drainage_chloride] + x[drip_chloride] + x[blood_loss_chloride])                  \
  X(protein_unaccounted, "g", "Protein that no route explains",                                    \
    protein(x) - protein(x0) - g.protein + x[drip_protein] + x[blood_loss_protein])                \
  X(heat_unaccounted, "J", "Heat that no route explains",                                          \
    heat(x) - heat(x0) - g.heat - g.dressing_heat - x[metabolic_heat] - x[warmer_heat] -           \
        x[mattress_gain] + x[convection_heat] + x[radiation_heat] + x[evaporation_heat] +          \
        x[airway_heat] + x[outflow_heat] - x[held_heat])
// clang-format on

namespace serosa::simulate {

namespace output {
enum Index : std::size_t {
#define SEROSA_INDEX(name, unit, text, formula) name,
  SEROSA_OUTPUTS(SEROSA_INDEX)
#undef SEROSA_INDEX
      count
};
}  // namespace output

struct OutputInfo {
  std::string_view name;
  std::string_view unit;
  std::string_view meaning;
};

inline constexpr std::array<OutputInfo, output::count> output_list{{
#define SEROSA_INFO(name, unit, text, formula) {#name, unit, text},
    SEROSA_OUTPUTS(SEROSA_INFO)
#undef SEROSA_INFO
}};

/// Sums over the state that the accounts need.
namespace account {
using namespace baby::state;
template <class Real>
Real body_water(const baby::State<Real>& x) {
  return baby::core_water(x) + x[wall_water] + x[lumen_water] + x[surface_water];
}
using baby::body_loss;
template <class Real>
Real wetness(const baby::State<Real>& x) {
  return x[head_wetness] + x[upper_wetness] + x[lower_wetness];
}
template <class Real>
Real sodium(const baby::State<Real>& x) {
  return x[extracellular_sodium] + x[stomach_sodium] + x[lumen_sodium] + x[surface_sodium] +
         x[dressing_sodium];
}
template <class Real>
Real chloride(const baby::State<Real>& x) {
  return x[extracellular_chloride] + x[stomach_chloride] + x[lumen_chloride] + x[surface_chloride] +
         x[dressing_chloride];
}
template <class Real>
Real protein(const baby::State<Real>& x) {
  return x[plasma_protein] + x[interstitial_protein] + x[wall_protein] + x[surface_protein];
}
template <class Real>
Real heat(const baby::State<Real>& x) {
  return x[core_heat] + x[skin_heat] + x[bowel_heat] + x[mattress_heat];
}
}  // namespace account

/// All outputs at one time. Real is a scalar.
/// @param k    `baby::settled(s)`
/// @param out  `output::count` numbers in the order of `output_list`
template <class Real>
void observe(const Real& t, const baby::State<Real>& x, const baby::State<Real>& x0,
             const baby::Subject<Real>& s, const baby::Settled<Real>& k, const care::Given<Real>& g,
             const Real& glucose_rate, Real* out) {
  using namespace account;
  const auto& p = s.parameters;
  const auto& b = s.body;
  const baby::Moment<Real> m = baby::moment(t, x, s, k);
#define SEROSA_FORMULA(name, unit, text, formula) *out++ = formula;
  SEROSA_OUTPUTS(SEROSA_FORMULA)
#undef SEROSA_FORMULA
}

/// The same, settling first.
template <class Real>
void observe(const Real& t, const baby::State<Real>& x, const baby::State<Real>& x0,
             const baby::Subject<Real>& s, const care::Given<Real>& g, const Real& glucose_rate,
             Real* out) {
  observe(t, x, x0, s, baby::settled(s), g, glucose_rate, out);
}

}  // namespace serosa::simulate
