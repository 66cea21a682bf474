// SPDX-License-Identifier: Apache-2.0
// Smooth forms of the corners that physiology draws.
#pragma once
#include <cmath>

#include "physics/real/real.hpp"

namespace serosa::baby {

/// 1 / (1 + e^(−x))
template <class Real>
SEROSA_INLINE Real logistic(const Real& x) {
  return 1.0 / (1.0 + physics::exp(-x));
}

/// For ratios that are 1 at rest and may not fall below 0: exactly 1 at 1, about x where x ≫ width,
/// towards 0 where x ≪ −width, smooth everywhere.
template <class Real>
SEROSA_INLINE Real kept_positive(const Real& x, double width) {
  return (x + physics::sqrt(x * x + width * width)) / (1.0 + std::sqrt(1.0 + width * width));
}

/// x² / (x + onset) above 0, else 0: nothing at rest, then rising, a straight line far above onset.
template <class Real>
SEROSA_INLINE Real rising_from_rest(const Real& x, const Real& onset) {
  const Real above = physics::max(x, Real(0.0));
  return above * above / (above + onset);
}

/// A flow that is 1 at x = 0 and climbs to `ceiling` over about `scale`: logistic.
template <class Real>
SEROSA_INLINE Real climbing(const Real& x, const Real& scale, const Real& ceiling) {
  return ceiling / (1.0 + (ceiling - 1.0) * physics::exp(-x / scale));
}

/// Share of an area that `amount` (g per m², spread unevenly) keeps wet: 1 − e^(−amount/scale).
template <class Real>
SEROSA_INLINE Real wetted(const Real& amount, const Real& area, const Real& scale) {
  return 1.0 - physics::exp(-amount / (area * scale));
}

}  // namespace serosa::baby
