// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "functions.hpp"

namespace serosa::physics::test {
namespace {

// Reference: the same function of the C library in 80-bit arithmetic (x87), whose own error is
// about 2^-11 ulp of a double.
static_assert(std::numeric_limits<long double>::digits >= 64);

double error_in_ulp(double computed, long double exact) {
  const double rounded = static_cast<double>(exact);
  const double next = std::nextafter(std::fabs(rounded), std::numeric_limits<double>::infinity());
  const long double ulp =
      static_cast<long double>(next) - std::fabs(static_cast<long double>(rounded));
  return static_cast<double>(std::fabs(static_cast<long double>(computed) - exact) / ulp);
}

TEMPLATE_LIST_TEST_CASE("elementary functions are as exact as they say", "[real]", Elementary) {
  std::mt19937_64 random(1);
  std::uniform_real_distribution<double> in_range(TestType::range.from, TestType::range.to);
  double worst = 0.0, worst_at = 0.0;
  for (int n = 0; n < 400000; ++n) {
    const double x = in_range(random);
    const double error = error_in_ulp(TestType::at(x), TestType::exact(x));
    if (!(error <= worst)) worst = error, worst_at = x;
  }
  INFO(TestType::name << ": worst error " << worst << " ulp at " << worst_at);
  CHECK(worst <= TestType::ulp);
}

TEST_CASE("exp, log and their kin keep their relative error over all magnitudes", "[real]") {
  std::mt19937_64 random(2);
  std::uniform_real_distribution<double> exponent(-1070.0, 1023.0), sign(-1.0, 1.0);
  double worst_log = 0.0, worst_log1p = 0.0, worst_expm1 = 0.0, worst_tanh = 0.0, worst_exp = 0.0;
  for (int n = 0; n < 400000; ++n) {
    const double large = std::exp2(exponent(random));
    const double small =
        std::copysign(std::exp2(-std::fabs(exponent(random)) / 20.0), sign(random));
    worst_log =
        std::max(worst_log, error_in_ulp(log(large), std::log(static_cast<long double>(large))));
    worst_log1p = std::max(worst_log1p,
                           error_in_ulp(log1p(small), std::log1p(static_cast<long double>(small))));
    worst_expm1 = std::max(worst_expm1,
                           error_in_ulp(expm1(small), std::expm1(static_cast<long double>(small))));
    worst_tanh =
        std::max(worst_tanh, error_in_ulp(tanh(small), std::tanh(static_cast<long double>(small))));
    worst_exp =
        std::max(worst_exp, error_in_ulp(exp(small), std::exp(static_cast<long double>(small))));
  }
  CHECK(worst_log <= Log::ulp);
  CHECK(worst_log1p <= Log1p::ulp);
  CHECK(worst_expm1 <= Expm1::ulp);
  CHECK(worst_tanh <= Tanh::ulp);
  CHECK(worst_exp <= Exp::ulp);
}

TEST_CASE("the relative error of pow grows with the exponent as documented", "[real]") {
  std::mt19937_64 random(3);
  std::uniform_real_distribution<double> base(-200.0, 200.0), power(-3.0, 3.0);
  for (int n = 0; n < 400000; ++n) {
    const double x = std::exp(base(random)), y = power(random);
    const long double exact = std::pow(static_cast<long double>(x), static_cast<long double>(y));
    if (!(exact > 1e-300L && exact < 1e300L)) continue;
    const double allowed = (3.0 + 2.0 * std::fabs(y * std::log(x))) * 0x1p-53;
    REQUIRE(std::fabs(static_cast<double>(pow(x, y) / exact - 1.0L)) <= allowed);
  }
}

TEST_CASE("elementary functions at the ends of their range", "[real]") {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  constexpr double tiny = std::numeric_limits<double>::denorm_min();

  CHECK(exp(0.0) == 1.0);
  CHECK(exp(-infinity) == 0.0);
  CHECK(exp(-745.2) == 0.0);
  CHECK(exp(-745.1) == tiny);
  CHECK(exp(-1e308) == 0.0);
  CHECK(exp(infinity) == infinity);
  CHECK(exp(709.79) == infinity);
  CHECK(std::isfinite(exp(709.78)));
  CHECK(std::isnan(exp(nan)));
  // In the subnormal range the last place is an absolute unit; one of it is allowed.
  for (double x = -744.0; x < -708.0; x += 0.37) CHECK(std::fabs(exp(x) - std::exp(x)) <= tiny);

  CHECK(log(1.0) == 0.0);
  CHECK(log(0.0) == -infinity);
  CHECK(log(-0.0) == -infinity);
  CHECK(std::isnan(log(-1.0)));
  CHECK(std::isnan(log(-infinity)));
  CHECK(log(infinity) == infinity);
  CHECK(std::isnan(log(nan)));
  CHECK(std::fabs(log(tiny) - std::log(tiny)) <= 0x1p-43);  // one ulp of 744

  CHECK(log1p(0.0) == 0.0);
  CHECK(log1p(-1.0) == -infinity);
  CHECK(std::isnan(log1p(-1.5)));
  CHECK(log1p(infinity) == infinity);
  CHECK(log1p(tiny) == tiny);
  CHECK(std::isnan(log1p(nan)));

  CHECK(expm1(0.0) == 0.0);
  CHECK(std::signbit(expm1(-0.0)));
  CHECK(expm1(-infinity) == -1.0);
  CHECK(expm1(infinity) == infinity);
  CHECK(std::isnan(expm1(nan)));

  CHECK(tanh(0.0) == 0.0);
  CHECK(tanh(infinity) == 1.0);
  CHECK(tanh(-infinity) == -1.0);
  CHECK(std::isnan(tanh(nan)));

  CHECK(pow(0.0, 0.5) == 0.0);
  CHECK(pow(0.0, 0.0) == 1.0);
  CHECK(pow(5.0, 0.0) == 1.0);
  CHECK(pow(0.0, -1.0) == infinity);
  CHECK(std::isnan(pow(-1.0, 2.0)));
  CHECK(pow(infinity, 2.0) == infinity);
  CHECK(std::isnan(pow(nan, 2.0)));

  CHECK(cbrt(0.0) == 0.0);
  CHECK(cbrt(infinity) == infinity);
  CHECK(cbrt(-infinity) == -infinity);
  CHECK(std::isnan(cbrt(nan)));

  CHECK(isfinite(1e308));
  CHECK_FALSE(isfinite(infinity));
  CHECK_FALSE(isfinite(nan));
}

}  // namespace
}  // namespace serosa::physics::test
