// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstdint>
#include <cstring>
#include <tuple>

#include "physics/real/functions.hpp"
#include "stores.hpp"

namespace serosa::simulate::test {

/// One number from the bits of every function of the number types at many arguments, eight of them
/// at a time in lanes of R or one by one (FNV-1a, 64 bits). A NaN counts as a NaN whatever its
/// bits.
template <Real R>
std::uint64_t hash_of_every_function() {
  std::uint64_t hash = 14695981039346656037u;
  const auto one_function = [&]<class F>(F) {
    Draw draw(17);
    for (int n = 0; n < 2000; ++n) {
      double x[8], y[8];
      for (double& value : x) value = draw(F::range.from, F::range.to);
      for (int first = 0; first < 8; first += physics::lanes<R>) {
        R argument(0.0);
        for (int l = 0; l < physics::lanes<R>; ++l) physics::set_lane(argument, l, x[first + l]);
        const R result = F::at(argument);
        for (int l = 0; l < physics::lanes<R>; ++l) y[first + l] = physics::value_of(result, l);
      }
      for (const double value : y) {
        std::uint64_t bits = 0;
        if (!std::isnan(value)) std::memcpy(&bits, &value, sizeof bits);
        hash = (hash ^ bits) * 1099511628211u;
      }
    }
  };
  std::apply([&](auto... functions) { (one_function(functions), ...); },
             physics::test::Everything{});
  return hash;
}

}  // namespace serosa::simulate::test
