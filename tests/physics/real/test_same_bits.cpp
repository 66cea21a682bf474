// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <cstdint>
#include <cstring>
#include <limits>
#include <random>
#include <vector>

#include "functions.hpp"

namespace serosa::physics::test {
namespace {

// A NaN's sign and payload carry no meaning and differ between instructions; all else is compared.
bool same_bits(double a, double b) {
  return (std::isnan(a) && std::isnan(b)) || std::memcmp(&a, &b, sizeof a) == 0;
}

std::vector<double> edge_cases() {
  using Limits = std::numeric_limits<double>;
  std::vector<double> edges;
  for (double x : {0.0,
                   Limits::denorm_min(),
                   3e-310,
                   Limits::min(),
                   1e-300,
                   0x1p-54,
                   1e-9,
                   0.25,
                   0.5,
                   0.70710678118654746,
                   0.70710678118654757,
                   1.0 - 0x1p-53,
                   1.0,
                   1.0 + 0x1p-52,
                   1.4142135623730951,
                   2.0,
                   22.0,
                   40.0,
                   273.15,
                   308.0,
                   700.0,
                   709.7,
                   709.78271289338397,
                   709.782712893384,
                   710.0,
                   711.0,
                   744.9,
                   745.13,
                   745.2,
                   746.0,
                   747.0,
                   1e4,
                   1e18,
                   1e300,
                   Limits::max(),
                   Limits::infinity(),
                   Limits::quiet_NaN()}) {
    edges.push_back(x);
    edges.push_back(-x);
  }
  while (edges.size() % 8 != 0) edges.push_back(1.0);
  return edges;
}

template <class F>
std::size_t lanes_that_differ(const std::vector<double>& inputs) {
  std::size_t different = 0;
  for (std::size_t i = 0; i + 8 <= inputs.size(); i += 8) {
    Pack<8> x;
    for (int l = 0; l < 8; ++l) x[l] = inputs[i + static_cast<std::size_t>(l)];
    const Pack<8> y = F::at(x);
    for (int l = 0; l < 8; ++l) different += same_bits(y[l], F::at(x[l])) ? 0 : 1;
  }
  return different;
}

TEMPLATE_LIST_TEST_CASE("a lane of a pack has the bits of the plain number", "[real]", Everything) {
  INFO(TestType::name);
  CHECK(lanes_that_differ<TestType>(edge_cases()) == 0);

  std::mt19937_64 random(20240801);
  std::vector<double> inputs(1 << 18);
  std::uniform_real_distribution<double> in_range(TestType::range.from, TestType::range.to);
  for (double& x : inputs) x = in_range(random);
  CHECK(lanes_that_differ<TestType>(inputs) == 0);

  // Any bit pattern at all: every exponent, subnormal numbers, infinities and NaN.
  for (double& x : inputs) {
    const std::uint64_t bits = random();
    std::memcpy(&x, &bits, sizeof x);
  }
  CHECK(lanes_that_differ<TestType>(inputs) == 0);
}

TEST_CASE("comparisons and choices agree lane by lane", "[real]") {
  std::mt19937_64 random(7);
  const std::vector<double> edges = edge_cases();
  for (int n = 0; n < 20000; ++n) {
    Pack<8> a, b;
    for (int l = 0; l < 8; ++l) {
      a[l] = edges[random() % edges.size()];
      b[l] = edges[random() % edges.size()];
    }
    const Mask<8> less = a<b, not_more = a <= b, more = a> b, not_less = a >= b, equal = a == b,
                  unequal = a != b;
    const Pack<8> chosen = select((less || equal) && !unequal, a, b), smaller = min(a, b),
                  larger = max(a, b), power = pow(a, b);
    for (int l = 0; l < 8; ++l) {
      REQUIRE(less[l] == (a[l] < b[l]));
      REQUIRE(not_more[l] == (a[l] <= b[l]));
      REQUIRE(more[l] == (a[l] > b[l]));
      REQUIRE(not_less[l] == (a[l] >= b[l]));
      REQUIRE(equal[l] == (a[l] == b[l]));
      REQUIRE(unequal[l] == (a[l] != b[l]));
      REQUIRE(same_bits(chosen[l], a[l] == b[l] ? a[l] : b[l]));
      REQUIRE(same_bits(smaller[l], min(a[l], b[l])));
      REQUIRE(same_bits(larger[l], max(a[l], b[l])));
      REQUIRE(same_bits(power[l], pow(a[l], b[l])));
    }
  }
}

}  // namespace
}  // namespace serosa::physics::test
