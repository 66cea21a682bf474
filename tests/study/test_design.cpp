// SPDX-License-Identifier: Apache-2.0
// Designs and the random numbers below them.
#include "study/design.hpp"

#include <algorithm>
#include <boost/random/sobol.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <set>
#include <string>
#include <vector>

#include "study/random.hpp"

using namespace serosa::study;
using Catch::Matchers::WithinAbs;

namespace {

using Point = std::vector<double>;

Design design(DesignKind kind, std::uint64_t runs, std::size_t inputs, std::uint64_t seed = 1) {
  Design d;
  d.kind = kind, d.runs = runs, d.seed = seed;
  for (std::size_t j = 0; j < inputs; ++j) d.names.push_back("input " + std::to_string(j));
  return d;
}

std::vector<Point> points_of(const Design& d) {
  Points points(d);
  std::vector<Point> all(d.runs, Point(d.names.size()));
  for (std::uint64_t i = 0; i < d.runs; ++i) points.at(i, all[i]);
  return all;
}

}  // namespace

TEST_CASE("the generator gives the published answers") {
  // Known answers of Philox 4x32-10 that come with its authors' library (kat_vectors of Random123).
  using Counter = std::array<std::uint32_t, 4>;
  CHECK(philox({0, 0, 0, 0}, {0, 0}) == Counter{0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8});
  const std::uint32_t all = 0xffffffff;
  CHECK(philox({all, all, all, all}, {all, all}) ==
        Counter{0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd});
  CHECK(philox({0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344}, {0xa4093822, 0x299f31d0}) ==
        Counter{0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1});
  // FNV-1a of "" and "a", from its authors' test vectors.
  CHECK(stream_of("") == 0xcbf29ce484222325);
  CHECK(stream_of("a") == 0xaf63dc4c8601ec8c);
}

TEST_CASE("fractions are never 0 or 1") {
  CHECK(open_fraction(0) > 0);
  CHECK(open_fraction(~std::uint64_t{0}) < 1);
}

TEST_CASE("an order is a permutation, whatever the size") {
  for (const std::uint64_t size : {1ull, 2ull, 3ull, 7ull, 64ull, 65ull, 1000ull, 4097ull}) {
    std::vector<bool> seen(size, false);
    for (std::uint64_t i = 0; i < size; ++i) {
      const auto place = permuted(i, size, 3, 4);
      REQUIRE(place < size);
      REQUIRE_FALSE(seen[place]);
      seen[place] = true;
    }
  }
  // Every place is hit alike: of 4000 orders of 5, the first goes to each place 800 times; chi
  // squared with 4 degrees of freedom is below 18.5 in 999 of 1000.
  int hits[5] = {};
  for (std::uint64_t stream = 0; stream < 4000; ++stream) ++hits[permuted(0, 5, 9, stream)];
  double chi = 0;
  for (const int h : hits) chi += (h - 800.0) * (h - 800.0) / 800;
  CHECK(chi < 18.5);
}

TEST_CASE("a run's inputs depend on seed and run alone") {
  for (const auto kind : {DesignKind::random, DesignKind::sobol}) {
    const auto few = points_of(design(kind, 100, 5)), many = points_of(design(kind, 1000, 5));
    for (std::size_t i = 0; i < few.size(); ++i) CHECK(few[i] == many[i]);
    // In any order, and again.
    const Design d = design(kind, 1000, 5);
    Points points(d);
    Point p(5);
    for (const std::uint64_t run : {999ull, 0ull, 1ull, 500ull, 500ull, 501ull, 3ull, 0ull, 2ull}) {
      points.at(run, p);
      CHECK(p == many[run]);
    }
    CHECK(points_of(design(kind, 8, 5, 2)) != points_of(design(kind, 8, 5, 1)));
    // Seed 0 is a seed as any other.
    CHECK(points_of(design(kind, 8, 5, 0)) != points_of(design(kind, 8, 5, 1)));
  }
}

