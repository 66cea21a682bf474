// SPDX-License-Identifier: Apache-2.0
// The numbers of a case, by place: how a study sets inputs of a copied case without reading a file.
#pragma once
#include <cstddef>
#include <vector>

#include "care/case.hpp"

namespace serosa::study {

/// Where a number stands: which act of the timeline (`of_case` for the baby, the room and the
/// rest), and the how manieth number of it.
struct Place {
  static constexpr std::size_t of_case = static_cast<std::size_t>(-1);
  std::size_t act = of_case;
  std::size_t number = 0;
  double factor = 1;  ///< what is stored per unit of the input

  bool operator==(const Place&) const = default;
};

/// All numbers of a case outside its timeline, always in the same order.
std::vector<double*> numbers(care::Case& c);

/// All numbers of an act, its time first; an act of the same kind has them in the same order.
std::vector<double*> numbers(care::Act& act);

/// Sets one number. Throws std::out_of_range for a place that is not there.
void set_number(care::Case& c, const Place& place, double value);

/// After times were set: sorts the timeline (equal times keep their order) and tells the baby when
/// its cord is clamped, as a reader of case files does.
void put_in_order(care::Case& c);

}  // namespace serosa::study
