// SPDX-License-Identifier: Apache-2.0
// Roots: found where another library finds them, in about as many steps.
#include "study/bracket.hpp"

#include <boost/math/tools/toms748_solve.hpp>
#include <catch2/catch.hpp>
#include <functional>

namespace serosa::study {

using Catch::Matchers::WithinAbs;

TEST_CASE("a bracket closes in on the root that Boost's toms748 finds", "[bracket]") {
  struct Problem {
    std::function<double(double)> f;
    double low, high;
  };
  // Curves as a deficit against a volume has them, and some that are hard to interpolate.
  const Problem problems[] = {{[](double x) { return 12 - 0.4 * x; }, 0, 60},
                              {[](double x) { return 8 * std::exp(-x / 20) - 3; }, 0, 60},
                              {[](double x) { return 5 - std::sqrt(x); }, 0, 60},
                              {[](double x) { return x < 17 ? 1.0 : -2.0; }, 0, 60},
                              {[](double x) { return std::cos(x) - x; }, 0, 2},
                              {[](double x) { return std::pow(x - 1.5, 9); }, 0, 4},
                              {[](double x) { return std::atan(40 * (x - 41.3)); }, 0, 60}};
  for (const auto& p : problems) {
    Bracket b(p.low, p.f(p.low), p.high, p.f(p.high), 1e-6);
    int steps = 0;
    for (; !b.done() && steps < 200; ++steps) b.tell(p.f(b.next()));
    boost::uintmax_t most = 200;
    const auto [low, high] = boost::math::tools::toms748_solve(
        p.f, p.low, p.high, [](double x, double y) { return std::abs(x - y) < 1e-7; }, most);
    CHECK_THAT(b.root(), WithinAbs(0.5 * (low + high), 2e-6));
    // Halving alone takes log2(60 / 1e-6) = 26; it never takes more than twice that.
    CHECK(steps <= 52);
  }
}

TEST_CASE("a bracket needs a change of sign and says when a value fails", "[bracket]") {
  CHECK_THROWS_AS(Bracket(0, 1, 1, 2, 0.1), std::invalid_argument);
  CHECK_THROWS_AS(Bracket(0, std::nan(""), 1, 2, 0.1), std::invalid_argument);
  Bracket b(0, -1, 1, 2, 0.01);
  b.tell(std::nan(""));
  CHECK(b.done());
  CHECK(std::isnan(b.root()));
  // An end that is the root needs no search.
  CHECK(Bracket(3, 0, 5, 2, 0.01).done());
  CHECK(Bracket(3, 0, 5, 2, 0.01).root() == 3);
}

}  // namespace serosa::study