TEST_CASE("a random input keeps its numbers when others come or go") {
  Design two = design(DesignKind::random, 50, 2), one = two;
  one.names = {two.names[1]};
  const auto both = points_of(two), alone = points_of(one);
  for (std::size_t i = 0; i < 50; ++i) CHECK(both[i][1] == alone[i][0]);
}

TEST_CASE("random fractions are uniform and unrelated") {
  const std::uint64_t n = 100'000;
  const auto all = points_of(design(DesignKind::random, n, 3));
  for (std::size_t j = 0; j < 3; ++j) {
    std::vector<double> column;
    for (const auto& p : all) column.push_back(p[j]);
    std::sort(column.begin(), column.end());
    double distance = 0;
    for (std::size_t i = 0; i < n; ++i)
      distance =
          std::max(distance, std::abs(column[i] - (static_cast<double>(i) + 0.5) / double(n)));
    CHECK(distance < 1.95 / std::sqrt(double(n)));  // Kolmogorov, 0.1 %
  }
  for (const auto& [a, b] : {std::pair{0, 1}, {0, 2}, {1, 2}}) {
    double sum = 0;
    for (const auto& p : all)
      sum += (p[static_cast<std::size_t>(a)] - 0.5) * (p[static_cast<std::size_t>(b)] - 0.5);
    // Each term has variance 1/144: four standard errors.
    CHECK_THAT(sum / double(n), WithinAbs(0, 4.0 / 12 / std::sqrt(double(n))));
  }
}

TEST_CASE("a Latin hypercube has one run in every layer of every input") {
  for (const std::uint64_t n : {1ull, 2ull, 10ull, 97ull, 1000ull}) {
    const auto all = points_of(design(DesignKind::latin_hypercube, n, 4));
    for (std::size_t j = 0; j < 4; ++j) {
      std::set<std::uint64_t> layers;
      for (const auto& p : all) {
        REQUIRE(p[j] > 0);
        REQUIRE(p[j] < 1);
        layers.insert(static_cast<std::uint64_t>(p[j] * double(n)));
      }
      CHECK(layers.size() == n);
    }
  }
  // Layers of different inputs go their own ways.
  const auto all = points_of(design(DesignKind::latin_hypercube, 2000, 2));
  double sum = 0;
  for (const auto& p : all) sum += (p[0] - 0.5) * (p[1] - 0.5);
  CHECK_THAT(sum / 2000, WithinAbs(0, 4.0 / 12 / std::sqrt(2000.0)));
}

TEST_CASE("the Sobol' points below are those of Joe and Kuo") {
  // scipy.stats.qmc.Sobol(6, scramble=False) of SciPy 1.10.1, which has their numbers of 2008.
  struct Row {
    std::uint64_t run;
    double x[6];
  };
  const Row rows[] = {
      {1, {0.5, 0.5, 0.5, 0.5, 0.5, 0.5}},
      {2, {0.75, 0.25, 0.25, 0.25, 0.75, 0.75}},
      {3, {0.25, 0.75, 0.75, 0.75, 0.25, 0.25}},
      {100, {0.4140625, 0.2578125, 0.7734375, 0.7265625, 0.8828125, 0.7421875}},
      {777, {0.6923828125, 0.9365234375, 0.1630859375, 0.2744140625, 0.6357421875, 0.3564453125}},
      {1023, {0.0009765625, 0.7529296875, 0.6123046875, 0.1455078125, 0.1865234375, 0.4384765625}}};
  for (const auto& row : rows) {
    boost::random::sobol engine(6);
    engine.seed(row.run - 1);  // Boost leaves out the point at zero
    for (const double x : row.x) CHECK(std::ldexp(static_cast<double>(engine()), -64) == x);
  }
}

