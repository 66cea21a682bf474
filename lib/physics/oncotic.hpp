// SPDX-License-Identifier: Apache-2.0
#pragma once
// Colloid osmotic pressure, mmHg at 37 °C, of protein in g/L of plasma or tissue fluid.
#include "physics/real/real.hpp"

namespace serosa::physics {

namespace landis_pappenheimer {
/// Coefficients of π = a C + b C² + c C³, C in g/dL.
struct Form {
  double linear, square, cube;
};
inline constexpr Form total_protein{2.1, 0.16, 0.009};  ///< as quoted by Mullins et al. 1983
inline constexpr Form albumin{2.8, 0.18, 0.012};        ///< handbook chapter, from memory
inline constexpr Form globulin{1.6, 0.15, 0.006};       ///< handbook chapter, from memory
}  // namespace landis_pappenheimer

/// Oncotic pressure, mmHg, of `protein` g/L. Landis & Pappenheimer, Handbook of Physiology
/// (Circulation II) 1963; total-protein form as quoted by Mullins et al., Am J Clin Pathol
/// 1983;80:170. 0–100 g/L, 37 °C, plasma with an ordinary albumin share; a polynomial, smooth and
/// rising everywhere above zero.
SEROSA_INLINE Real auto oncotic_pressure(
    const Real auto& protein,
    const landis_pappenheimer::Form& form = landis_pappenheimer::total_protein) {
  const auto c = protein * 0.1;
  return c * (form.linear + c * (form.square + c * form.cube));
}

}  // namespace serosa::physics
