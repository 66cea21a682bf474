// SPDX-License-Identifier: Apache-2.0
// The compartments: one list gives the index, the name, the unit and the tolerance of every state.
#pragma once
#include <array>
#include <cstddef>
#include <string_view>

// X(name, unit, absolute tolerance in that unit, what it is)
// Stores are fed back into the rates. Water is water, not volume; 1 g = 1 mL.
#define SEROSA_STORES(X)                                                                       \
  X(plasma_water, "g", 1e-3, "Water of the plasma")                                            \
  X(red_cell_water, "g", 1e-3, "Water of the red cells")                                       \
  X(interstitial_water, "g", 1e-3, "Water between the cells of the body, bowel wall left out") \
  X(cell_water, "g", 1e-3, "Water of the cells")                                               \
  X(wall_water, "g", 1e-4, "Interstitial water of the herniated bowel's wall")                 \
  X(stomach_water, "g", 1e-4, "Fluid in the stomach")                                          \
  X(lumen_water, "g", 1e-4, "Fluid in the herniated bowel's lumen")                            \
  X(surface_water, "g", 1e-4, "Free fluid on the bowel's serosa, in the wrap or bag")          \
  X(dressing_water, "g", 1e-4, "Water held by a soaked dressing")                              \
  X(head_wetness, "g", 1e-4, "Amniotic fluid on the skin of the head")                         \
  X(upper_wetness, "g", 1e-4, "Amniotic fluid on the skin above the axillae")                  \
  X(lower_wetness, "g", 1e-4, "Amniotic fluid on the skin below the axillae")                  \
  X(extracellular_sodium, "mmol", 1e-4, "Sodium of plasma, interstitium and bowel wall")       \
  X(stomach_sodium, "mmol", 1e-5, "Sodium in the stomach")                                     \
  X(lumen_sodium, "mmol", 1e-5, "Sodium in the bowel's lumen")                                 \
  X(surface_sodium, "mmol", 1e-5, "Sodium of the fluid on the serosa")                         \
  X(dressing_sodium, "mmol", 1e-5, "Sodium of the dressing")                                   \
  X(extracellular_chloride, "mmol", 1e-4, "Chloride of plasma, interstitium and bowel wall")   \
  X(stomach_chloride, "mmol", 1e-5, "Chloride in the stomach")                                 \
  X(lumen_chloride, "mmol", 1e-5, "Chloride in the bowel's lumen")                             \
  X(surface_chloride, "mmol", 1e-5, "Chloride of the fluid on the serosa")                     \
  X(dressing_chloride, "mmol", 1e-5, "Chloride of the dressing")                               \
  X(plasma_protein, "g", 1e-5, "Protein of the plasma")                                        \
  X(interstitial_protein, "g", 1e-5, "Protein between the cells")                              \
  X(wall_protein, "g", 1e-6, "Protein between the cells of the bowel wall")                    \
  X(surface_protein, "g", 1e-6, "Protein of the fluid on the serosa")                          \
  X(core_heat, "J", 1.0, "Heat content of the core, above 0 degC")                             \
  X(skin_heat, "J", 1.0, "Heat content of the skin shell, above 0 degC")                       \
  X(bowel_heat, "J", 0.1, "Heat content of the herniated bowel, above 0 degC")                 \
  X(mattress_heat, "J", 0.1, "Heat content of the mattress surface, above 0 degC")             \
  X(antidiuretic_signal, "1", 1e-5, "Antidiuretic signal, 0 none to 1 full")                   \
  X(bowel_gas, "1", 1e-5, "Gas that distends stomach and bowel, 0 none to 1 full")             \
  X(bowel_exposure, "h", 1e-5, "Hours of exposure and handling of the bowel")

