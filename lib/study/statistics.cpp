// SPDX-License-Identifier: Apache-2.0
#include "study/statistics.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <map>

#include "study/probability.hpp"

namespace serosa::study {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double two_sided_normal(double confidence) { return normal_quantile(0.5 + 0.5 * confidence); }

/// Numbers as integers in the same order, and back.
std::uint64_t key_of(double x) {
  const auto bits = std::bit_cast<std::uint64_t>(x + 0.0);  // one zero only
  return bits >> 63 ? ~bits : bits | (std::uint64_t{1} << 63);
}
double number_of(std::uint64_t key) {
  return std::bit_cast<double>(key >> 63 ? key & ~(std::uint64_t{1} << 63) : ~key);
}

std::vector<double> sorted_ones(const Pieces& column, std::uint64_t n,
                                std::span<const std::uint64_t> ranks) {
  std::vector<double> all;
  all.reserve(n);
  column([&](std::span<const double> piece) { all.insert(all.end(), piece.begin(), piece.end()); });
  std::sort(all.begin(), all.end());
  std::vector<double> found;
  for (const auto rank : ranks) found.push_back(all[rank - 1] + 0.0);
  return found;
}

}  // namespace

Estimate share(std::uint64_t hits, std::uint64_t n, double confidence) {
  if (n == 0) return {nan, nan, nan};
  const double z = two_sided_normal(confidence), m = static_cast<double>(n);
  const double p = static_cast<double>(hits) / m;
  const double middle = (p + z * z / (2 * m)) / (1 + z * z / m);
  const double half = z / (1 + z * z / m) * std::sqrt(p * (1 - p) / m + z * z / (4 * m * m));
  return {p, hits == 0 ? 0.0 : middle - half, hits == n ? 1.0 : middle + half};
}

std::optional<std::pair<std::uint64_t, std::uint64_t>> quantile_ranks(std::uint64_t n, double q,
                                                                      double confidence) {
  const double m = static_cast<double>(n), tail = 0.5 * (1 - confidence);
  const auto upto = [&](double k) { return binomial_cdf(k, m, q); };
  // Smallest k with P(B <= k) > p, by halving.
  const auto smallest = [&](double p) {
    double low = -1, high = m;
    while (high - low > 1) {
      const double middle = std::floor(0.5 * (low + high));
      (upto(middle) > p ? high : low) = middle;
    }
    return high;
  };
  // X(l) <= quantile unless fewer than l runs lie below it: P(B <= l - 1) <= tail.
  const double l = smallest(tail);
  // X(u) >= quantile unless at least u runs lie below it: P(B >= u) <= tail.
  double u = smallest(1 - tail) + 1;
  if (upto(u - 2) >= 1 - tail) u -= 1;
  if (l < 1 || u > m) return std::nullopt;
  return std::pair{static_cast<std::uint64_t>(l), static_cast<std::uint64_t>(u)};
}

std::vector<double> order_statistics(const Pieces& column, std::uint64_t n,
                                     std::span<const std::uint64_t> ranks) {
  if (n <= longest_sorted) return sorted_ones(column, n, ranks);
  constexpr int digit = 16;
  std::vector<std::uint64_t> prefix(ranks.size(), 0), left(ranks.begin(), ranks.end());
  for (int shift = 64 - digit; shift >= 0; shift -= digit) {
    // Counts of the next digit, for each beginning that is still of interest.
    std::map<std::uint64_t, std::vector<std::uint32_t>> counts;
    for (const auto p : prefix) counts[p].resize(std::size_t{1} << digit);
    std::uint64_t last = ~std::uint64_t{0};
    std::vector<std::uint32_t>* of_last = nullptr;
    column([&](std::span<const double> piece) {
      for (const double x : piece) {
        const std::uint64_t key = key_of(x);
        const std::uint64_t begin = shift + digit == 64 ? 0 : key >> (shift + digit);
        if (begin != last) {
          const auto found = counts.find(begin);
          of_last = found == counts.end() ? nullptr : &found->second;
          last = begin;
        }
        if (of_last) ++(*of_last)[(key >> shift) & ((std::uint64_t{1} << digit) - 1)];
      }
    });
    for (std::size_t i = 0; i < prefix.size(); ++i) {
      const auto& bins = counts[prefix[i]];
      std::uint64_t bin = 0;
      while (left[i] > bins[bin]) left[i] -= bins[bin++];
      prefix[i] = (prefix[i] << digit) | bin;
    }
  }
  std::vector<double> found;
  for (const auto key : prefix) found.push_back(number_of(key));
  return found;
}

