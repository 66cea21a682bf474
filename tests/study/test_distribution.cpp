// SPDX-License-Identifier: Apache-2.0
// The laws of inputs against SciPy 1.10.1, their moments against closed forms, and what is refused.
#include "study/distribution.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>
#include <vector>

#include "study/random.hpp"

using namespace serosa::study;
using Catch::Matchers::Contains;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

constexpr double shares[] = {1e-6, 0.05, 0.3, 0.5, 0.8, 0.999};

void check(const Law& law, std::initializer_list<double> quantiles, double tolerance = 1e-12) {
  const double* u = shares;
  for (const double x : quantiles) {
    CAPTURE(*u);
    CHECK_THAT(law.quantile(*u++), WithinRel(x, tolerance));
  }
}

/// Mean and standard deviation over the middles of a million equal shares.
std::pair<double, double> moments(const Law& law) {
  constexpr int n = 1'000'000;
  double sum = 0, squares = 0;
  for (int i = 0; i < n; ++i) {
    const double x = law.quantile((i + 0.5) / n);
    sum += x, squares += x * x;
  }
  const double mean = sum / n;
  return {mean, std::sqrt(squares / n - mean * mean)};
}

}  // namespace

TEST_CASE("quantiles of the laws are SciPy's") {
  SECTION("uniform") { check(Law::uniform(2, 7), {2.000005, 2.25, 3.5, 4.5, 6.0, 6.995}); }
  SECTION("normal") {  // scipy.stats.norm(36.17, 1.95)
    check(Law::normal(36.17, 1.95), {26.900822597795347, 32.96253542744463, 35.14741900021932,
                                     36.17, 37.81116140546718, 42.195952997027234});
  }
  SECTION("normal with ends") {  // scipy.stats.truncnorm, ends at 30 and 41
    check(Law::normal(36.17, 1.95, 30, 41),
          {30.000723804829285, 32.97021739859409, 35.139315322041156, 36.15570705795105,
           37.775595870626724, 40.902046944599824});
  }
  SECTION("what is left of a normal law far out") {  // scipy.stats.truncnorm(4, 5)
    check(Law::normal(0, 1, 4, 5), {4.000000234510589, 4.012009704151944, 4.082719536874993,
                                    4.159046434569283, 4.357974969436322, 4.979930131825254});
    // The other side is its mirror.
    const Law low = Law::normal(0, 1, -5, -4), high = Law::normal(0, 1, 4, 5);
    for (const double u : {0.001, 0.2, 0.5, 0.9})
      CHECK_THAT(low.quantile(u), WithinRel(-high.quantile(1 - u), 1e-13));
  }
  SECTION("lognormal") {  // scipy.stats.lognorm(log(1.25), scale=1.2)
    check(Law::lognormal(1.2, 1.25), {0.4154577209985589, 0.831339583731683, 1.067484519180973, 1.2,
                                      1.4479140112652342, 2.3914191300205476});
  }
  SECTION("lognormal with ends") {  // its ppf between its cdf at 1 and at 2.5
    check(Law::lognormal(1.2, 1.25, 1, 2.5),
          {1.0000006189639377, 1.0298358883443832, 1.1633426073091448, 1.2721616497743633,
           1.4995063915969362, 2.3503772734518025});
  }
  SECTION("triangular") {  // scipy.stats.triang(1/3, 0, 0.6)
    check(Law::triangular(0, 0.2, 0.6),
          {0.00034641016151377546, 0.07745966692414834, 0.18973665961010275, 0.2535898384862246,
           0.3809109769979336, 0.5845080666151703});
  }
  SECTION("beta") {  // scipy.stats.beta(1, 3) and beta(0.5, 2.5, 10, 4)
    check(Law::beta(1, 3, 0, 1), {3.333334444445062e-07, 0.0169524275084415, 0.11209599825739928,
                                  0.20629947401590026, 0.41519645235742675, 0.9});
    check(Law::beta(0.5, 2.5, 10, 14),
          {10.000000000001387, 10.003472796829767, 10.129020294371562, 10.382103272151284,
           11.213799276450949, 13.616717107326963});
  }
}

