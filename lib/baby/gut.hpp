// SPDX-License-Identifier: Apache-2.0
// Stomach, bowel lumen and the gas that distends them.
#pragma once
#include "baby/settled.hpp"

namespace serosa::baby {

/// Flows in mL/h, gas in 1/h.
template <class Real>
struct Gut {
  Real gastric_secretion;
  Real passage;     ///< stomach to bowel
  Real absorption;  ///< lumen to blood, of what exceeds the contents at birth
  Real reflux;      ///< lumen to stomach
  Real drainage;    ///< out of the stomach by a tube on free drainage
  Real gas_change;
};

/// @param relative_pressure  arterial pressure against rest; secretion fails with it
template <class Real>
SEROSA_INLINE Gut<Real> gut(const State<Real>& x, const Real& relative_pressure,
                            const Subject<Real>& s) {
  const auto& [p, b, c] = s;
  Gut<Real> g;
  const Real excess = physics::max(Real(x[state::lumen_water] - b.lumen_water), Real(0.0));
  constexpr double failing = 0.1;  // share of the resting pressure at which half is left
  g.gastric_secretion = c.born * c.stomach_secretes * p.gastric_secretion * b.weight *
                        ((1.0 + failing) * relative_pressure / (relative_pressure + failing));
  g.passage = c.born * p.gastric_passage * b.motility * x[state::stomach_water];
  g.absorption = c.born * p.lumen_absorption * b.motility * excess;
  g.reflux = c.born * p.lumen_reflux * excess;
  g.drainage = c.born * c.free_drainage * p.free_drainage_rate * x[state::stomach_water];
  g.gas_change = c.born * (c.gas_entry * (1.0 - x[state::bowel_gas]) -
                           c.free_drainage * p.gas_venting_rate * x[state::bowel_gas]);
  return g;
}

}  // namespace serosa::baby
