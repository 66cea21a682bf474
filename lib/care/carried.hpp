// SPDX-License-Identifier: Apache-2.0
// Numbers of a case that carry derivatives, beside the plain case.
#pragma once
#include <type_traits>
#include <utility>
#include <vector>

namespace serosa::care {

/// What the carer reads a number of a case through. A case holds plain numbers; where one of them
/// (a rate, a seal, the humidity of a room) carries derivatives, this knows it by where it stands
/// in the case that is run. With Real = double every number is just itself.
template <class Real>
class Carried {
 public:
  /// @param place  the number in the case that will be run; must outlive the run
  void add(const double* place, const Real& value) { values_.emplace_back(place, value); }

  Real operator()(const double& number) const {
    if constexpr (!std::is_same_v<Real, double>)
      for (const auto& [place, value] : values_)
        if (place == &number) return value;
    return Real(number);
  }

 private:
  std::vector<std::pair<const double*, Real>> values_;
};

}  // namespace serosa::care
