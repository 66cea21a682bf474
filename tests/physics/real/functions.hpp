// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <string>
#include <tuple>

#include "physics/real/real.hpp"

/// The one list of functions that every test of the number types walks through.
namespace serosa::physics::test {

struct Range {
  double from, to;
};

// Each entry: the function on any Real, the same in 80-bit arithmetic, where it is tried, how many
// units in the last place it may err: the docstring's bound, for powers at the end of the range.
#define SEROSA_ONE_ARGUMENT(NAME, CALL, EXACT, FROM, TO, ULP) \
  struct NAME {                                               \
    static constexpr const char* name = #NAME;                \
    static constexpr Range range{FROM, TO};                   \
    static constexpr double ulp = ULP;                        \
    template <class R>                                        \
    static R at(const R& x) {                                 \
      return CALL;                                            \
    }                                                         \
    static long double exact(long double x) { return EXACT; } \
  };
SEROSA_ONE_ARGUMENT(Exp, exp(x), std::exp(x), -700.0, 709.0, 1.0)
SEROSA_ONE_ARGUMENT(ExpNearZero, exp(x), std::exp(x), -1.0, 1.0, 1.0)
SEROSA_ONE_ARGUMENT(Expm1, expm1(x), std::expm1(x), -30.0, 700.0, 2.0)
SEROSA_ONE_ARGUMENT(Expm1NearZero, expm1(x), std::expm1(x), -1.0, 1.0, 2.0)
SEROSA_ONE_ARGUMENT(Log, log(x), std::log(x), 1e-300, 1e3, 1.0)
SEROSA_ONE_ARGUMENT(LogNearOne, log(x), std::log(x), 0.5, 2.0, 1.0)
SEROSA_ONE_ARGUMENT(Log1p, log1p(x), std::log1p(x), -0.99, 1e3, 2.0)
SEROSA_ONE_ARGUMENT(Log1pNearZero, log1p(x), std::log1p(x), -1e-3, 1e-3, 2.0)
SEROSA_ONE_ARGUMENT(Tanh, tanh(x), std::tanh(x), -25.0, 25.0, 3.0)
SEROSA_ONE_ARGUMENT(TanhNearZero, tanh(x), std::tanh(x), -0.5, 0.5, 3.0)
SEROSA_ONE_ARGUMENT(Sqrt, sqrt(x), std::sqrt(x), 1e-3, 1e6, 0.5)
SEROSA_ONE_ARGUMENT(Cbrt, cbrt(x), std::cbrt(x), -1e6, 1e6, 12.2)
SEROSA_ONE_ARGUMENT(Abs, abs(x), std::fabs(x), -10.0, 10.0, 0.0)
SEROSA_ONE_ARGUMENT(PowSmall, pow(x, 0.23), std::pow(x, static_cast<long double>(0.23)), 1e-6, 1e6,
                    9.4)
SEROSA_ONE_ARGUMENT(PowLarge, pow(x, 3.7), std::pow(x, static_cast<long double>(3.7)), 1e-3, 1e3,
                    54.0)
SEROSA_ONE_ARGUMENT(PowOfBase, pow(1.7, x), std::pow(static_cast<long double>(1.7), x), -5.0, 5.0,
                    8.3)
SEROSA_ONE_ARGUMENT(PowOfItself, pow(x, x), std::pow(x, x), 0.01, 5.0, 19.0)
#undef SEROSA_ONE_ARGUMENT

// Arithmetic and choices; their value needs no reference, their slope does.
#define SEROSA_ONE_ARGUMENT(NAME, CALL, FROM, TO) \
  struct NAME {                                   \
    static constexpr const char* name = #NAME;    \
    static constexpr Range range{FROM, TO};       \
    template <class R>                            \
    static R at(const R& x) {                     \
      return CALL;                                \
    }                                             \
  };
SEROSA_ONE_ARGUMENT(Sums, (x + x) - (2.0 - x) + (x - 3.0) + (1.5 + x) - (-x) + (+x), -9.0, 9.0)
SEROSA_ONE_ARGUMENT(Products, x* x* x * 0.7 - 1.3 * x, -9.0, 9.0)
SEROSA_ONE_ARGUMENT(Quotients, 3.0 / x + x / 7.0 + (x - 2.0) / (x + 1.0), 0.2, 9.0)
SEROSA_ONE_ARGUMENT(Minimum, min(x, 2.0) + min(x * x, x) + min(0.5, x), -5.0, 5.0)
SEROSA_ONE_ARGUMENT(Maximum, max(x, 2.0) * max(x * x, x) - max(0.5, x), -5.0, 5.0)
SEROSA_ONE_ARGUMENT(Choice, select(x<1.0 || x> 3.0, x* x, 2.0) + select(!(x <= 2.0), 1.0, x), -5.0,
                    5.0)
SEROSA_ONE_ARGUMENT(BothSides, select(x >= -1.0 && 1.0 >= x, exp(x), log(abs(x))), -5.0, 5.0)
SEROSA_ONE_ARGUMENT(SaturationLike, 0.61121 * exp((18.678 - x / 234.5) * (x / (257.14 + x))), 0.0,
                    80.0)
#undef SEROSA_ONE_ARGUMENT

using Elementary =
    std::tuple<Exp, ExpNearZero, Expm1, Expm1NearZero, Log, LogNearOne, Log1p, Log1pNearZero, Tanh,
               TanhNearZero, Sqrt, Cbrt, Abs, PowSmall, PowLarge, PowOfBase, PowOfItself>;
using Everything =
    std::tuple<Exp, ExpNearZero, Expm1, Expm1NearZero, Log, LogNearOne, Log1p, Log1pNearZero, Tanh,
               TanhNearZero, Sqrt, Cbrt, Abs, PowSmall, PowLarge, PowOfBase, PowOfItself, Sums,
               Products, Quotients, Minimum, Maximum, Choice, BothSides, SaturationLike>;

}  // namespace serosa::physics::test