// Ledgers only count what crossed the baby's border (or the dressing's); nothing reads them back.
// Those of fluids given are exact sums kept by the timeline.
#define SEROSA_LEDGERS(X)                                                                 \
  X(skin_loss, "g", 1e-3, "Water lost through the dry skin, sweat included")              \
  X(amniotic_evaporation, "g", 1e-3, "Amniotic fluid evaporated from the skin")           \
  X(bowel_evaporation, "g", 1e-3, "Body water evaporated from the bowel")                 \
  X(dressing_evaporation, "g", 1e-3, "Dressing water evaporated")                         \
  X(airway_loss, "g", 1e-3, "Water lost with the breath")                                 \
  X(urine, "g", 1e-3, "Urine")                                                            \
  X(gastric_drainage, "g", 1e-3, "Fluid drained from the stomach")                        \
  X(bowel_drip, "g", 1e-3, "Fluid that dripped from the bowel")                           \
  X(dressing_drip, "g", 1e-3, "Fluid that dripped from the dressing")                     \
  X(blood_loss, "g", 1e-3, "Water of blood lost or sampled")                              \
  X(oxidation_water, "g", 1e-3, "Water made by oxidation")                                \
  X(urine_sodium, "mmol", 1e-4, "Sodium in the urine")                                    \
  X(gastric_drainage_sodium, "mmol", 1e-4, "Sodium drained from the stomach")             \
  X(drip_sodium, "mmol", 1e-4, "Sodium that dripped from bowel and dressing")             \
  X(blood_loss_sodium, "mmol", 1e-4, "Sodium of blood lost or sampled")                   \
  X(urine_chloride, "mmol", 1e-4, "Chloride in the urine")                                \
  X(gastric_drainage_chloride, "mmol", 1e-4, "Chloride drained from the stomach")         \
  X(drip_chloride, "mmol", 1e-4, "Chloride that dripped from bowel and dressing")         \
  X(blood_loss_chloride, "mmol", 1e-4, "Chloride of blood lost or sampled")               \
  X(drip_protein, "g", 1e-4, "Protein that dripped from the bowel")                       \
  X(blood_loss_protein, "g", 1e-4, "Protein of blood lost or sampled")                    \
  X(metabolic_heat, "J", 1.0, "Heat made by metabolism")                                  \
  X(warmer_heat, "J", 1.0, "Heat absorbed from the warmer")                               \
  X(convection_heat, "J", 1.0, "Heat the baby lost to the air by convection")             \
  X(radiation_heat, "J", 1.0, "Heat lost to the walls by long-wave radiation")            \
  X(evaporation_heat, "J", 1.0, "Heat lost by evaporation from skin, bowel and dressing") \
  X(conduction_heat, "J", 1.0, "Heat passed from the skin to the mattress")               \
  X(mattress_gain, "J", 1.0, "Heat the mattress took from warmer and room")               \
  X(airway_heat, "J", 1.0, "Heat lost with the breath")                                   \
  X(outflow_heat, "J", 1.0, "Heat carried away by urine, drainage, drip and blood")       \
  X(held_heat, "J", 1.0, "Heat that holding a temperature put in, in experiments")

namespace serosa::baby {

namespace state {
enum Index : std::size_t {
#define SEROSA_INDEX(name, unit, tolerance, text) name,
  SEROSA_STORES(SEROSA_INDEX) SEROSA_LEDGERS(SEROSA_INDEX)
#undef SEROSA_INDEX
      count
};
#define SEROSA_ONE(name, unit, tolerance, text) +1
/// Number of states that are fed back; ledgers follow them.
inline constexpr std::size_t stores = 0 SEROSA_STORES(SEROSA_ONE);
#undef SEROSA_ONE
}  // namespace state

/// The state vector, states in the order of the list.
template <class Real>
using State = std::array<Real, state::count>;

/// All body water lost, oxidation left out, g.
template <class Real>
Real body_loss(const State<Real>& x) {
  using namespace state;
  return x[skin_loss] + x[bowel_evaporation] + x[airway_loss] + x[urine] + x[gastric_drainage] +
         x[bowel_drip] + x[blood_loss];
}

struct StateInfo {
  std::string_view name;
  std::string_view unit;
  double absolute_tolerance;  ///< in that unit
  std::string_view meaning;
};

inline constexpr std::array<StateInfo, state::count> state_list{{
#define SEROSA_INFO(name, unit, tolerance, text) {#name, unit, tolerance, text},
    SEROSA_STORES(SEROSA_INFO) SEROSA_LEDGERS(SEROSA_INFO)
#undef SEROSA_INFO
}};

}  // namespace serosa::baby
