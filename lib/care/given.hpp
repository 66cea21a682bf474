// SPDX-License-Identifier: Apache-2.0
#pragma once
#include <array>

#include "care/case.hpp"

namespace serosa::care {

/// What was put into the baby (or onto it) so far: exact sums, not integrated.
template <class Real>
struct Given {
  std::array<Real, purposes> volume{};  ///< mL by purpose
  Real boluses{0.0};                    ///< begun
  Real water{0.0};                      ///< g, red cells' water included
  Real sodium{0.0};                     ///< mmol
  Real chloride{0.0};                   ///< mmol
  Real protein{0.0};                    ///< g
  Real glucose{0.0};                    ///< g
  Real heat{0.0};                       ///< J
  Real dressing_water{0.0};             ///< g put on with dressings, less what was taken off
  Real dressing_sodium{0.0};            ///< mmol
  Real dressing_chloride{0.0};          ///< mmol
  Real dressing_heat{0.0};              ///< J
  Real towelled{0.0};                   ///< g of amniotic fluid wiped off
};

}  // namespace serosa::care
