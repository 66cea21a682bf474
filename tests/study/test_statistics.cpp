// SPDX-License-Identifier: Apache-2.0
// Statistics against SciPy 1.10.1 and NumPy 1.24, and their intervals' coverage.
#include "study/statistics.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <vector>

#include "study/probability.hpp"
#include "study/random.hpp"

using namespace serosa::study;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

/// A column in pieces of uneven size.
Pieces column_of(const std::vector<double>& x) {
  return [&x](const std::function<void(std::span<const double>)>& see) {
    std::size_t from = 0, size = 1;
    while (from < x.size()) {
      const std::size_t count = std::min(size, x.size() - from);
      see(std::span(x).subspan(from, count));
      from += count;
      size = size % 1000 + 7;
    }
  };
}

std::vector<double> example() {
  std::vector<double> x;
  for (int i = 0; i < 200; ++i) x.push_back(std::pow((i * 7919 % 1009) / 1009.0, 2));
  return x;
}

}  // namespace

TEST_CASE("mean, sd and quantiles of an example are SciPy's") {
  const auto x = example();
  const double levels[] = {0.05, 0.333, 0.5, 0.95};
  const auto d = describe(column_of(x), levels, 0.95);
  CHECK(d.n == 200);
  // numpy mean, std(ddof=1); scipy.stats.t.interval with sem.
  CHECK_THAT(d.mean.value, WithinRel(0.33656401602622976, 1e-14));
  CHECK_THAT(d.mean.low, WithinRel(0.2946005605729529, 1e-12));
  CHECK_THAT(d.mean.high, WithinRel(0.3785274714795066, 1e-12));
  CHECK_THAT(d.sd.value, WithinRel(0.30094622520524394, 1e-13));
  // The large-sample formula in numpy.
  CHECK_THAT(d.sd.low, WithinRel(0.2790833934700573, 1e-12));
  CHECK_THAT(d.sd.high, WithinRel(0.3228090569404306, 1e-12));
  // numpy.quantile, its default method.
  CHECK_THAT(d.quantiles[0].value, WithinRel(0.0024367412809000464, 1e-13));
  CHECK_THAT(d.quantiles[1].value, WithinRel(0.11183455638598505, 1e-13));
  CHECK_THAT(d.quantiles[2].value, WithinRel(0.2524877686549498, 1e-13));
  CHECK_THAT(d.quantiles[3].value, WithinRel(0.9056104573211756, 1e-13));
  CHECK(d.least == *std::min_element(x.begin(), x.end()));
  CHECK(d.most == *std::max_element(x.begin(), x.end()));
}

TEST_CASE("columns of nothing, one and all alike") {
  const double levels[] = {0.5};
  const auto none = describe(column_of({}), levels, 0.95);
  CHECK(none.n == 0);
  CHECK(std::isnan(none.mean.value));
  CHECK(std::isnan(none.quantiles[0].value));
  const std::vector<double> single{4}, alike(50, 0.1);
  const auto one = describe(column_of(single), levels, 0.95);
  CHECK(one.mean.value == 4);
  CHECK(std::isnan(one.mean.low));
  CHECK(std::isnan(one.sd.value));
  CHECK(one.quantiles[0].value == 4);
  CHECK(std::isnan(one.quantiles[0].low));
  const auto same = describe(column_of(alike), levels, 0.95);
  CHECK_THAT(same.mean.value, WithinRel(0.1, 1e-15));
  CHECK_THAT(same.sd.value, WithinAbs(0, 1e-16));
  CHECK(same.quantiles[0].value == 0.1);
}

TEST_CASE("a mean far from zero keeps its digits") {
  std::vector<double> x;
  for (int i = 0; i < 10000; ++i) x.push_back(1e9 + (i % 3) - 1.0);  // -1, 0, 1
  const auto d = describe(column_of(x), {}, 0.95);
  // 3334 times -1, 3333 times 0, 3333 times 1.
  CHECK_THAT(d.mean.value - 1e9, WithinAbs(-0.0001, 3e-7));
  CHECK_THAT(d.sd.value, WithinRel(std::sqrt((6667 - 1e-4) / 9999), 1e-9));
}

TEST_CASE("order statistics of a long column are those of the sorted one") {
  std::vector<double> x(longest_sorted + 12345);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double u = open_fraction(random_bits(1, 2, i));
    x[i] = i % 7 == 0 ? -0.0 : i % 5 == 0 ? 1e300 * (u - 0.5) : (u - 0.5);
  }
  x[17] = -std::numeric_limits<double>::infinity();
  auto sorted = x;
  std::sort(sorted.begin(), sorted.end());
  const std::vector<std::uint64_t> ranks{1, 2, 1000, x.size() / 2, x.size() / 2 + 1, x.size()};
  const auto found = order_statistics(column_of(x), x.size(), ranks);
  for (std::size_t i = 0; i < ranks.size(); ++i) CHECK(found[i] == sorted[ranks[i] - 1]);
}

