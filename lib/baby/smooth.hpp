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

/// For ratios that are 1 at rest and may not fall below 0: 1 at 1 to rounding, about x where x ≫
/// width, towards 0 where x ≪ −width, smooth everywhere.
template <class Real>
SEROSA_INLINE Real kept_positive(const Real& x, double width) {
  const double scale = 1.0 / (1.0 + std::sqrt(1.0 + width * width));
  return (x + physics::sqrt(x * x + width * width)) * scale;
}

/// x² / (x + onset) above 0, else 0: nothing at rest, then rising, a straight line far above onset.
template <class Real>
SEROSA_INLINE Real rising_from_rest(const Real& x, const Real& onset) {
  const Real above = physics::max(x, Real(0.0));
  return above * above / (above + onset);
}

/// A flow that is 1 at x = 0 and climbs to `ceiling` over about one: logistic.
template <class Real>
SEROSA_INLINE Real climbing(const Real& x, const Real& ceiling) {
  return ceiling / (1.0 + (ceiling - 1.0) * physics::exp(-x));
}

/// Share of an area that fluid spread unevenly keeps wet: 1 − e^(−amount), the amount against what
/// wets the area about once.
template <class Real>
SEROSA_INLINE Real wetted(const Real& amount) {
  return 1.0 - physics::exp(-amount);
}

}  // namespace serosa::baby
