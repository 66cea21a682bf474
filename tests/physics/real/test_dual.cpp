// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <random>

#include "functions.hpp"

namespace serosa::physics::test {
namespace {

// Central differences at two step widths and Richardson's extrapolation: error of order h^4.
template <class F>
double slope_by_differences(double x, double h) {
  const double wide = (F::at(x + h) - F::at(x - h)) / (2.0 * h);
  const double narrow = (F::at(x + h / 2) - F::at(x - h / 2)) / h;
  return (4.0 * narrow - wide) / 3.0;
}

// A kink within the width of the differences: two-sided slopes mean nothing there.
template <class F>
bool kinked(double x, double h) {
  const double left = (F::at(x) - F::at(x - h)) / h, right = (F::at(x + h) - F::at(x)) / h;
  return std::fabs(left - right) > 1e-2 * (1.0 + std::fabs(left) + std::fabs(right));
}

TEMPLATE_LIST_TEST_CASE("slopes equal central differences", "[real]", Everything) {
  INFO(TestType::name);
  std::mt19937_64 random(11);
  // A margin keeps the differences inside the range; functions of many decades are tried near 1.
  const double from = std::max(TestType::range.from, -40.0),
               to = std::min(TestType::range.to, 40.0);
  std::uniform_real_distribution<double> in_range(from + 0.01 * (to - from),
                                                  to - 0.01 * (to - from));
  int compared = 0;
  for (int n = 0; n < 2000; ++n) {
    const double x = in_range(random);
    const double h = 1e-3 * std::min({1.0, std::fabs(x), to - from});
    if (kinked<TestType>(x, h)) continue;
    const Dual<3> y = TestType::at(Dual<3>(x, {1.0, 0.0, -2.0}));
    const double expected = slope_by_differences<TestType>(x, h);
    INFO("x = " << x);
    // The value is the plain number's, to the bit.
    REQUIRE(y.value == TestType::at(x));
    // Rounding: 2^-53 |f| / h with a few operations each; truncation h^4 is below that.
    const double rounding = 64.0 * 0x1p-53 * (std::fabs(y.value) + std::fabs(x)) / h;
    REQUIRE(std::fabs(y.slope[0] - expected) <= 1e-8 * std::fabs(expected) + rounding);
    REQUIRE(y.slope[1] == 0.0);
    REQUIRE(y.slope[2] == -2.0 * y.slope[0]);
    ++compared;
  }
  CHECK(compared > 1900);
}

template <class R>
R two_arguments(const R& x, const R& y) {
  return pow(x, y) + x / y - x * y + min(x, y) * max(x, 2.0 * y) + (x - y);
}

TEST_CASE("two directions are kept apart", "[real]") {
  const auto x = Dual<2>::variable(1.3, 0), y = Dual<2>::variable(2.4, 1);
  const Dual<2> f = two_arguments(x, y);
  const double h = 1e-4;
  const auto plain = [](double a, double b) { return two_arguments(a, b); };
  const double by_x = (plain(1.3 + h, 2.4) - plain(1.3 - h, 2.4)) / (2 * h);
  const double by_y = (plain(1.3, 2.4 + h) - plain(1.3, 2.4 - h)) / (2 * h);
  CHECK(f.value == plain(1.3, 2.4));
  // h^2 times a third derivative of order 10.
  CHECK_THAT(f.slope[0], Catch::Matchers::WithinAbs(by_x, 1e-7));
  CHECK_THAT(f.slope[1], Catch::Matchers::WithinAbs(by_y, 1e-7));
}

TEST_CASE("a dual number is finite when its value and slopes are", "[real]") {
  CHECK(isfinite(Dual<2>(1.0, {2.0, 3.0})));
  CHECK_FALSE(isfinite(Dual<2>(1.0, {2.0, INFINITY})));
  CHECK_FALSE(isfinite(Dual<2>(NAN, {2.0, 3.0})));
}

}  // namespace
}  // namespace serosa::physics::test
