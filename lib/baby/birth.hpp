// SPDX-License-Identifier: Apache-2.0
#pragma once
#include "baby/subject.hpp"

namespace serosa::baby {

/// The state at the moment a run begins: the baby as at birth, the mattress at the room's
/// temperature. Real is a scalar: double or Dual.
/// @param skin_wet  true for a baby with amniotic fluid on the skin and free fluid on the bowel
template <class Real>
State<Real> birth_state(const Subject<Real>& s, bool skin_wet = true) {
  using namespace state;
  const auto& [p, b, c] = s;
  State<Real> x;
  x.fill(Real(0.0));
  x[plasma_water] = b.plasma_water;
  x[red_cell_water] = b.red_cell_water;
  x[interstitial_water] = b.interstitial_water;
  x[cell_water] = b.cell_water;
  x[wall_water] = b.wall_water;
  x[stomach_water] = b.stomach_water;
  x[lumen_water] = b.lumen_water;
  const Real wet(skin_wet ? 1.0 : 0.0);
  x[surface_water] = wet * p.surface_fluid_at_birth * b.spread_area * c.exposed_fraction;
  x[head_wetness] = wet * p.amniotic_film * p.head_share * b.surface;
  x[upper_wetness] = wet * p.amniotic_film * p.upper_share * b.surface;
  x[lower_wetness] = wet * p.amniotic_film * p.lower_share * b.surface;

  const Real sodium = b.sodium / p.plasma_water_fraction * 1e-3;  // mmol per g of water
  const Real chloride = p.plasma_chloride_at_birth / p.plasma_water_fraction * 1e-3;
  const Real extracellular = b.plasma_water + b.interstitial_water + b.wall_water;
  x[extracellular_sodium] = sodium * extracellular;
  x[extracellular_chloride] = chloride * extracellular;
  x[stomach_sodium] = 1e-3 * p.gastric_sodium * x[stomach_water];
  x[stomach_chloride] = 1e-3 * p.gastric_chloride * x[stomach_water];
  x[lumen_sodium] = 1e-3 * p.lumen_sodium_at_birth * x[lumen_water];
  x[lumen_chloride] = 1e-3 * p.lumen_chloride_at_birth * x[lumen_water];
  x[surface_sodium] = sodium * x[surface_water];
  x[surface_chloride] = chloride * x[surface_water];

  const Real protein = 1e-3 * b.protein;  // g/mL of plasma
  x[plasma_protein] = protein * b.plasma_water / p.plasma_water_fraction;
  x[interstitial_protein] = protein * p.interstitial_protein_ratio * b.interstitial_water;
  x[wall_protein] = protein * p.wall_protein_ratio * b.wall_water;

  const Real extra = p.specific_heat_water * x[surface_water];
  x[core_heat] = b.core_capacity * b.core_temperature;
  x[skin_heat] = b.skin_capacity * b.skin_temperature;
  x[bowel_heat] = (b.bowel_capacity + extra) * b.bowel_temperature;
  x[mattress_heat] = b.mattress_capacity * c.air_temperature;
  x[antidiuretic_signal] = p.antidiuretic_birth_stress;
  return x;
}

}  // namespace serosa::baby