TEST_CASE("columns described side by side are those described one by one") {
  // A smooth law; one number; a heap at nought with a tail; a first piece unlike the rest; more
  // different numbers in one narrow place than are held; nothing; a few.
  const std::size_t n = longest_sorted + 4321;
  std::vector<std::vector<double>> columns(7);
  for (std::size_t i = 0; i < n; ++i) {
    const double u = open_fraction(random_bits(5, 1, i));
    columns[0].push_back(normal_quantile(u));
    columns[1].push_back(-7.25);
    columns[2].push_back(i % 3 == 0 ? std::exp(4 * normal_quantile(u)) : i % 2 == 0 ? 0.0 : -0.0);
    columns[3].push_back(i < 3000 ? 5 + 1e-9 * u : 1e6 * (u - 0.5));
    columns[4].push_back(i < 5000 ? 1e9 * (u - 0.5) : u);
  }
  for (std::size_t i = 0; i < 9; ++i) columns[6].push_back(std::sqrt(double(i)));
  const SideBySide rows = [&](const auto& see) {
    for (std::size_t from = 0; from < n; from += 4096)
      for (std::size_t k = 0; k < columns.size(); ++k)
        if (const auto& x = columns[k]; from < x.size())
          see(k, std::span(x).subspan(from, std::min<std::size_t>(4096, x.size() - from)));
  };
  const double levels[] = {0, 0.001, 0.05, 0.5, 0.95, 0.999, 1};
  const auto found = describe_each(columns.size(), rows, levels, 0.95);
  REQUIRE(found.size() == columns.size());
  const auto same = [](double a, double b) { return a == b || (std::isnan(a) && std::isnan(b)); };
  for (std::size_t k = 0; k < columns.size(); ++k) {
    CAPTURE(k);
    const auto d = describe(column_of(columns[k]), levels, 0.95);
    CHECK(found[k].n == d.n);
    CHECK(same(found[k].mean.value, d.mean.value));
    CHECK(same(found[k].mean.low, d.mean.low));
    CHECK(same(found[k].sd.value, d.sd.value));
    CHECK(same(found[k].sd.high, d.sd.high));
    CHECK(same(found[k].least, d.least));
    CHECK(same(found[k].most, d.most));
    for (std::size_t q = 0; q < std::size(levels); ++q) {
      CAPTURE(levels[q]);
      CHECK(same(found[k].quantiles[q].value, d.quantiles[q].value));
    }
  }
}

TEST_CASE("Wilson's interval is SciPy's") {
  // scipy.stats.binomtest(k, n).proportion_ci(method='wilson')
  struct Row {
    std::uint64_t hits, n;
    double low, high;
  };
  for (const Row& row :
       {Row{0, 40, 0, 0.08762160119728662}, Row{3, 100, 0.010254524024038925, 0.08451936429052762},
        Row{50, 100, 0.4038315303659956, 0.5961684696340044}, Row{100, 100, 0.9630065017930143, 1},
        Row{29, 1000, 0.02026644815669875, 0.04133835833669418}}) {
    CAPTURE(row.hits, row.n);
    const auto e = share(row.hits, row.n, 0.95);
    CHECK_THAT(e.value, WithinRel(double(row.hits) / double(row.n), 1e-15));
    CHECK_THAT(e.low, WithinAbs(row.low, 1e-13));
    CHECK_THAT(e.high, WithinAbs(row.high, 1e-13));
  }
  CHECK(std::isnan(share(0, 0, 0.95).value));
}

TEST_CASE("ranks around a quantile") {
  // By counting with scipy.stats.binom.cdf: the largest l with P(B <= l-1) <= 2.5 % and the
  // smallest u with P(B >= u) <= 2.5 %.
  using Ranks = std::pair<std::uint64_t, std::uint64_t>;
  CHECK(quantile_ranks(10, 0.5, 0.95) == Ranks{2, 9});
  CHECK(quantile_ranks(100, 0.5, 0.95) == Ranks{40, 61});
  CHECK(quantile_ranks(100, 0.05, 0.95) == Ranks{1, 11});
  CHECK(quantile_ranks(1000, 0.95, 0.95) == Ranks{936, 964});
  CHECK(quantile_ranks(40, 0.25, 0.95) == Ranks{5, 17});
  // Too few runs to enclose it.
  CHECK_FALSE(quantile_ranks(20, 0.05, 0.95));
  CHECK_FALSE(quantile_ranks(1, 0.5, 0.95));
  CHECK_FALSE(quantile_ranks(0, 0.5, 0.95));
  CHECK_FALSE(quantile_ranks(100, 0, 0.95));
  CHECK_FALSE(quantile_ranks(100, 1, 0.95));
}

TEST_CASE("intervals cover the truth as often as they say") {
  // 2000 samples of 60 from a standard normal law; the share covered has a standard error of
  // 0.5 %. Student's interval is exact; the ranks' covers at least so often; that of the standard
  // deviation is one for large samples and covers a little less.
  int mean = 0, sd = 0, median = 0;
  const double levels[] = {0.5};
  std::vector<double> x(60);
  for (std::uint64_t sample = 0; sample < 2000; ++sample) {
    for (std::uint64_t i = 0; i < 60; ++i)
      x[i] = normal_quantile(open_fraction(random_bits(3, sample, i)));
    const auto d = describe(column_of(x), levels, 0.95);
    mean += d.mean.low <= 0 && 0 <= d.mean.high;
    sd += d.sd.low <= 1 && 1 <= d.sd.high;
    median += d.quantiles[0].low <= 0 && 0 <= d.quantiles[0].high;
  }
  CHECK_THAT(mean / 2000.0, WithinAbs(0.95, 0.015));
  CHECK_THAT(sd / 2000.0, WithinAbs(0.92, 0.03));
  CHECK(median / 2000.0 > 0.935);
  CHECK(median / 2000.0 < 0.985);
}