TEST_CASE("moments of the laws are the closed forms") {
  // SciPy's mean() and std(), which are the closed forms. The tolerance is the error of the sum.
  const auto expect = [](const Law& law, double mean, double sd) {
    const auto [m, s] = moments(law);
    CHECK_THAT(m, WithinRel(mean, 1e-6));
    CHECK_THAT(s, WithinRel(sd, 1e-4));
  };
  expect(Law::uniform(2, 7), 4.5, 1.4433756729740643);
  expect(Law::normal(36.17, 1.95), 36.17, 1.95);
  expect(Law::normal(36.17, 1.95, 30, 41), 36.13877991043925, 1.8955151891325268);
  expect(Law::normal(0, 1, 4, 5), 4.216830780601032, 0.19567904161940375);
  expect(Law::lognormal(1.2, 1.25), 1.2302508344500243, 0.27797558452596005);
  expect(Law::triangular(0, 0.2, 0.6), 0.26666666666666666, 0.12472191289246472);
  expect(Law::beta(1, 3, 0, 1), 0.25, 0.19364916731037085);
  expect(Law::beta(0.5, 2.5, 10, 14), 10.666666666666666, 0.7453559924999299);
}

TEST_CASE("laws stay within their ends and rise") {
  for (const Law& law :
       {Law::uniform(0.7, 0.98), Law::normal(0, 1, -0.3, 8), Law::normal(0, 1, 4, 4.001),
        Law::lognormal(1.2, 1.25, 1, 2.5), Law::triangular(1, 1, 3), Law::triangular(1, 3, 3),
        Law::beta(0.3, 0.4, -1, 2), Law::beta(200, 300, 0, 1)}) {
    double before = law.lowest();
    for (const double u : {0x1p-53, 1e-12, 0.001, 0.1, 0.37, 0.5, 0.9, 0.9999, 1 - 0x1p-53}) {
      const double x = law.quantile(u);
      CHECK(x >= before);
      CHECK(x <= law.highest());
      before = x;
    }
  }
}

TEST_CASE("listed values are drawn as often as asked") {
  const Law measured = Law::empirical({3, 1, 2, 2});
  CHECK(measured.quantile(0.1) == 1);
  CHECK(measured.quantile(0.3) == 2);
  CHECK(measured.quantile(0.7) == 2);
  CHECK(measured.quantile(0.9) == 3);
  const Law weighted = Law::levels({5, 4, 9}, {2, 0, 2});
  CHECK(weighted.quantile(0.01) == 5);
  CHECK(weighted.quantile(0.499) == 5);
  CHECK(weighted.quantile(0.501) == 9);
  CHECK(weighted.quantile(1 - 0x1p-53) == 9);
}

TEST_CASE("laws that can't be are refused in words") {
  CHECK_THROWS_WITH(Law::uniform(2, 2), Contains("lower end must lie below"));
  CHECK_THROWS_WITH(Law::normal(1, 0), Contains("standard deviation"));
  CHECK_THROWS_WITH(Law::normal(0, 1, 40, 50), Contains("next to nothing"));
  CHECK_THROWS_WITH(Law::lognormal(-1, 2), Contains("median"));
  CHECK_THROWS_WITH(Law::lognormal(1, 0.5), Contains("factor"));
  CHECK_THROWS_WITH(Law::triangular(0, 2, 1), Contains("most frequent"));
  CHECK_THROWS_WITH(Law::beta(0, 1, 0, 1), Contains("exponents"));
  CHECK_THROWS_WITH(Law::empirical({}), Contains("no values"));
  CHECK_THROWS_WITH(Law::levels({1, 2}, {1, -1}), Contains("negative"));
  CHECK_THROWS_WITH(Law::levels({1, 2}, {0, 0}), Contains("zero"));
}

namespace {

std::vector<double> ranks_of(const std::vector<double>& x) {
  std::vector<std::size_t> order(x.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](auto a, auto b) { return x[a] < x[b]; });
  std::vector<double> ranks(x.size());
  for (std::size_t i = 0; i < order.size(); ++i) ranks[order[i]] = static_cast<double>(i);
  return ranks;
}

