// SPDX-License-Identifier: Apache-2.0
// The numbers of a case, by place: how a study sets inputs of a copied case without reading a file.
#pragma once
#include <cstddef>
#include <span>
#include <vector>

#include "care/carried.hpp"
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

/// Where one number stands. Throws std::out_of_range for a place that is not there.
const double& number(const care::Case& c, const Place& place);

/// Lets a number of the case that is run carry the derivative along `direction`. Real is a dual
/// number.
template <class Real>
void carry(const care::Case& c, const Place& place, std::size_t direction,
           care::Carried<Real>& carried) {
  const double& plain = number(c, place);
  Real value(plain);
  value.slope[direction] = place.factor;
  carried.add(&plain, value);
}

/// Sets one number. Throws std::out_of_range for a place that is not there.
void set_number(care::Case& c, const Place& place, double value);

/// After times were set: sorts the timeline (equal times keep their order) and tells the baby when
/// its cord is clamped, as a reader of case files does.
void put_in_order(care::Case& c);

/// An hour at which a run stops, and by how much it moves per unit of an input.
struct Stop {
  double hour;
  double moves;
};

/// The stops of a case, as far as they are known before it runs: the birth, the acts, the ends of
/// what takes time, the hours of gastric replacement, the looks of a protocol.
/// @param places  the numbers that follow the input
std::vector<Stop> stops(const care::Case& c, std::span<const Place> places);

/// Stops closer than this are one, h.
inline constexpr double same_hour = 1e-9;

/// True when two stops that share an hour move differently: then no slope exists.
bool torn_apart(std::vector<Stop> stops);

}  // namespace serosa::study