TEST_CASE("scrambling keeps what makes a net of the Sobol' points") {
  const std::size_t inputs = 6, n = 256;
  std::vector<std::vector<std::uint64_t>> raw(n, std::vector<std::uint64_t>(inputs, 0));
  boost::random::sobol engine(inputs);
  for (std::size_t i = 1; i < n; ++i)
    for (auto& x : raw[i]) x = engine();
  for (const std::uint64_t seed : {1ull, 2ull, 77ull}) {
    const auto scrambled = points_of(design(DesignKind::sobol, n, inputs, seed));
    std::size_t moved = 0;
    for (std::size_t j = 0; j < inputs; ++j)
      for (const int digits : {1, 2, 3, 5, 8}) {
        // Points that share an interval of width 2^-digits before share one after.
        std::vector<std::set<std::uint64_t>> goes_to(std::size_t{1} << digits);
        for (std::size_t i = 0; i < n; ++i) {
          const auto to = static_cast<std::uint64_t>(std::ldexp(scrambled[i][j], digits));
          goes_to[raw[i][j] >> (64 - digits)].insert(to);
          moved += to != raw[i][j] >> (64 - digits);
        }
        std::set<std::uint64_t> all;
        for (const auto& to : goes_to) {
          REQUIRE(to.size() == 1);
          all.insert(*to.begin());
        }
        CHECK(all.size() == goes_to.size());  // and no two intervals become one
      }
    CHECK(moved > n);
    // So the first two inputs still are a (0, 8, 2)-net: one point in every elementary box.
    for (int a = 0; a <= 8; ++a) {
      std::set<std::pair<std::uint64_t, std::uint64_t>> boxes;
      for (const auto& p : scrambled)
        boxes.insert({static_cast<std::uint64_t>(std::ldexp(p[0], a)),
                      static_cast<std::uint64_t>(std::ldexp(p[1], 8 - a))});
      CHECK(boxes.size() == n);
    }
  }
}

TEST_CASE("each scrambled point is uniform over the seeds") {
  // 0 and 1/2 of the sequence would stay where they are without a shift; chi squared of ten classes
  // is below 27.9 in 999 of 1000.
  for (const std::uint64_t run : {0ull, 1ull, 6ull}) {
    int hits[10] = {};
    for (std::uint64_t seed = 0; seed < 2000; ++seed) {
      const Design d = design(DesignKind::sobol, 8, 2, seed);
      Point p(2);
      Points(d).at(run, p);
      ++hits[static_cast<int>(10 * p[1])];
    }
    double chi = 0;
    for (const int h : hits) chi += (h - 200.0) * (h - 200.0) / 200;
    CHECK(chi < 27.9);
  }
}

TEST_CASE("scrambled Sobol' points integrate better than random ones") {
  // Mean of a product of 5 that is 1 exactly; the error at 4096 points falls as nearly 1/n, not
  // as 1/sqrt(n): with this seed it must be below a tenth of the random standard error.
  const std::size_t n = 4096;
  const auto all = points_of(design(DesignKind::sobol, n, 5));
  double sum = 0;
  for (const auto& p : all) {
    double product = 1;
    for (const double x : p) product *= 1 + (x - 0.5);
    sum += product;
  }
  // Variance of the product: (1 + 1/12)^5 - 1.
  const double random = std::sqrt((std::pow(1 + 1.0 / 12, 5) - 1) / double(n));
  CHECK_THAT(sum / double(n), WithinAbs(1, 0.1 * random));
}

TEST_CASE("a full grid has every combination once, the first input slowest") {
  Design d = design(DesignKind::full_grid, 24, 3);
  d.levels = {2, 3, 4};
  const auto all = points_of(d);
  std::set<std::vector<int>> combinations;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const std::vector<int> levels{static_cast<int>(2 * all[i][0]), static_cast<int>(3 * all[i][1]),
                                  static_cast<int>(4 * all[i][2])};
    CHECK(static_cast<std::size_t>(levels[0] * 12 + levels[1] * 4 + levels[2]) == i);
    combinations.insert(levels);
  }
  CHECK(combinations.size() == 24);
}