double correlation(const std::vector<double>& x, const std::vector<double>& y) {
  const double n = static_cast<double>(x.size());
  const double mx = std::accumulate(x.begin(), x.end(), 0.0) / n;
  const double my = std::accumulate(y.begin(), y.end(), 0.0) / n;
  double xy = 0, xx = 0, yy = 0;
  for (std::size_t i = 0; i < x.size(); ++i)
    xy += (x[i] - mx) * (y[i] - my), xx += (x[i] - mx) * (x[i] - mx),
        yy += (y[i] - my) * (y[i] - my);
  return xy / std::sqrt(xx * yy);
}

}  // namespace

TEST_CASE("bound inputs reach the rank correlations asked for and keep their laws") {
  const std::vector<Copula::Pair> pairs{{0, 2, 0.7}, {0, 3, -0.5}, {2, 3, -0.1}};
  const Copula copula(pairs);
  constexpr std::size_t n = 200'000;
  std::vector<std::vector<double>> columns(4, std::vector<double>(n));
  for (std::size_t i = 0; i < n; ++i) {
    double u[4];
    for (std::uint64_t j = 0; j < 4; ++j) u[j] = open_fraction(random_bits(5, j, i));
    const double free = u[1], first = u[0];
    copula.bind(u);
    CHECK_FALSE(u[1] != free);  // not bound, not touched
    if (i < 10) CHECK_THAT(u[0], WithinAbs(first, 1e-12));
    for (std::size_t j = 0; j < 4; ++j) columns[j][i] = u[j];
  }
  // The sampling error of a rank correlation is about 1/sqrt(n) = 0.0022; four of them allowed.
  for (const auto& p : pairs)
    CHECK_THAT(correlation(ranks_of(columns[p.one]), ranks_of(columns[p.other])),
               WithinAbs(p.rank, 0.009));
  CHECK_THAT(correlation(columns[0], columns[1]), WithinAbs(0, 0.009));
  // Each alone is still uniform: Kolmogorov's distance, 0.1 % limit 1.95/sqrt(n).
  for (auto column : columns) {
    std::sort(column.begin(), column.end());
    double distance = 0;
    for (std::size_t i = 0; i < n; ++i)
      distance = std::max(distance, std::abs(column[i] - (static_cast<double>(i) + 0.5) / n));
    CHECK(distance < 1.95 / std::sqrt(static_cast<double>(n)));
  }
}

TEST_CASE("ranks bound fully are equal or opposite") {
  const Copula copula({{0, 1, 1.0}, {0, 2, -1.0}, {1, 2, -1.0}});
  for (std::uint64_t i = 0; i < 100; ++i) {
    double u[3];
    for (std::uint64_t j = 0; j < 3; ++j) u[j] = open_fraction(random_bits(1, j, i));
    copula.bind(u);
    CHECK_THAT(u[1], WithinAbs(u[0], 1e-9));
    CHECK_THAT(u[2], WithinAbs(1 - u[0], 1e-9));
  }
}

TEST_CASE("correlations that no inputs can have together are refused") {
  const char* const words = "no inputs can have these correlations together";
  CHECK_THROWS_WITH(Copula({{0, 1, 0.9}, {1, 2, 0.9}, {0, 2, -0.9}}), Contains(words));
  // The second is the first, so the third can't go with one and against the other.
  CHECK_THROWS_WITH(Copula({{0, 1, 1.0}, {0, 2, 0.5}, {1, 2, -0.5}}), Contains(words));
  CHECK_NOTHROW(Copula({{0, 1, 1.0}, {0, 2, 0.5}, {1, 2, 0.5}}));
  CHECK_THROWS_WITH(Copula({{1, 1, 0.5}}), Contains("itself"));
  CHECK_THROWS_WITH(Copula({{0, 1, 0.5}, {1, 0, 0.5}}), Contains("twice"));
  CHECK_THROWS_WITH(Copula({{0, 1, 1.5}}), Contains("between -1 and 1"));
}