Description describe(const Pieces& column, std::span<const double> quantiles, double confidence) {
  Description d;
  double sum = 0;
  column([&](std::span<const double> piece) {
    d.n += piece.size();
    for (const double x : piece) sum += x;
  });
  d.mean = d.sd = {nan, nan, nan};
  d.least = d.most = nan;
  d.quantiles.assign(quantiles.size(), {nan, nan, nan});
  if (d.n == 0) return d;
  const double m = static_cast<double>(d.n), mean = sum / m;
  double second = 0, fourth = 0, rest = 0;
  column([&](std::span<const double> piece) {
    for (const double x : piece) {
      const double e = x - mean, square = e * e;
      rest += e, second += square, fourth += square * square;
    }
  });
  d.mean.value = mean + rest / m;
  if (d.n > 1) {
    const double variance = second / (m - 1), sd = std::sqrt(variance);
    const double half = student_quantile(0.5 + 0.5 * confidence, m - 1) * sd / std::sqrt(m);
    d.mean = {d.mean.value, d.mean.value - half, d.mean.value + half};
    d.sd.value = sd;
    if (d.n > 3) {
      // Variance of the variance: (mu4 - sigma^4 (n - 3)/(n - 1)) / n.
      const double spread =
          std::max(0.0, (fourth / m - variance * variance * (m - 3) / (m - 1)) / m);
      const double width =
          sd > 0 ? two_sided_normal(confidence) * std::sqrt(spread) / (2 * sd) : 0.0;
      d.sd = {sd, std::max(0.0, sd - width), sd + width};
    }
  }
  // Ranks of all order statistics that are needed, then one search for all.
  std::vector<std::uint64_t> ranks{1, d.n};
  std::vector<std::optional<std::pair<std::uint64_t, std::uint64_t>>> ends;
  const auto place = [&](double q) { return q * (m - 1); };
  for (const double q : quantiles) {
    const auto below = static_cast<std::uint64_t>(place(q));
    ranks.push_back(below + 1);
    ranks.push_back(std::min(below + 2, d.n));
    ends.push_back(quantile_ranks(d.n, q, confidence));
    if (ends.back()) ranks.push_back(ends.back()->first), ranks.push_back(ends.back()->second);
  }
  std::sort(ranks.begin(), ranks.end());
  ranks.erase(std::unique(ranks.begin(), ranks.end()), ranks.end());
  const auto found = order_statistics(column, d.n, ranks);
  const auto at = [&](std::uint64_t rank) {
    return found[static_cast<std::size_t>(std::lower_bound(ranks.begin(), ranks.end(), rank) -
                                          ranks.begin())];
  };
  d.least = at(1), d.most = at(d.n);
  for (std::size_t i = 0; i < quantiles.size(); ++i) {
    const double whole = std::floor(place(quantiles[i]));
    const auto below = static_cast<std::uint64_t>(whole);
    const double a = at(below + 1), b = at(std::min(below + 2, d.n));
    d.quantiles[i].value = a + (place(quantiles[i]) - whole) * (b - a);
    if (ends[i]) d.quantiles[i].low = at(ends[i]->first), d.quantiles[i].high = at(ends[i]->second);
  }
  return d;
}

}  // namespace serosa::study
