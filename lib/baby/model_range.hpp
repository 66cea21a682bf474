// SPDX-License-Identifier: Apache-2.0
// How far the model can speak: beyond it a run ends, by the name of the state that left.
#pragma once
#include "baby/heat.hpp"

namespace serosa::baby {

/// The state by which the newborn has left what the model can speak of, or `state::count`: core
/// temperature, blood volume, plasma protein (the curve of oncotic pressure was measured to about
/// 120 g/L), plasma sodium, haematocrit, and tissues drained of their water. The limits are
/// parameters (`model_…`).
template <class Real>
state::Index leaving_by(const State<Real>& x, const Subject<Real>& s) {
  const auto& p = s.parameters;
  const auto& b = s.body;
  const Real plasma = x[state::plasma_water] / p.plasma_water_fraction;
  const Real red_cells = x[state::red_cell_water] / p.red_cell_water_fraction;
  const Real extracellular =
      x[state::plasma_water] + x[state::interstitial_water] + x[state::wall_water];
  const Real sodium = 1000.0 * x[state::extracellular_sodium] * p.plasma_water_fraction;
  const Real core = temperatures(x, s).core;
  if (core < p.model_core_lowest || core > p.model_core_highest) return state::core_heat;
  if (plasma + red_cells < p.model_blood_lowest * b.normal_blood_volume) return state::plasma_water;
  if (red_cells > p.model_haematocrit_highest * (plasma + red_cells)) return state::red_cell_water;
  if (1000.0 * x[state::plasma_protein] > p.model_protein_highest * plasma)
    return state::plasma_protein;
  if (sodium < p.model_sodium_lowest * extracellular ||
      sodium > p.model_sodium_highest * extracellular)
    return state::extracellular_sodium;
  if (x[state::interstitial_water] < p.model_tissue_water_lowest * b.interstitial_water)
    return state::interstitial_water;
  if (x[state::wall_water] < p.model_tissue_water_lowest * b.wall_water) return state::wall_water;
  return state::count;
}

}  // namespace serosa::baby
