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

namespace {

/// Sums of a column: all numbers first, then once more with the mean known.
struct Sums {
  std::uint64_t n = 0;
  double sum = 0, mean = 0, rest = 0, second = 0, fourth = 0;

  void add(std::span<const double> piece) {
    n += piece.size();
    for (const double x : piece) sum += x;
  }
  void settle() { mean = sum / static_cast<double>(n); }
  void add_again(std::span<const double> piece) {
    for (const double x : piece) {
      const double e = x - mean, square = e * e;
      rest += e, second += square, fourth += square * square;
    }
  }
};

Description described(const Sums& s, std::size_t quantiles, double confidence) {
  Description d;
  d.n = s.n;
  d.mean = d.sd = {nan, nan, nan};
  d.least = d.most = nan;
  d.quantiles.assign(quantiles, {nan, nan, nan});
  if (d.n == 0) return d;
  const double m = static_cast<double>(d.n);
  d.mean.value = s.mean + s.rest / m;
  if (d.n < 2) return d;
  const double variance = s.second / (m - 1), sd = std::sqrt(variance);
  const double half = student_quantile(0.5 + 0.5 * confidence, m - 1) * sd / std::sqrt(m);
  d.mean = {d.mean.value, d.mean.value - half, d.mean.value + half};
  d.sd.value = sd;
  if (d.n < 4) return d;
  // Variance of the variance: (mu4 - sigma^4 (n - 3)/(n - 1)) / n.
  const double spread = std::max(0.0, (s.fourth / m - variance * variance * (m - 3) / (m - 1)) / m);
  const double width = sd > 0 ? two_sided_normal(confidence) * std::sqrt(spread) / (2 * sd) : 0.0;
  d.sd = {sd, std::max(0.0, sd - width), sd + width};
  return d;
}

/// Where a quantile lies: between two ranks (from 1), and how far towards the second.
struct Place {
  std::uint64_t below, above;
  double part;
  Place(double q, std::uint64_t n) {
    const double at = q * static_cast<double>(n - 1), whole = std::floor(at);
    below = static_cast<std::uint64_t>(whole) + 1;
    above = std::min(below + 1, n);
    part = at - whole;
  }
  double between(double a, double b) const { return a + part * (b - a); }
};

}  // namespace

Description describe(const Pieces& column, std::span<const double> quantiles, double confidence) {
  Sums sums;
  column([&](std::span<const double> piece) { sums.add(piece); });
  if (sums.n > 0) {
    sums.settle();
    column([&](std::span<const double> piece) { sums.add_again(piece); });
  }
  Description d = described(sums, quantiles.size(), confidence);
  if (d.n == 0) return d;
  // Ranks of all order statistics that are needed, then one search for all.
  std::vector<std::uint64_t> ranks{1, d.n};
  std::vector<std::optional<std::pair<std::uint64_t, std::uint64_t>>> ends;
  for (const double q : quantiles) {
    const Place place(q, d.n);
    ranks.push_back(place.below);
    ranks.push_back(place.above);
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
    const Place place(quantiles[i], d.n);
    d.quantiles[i].value = place.between(at(place.below), at(place.above));
    if (ends[i]) d.quantiles[i].low = at(ends[i]->first), d.quantiles[i].high = at(ends[i]->second);
  }
  return d;
}

namespace {

/// One column of many: counted in narrow bins first; then the few bins that hold a wanted rank give
/// up their numbers.
class Described {
 public:
  Described(std::span<const double> quantiles, double confidence)
      : quantiles_(quantiles), confidence_(confidence) {}

  void first(std::span<const double> piece) {
    if (piece.empty()) return;
    if (counts_.empty()) choose_bins(piece);
    sums_.add(piece);
    for (const double x : piece) {
      ++counts_[bin(x)];
      least_ = std::min(least_, x);
      most_ = std::max(most_, x);
    }
  }

  /// Between the passes: which bins hold the wanted ranks.
  void between() {
    if (sums_.n == 0) return;
    sums_.settle();
    slots_.assign(counts_.size(), -1);
    for (const double q : quantiles_) {
      const Place place(q, sums_.n);
      for (const auto rank : {place.below, place.above}) {
        std::uint64_t before = 0;
        std::size_t b = 0;
        while (before + counts_[b] < rank) before += counts_[b++];
        if (slots_[b] < 0) {
          slots_[b] = static_cast<int>(held_.size());
          held_.push_back({before, {}, {}});
        }
      }
    }
    counts_ = {};
  }

  void second(std::span<const double> piece) {
    sums_.add_again(piece);
    for (const double x : piece)
      if (const int slot = slots_[bin(x)]; slot >= 0) {
        auto& bin = held_[static_cast<std::size_t>(slot)];
        bin.fresh.push_back(x + 0.0);
        if (bin.fresh.size() >= most_fresh) settle(bin);
      }
  }

  /// Nothing where too many different numbers lie too close together.
  std::optional<Description> description() {
    Description d = described(sums_, quantiles_.size(), confidence_);
    if (d.n == 0) return d;
    for (std::size_t k = 0; k < held_.size(); ++k) settle(held_[k]);
    if (crowded_) return std::nullopt;
    d.least = least_ + 0.0, d.most = most_ + 0.0;
    for (std::size_t i = 0; i < quantiles_.size(); ++i) {
      const Place place(quantiles_[i], d.n);
      d.quantiles[i].value = place.between(at(place.below), at(place.above));
    }
    return d;
  }

 private:
  static constexpr std::size_t bins = 4096, most_fresh = 1 << 12, most_different = 1 << 14;

  struct Bin {
    std::uint64_t before;                                   ///< numbers of lower bins
    std::vector<std::pair<double, std::uint64_t>> numbers;  ///< rising, and how often
    std::vector<double> fresh;                              ///< not yet among them
  };

  /// The middle of the first piece, and its width once more on either side; what lies outside is
  /// counted in two bins of their own.
  void choose_bins(std::span<const double> piece) {
    std::vector<double> sorted(piece.begin(), piece.end());
    std::sort(sorted.begin(), sorted.end());
    const std::size_t edge = sorted.size() / 100;
    const double low = sorted[edge], high = sorted[sorted.size() - 1 - edge];
    low_ = low - (high - low);
    high_ = high + (high - low);
    scale_ = high_ > low_ ? static_cast<double>(bins) / (high_ - low_) : 0;
    if (!std::isfinite(scale_)) scale_ = 0;
    counts_.assign(bins + 2, 0);
  }
  std::size_t bin(double x) const {
    if (!(x >= low_)) return 0;
    if (!(x < high_)) return bins + 1;
    return 1 + std::min(static_cast<std::size_t>((x - low_) * scale_), bins - 1);
  }

  void settle(Bin& bin) {
    std::sort(bin.fresh.begin(), bin.fresh.end());
    std::vector<std::pair<double, std::uint64_t>> all;
    auto old = bin.numbers.begin();
    const auto add = [&](double x, std::uint64_t n) {
      if (!all.empty() && all.back().first == x)
        all.back().second += n;
      else
        all.emplace_back(x, n);
    };
    for (const double x : bin.fresh) {
      for (; old != bin.numbers.end() && old->first < x; ++old) add(old->first, old->second);
      add(x, 1);
    }
    for (; old != bin.numbers.end(); ++old) add(old->first, old->second);
    bin.numbers = std::move(all);
    bin.fresh.clear();
    if (bin.numbers.size() <= most_different) return;
    crowded_ = true;
    held_.clear();
    slots_.assign(slots_.size(), -1);
  }

  double at(std::uint64_t rank) const {
    const Bin* of = nullptr;
    for (const auto& bin : held_)
      if (bin.before < rank && (!of || bin.before > of->before)) of = &bin;
    std::uint64_t left = rank - of->before;
    auto number = of->numbers.begin();
    for (; left > number->second; ++number) left -= number->second;
    return number->first;
  }

  std::span<const double> quantiles_;
  double confidence_;
  Sums sums_;
  double least_ = HUGE_VAL, most_ = -HUGE_VAL;
  double low_ = 0, high_ = 0, scale_ = 0;
  std::vector<std::uint64_t> counts_;
  std::vector<int> slots_;  ///< which of `held_` a bin is; -1 for none
  std::vector<Bin> held_;
  bool crowded_ = false;
};

}  // namespace

std::vector<Description> describe_each(std::size_t columns, const SideBySide& rows,
                                       std::span<const double> quantiles, double confidence) {
  std::vector<Described> all(columns, Described(quantiles, confidence));
  rows([&](std::size_t k, std::span<const double> piece) { all[k].first(piece); });
  for (auto& one : all) one.between();
  rows([&](std::size_t k, std::span<const double> piece) { all[k].second(piece); });
  std::vector<Description> found;
  for (std::size_t k = 0; k < columns; ++k) {
    auto d = all[k].description();
    // Searched digit by digit, which takes more passes but no more memory.
    if (!d)
      d = describe(
          [&](const std::function<void(std::span<const double>)>& see) {
            rows([&](std::size_t of, std::span<const double> piece) {
              if (of == k) see(piece);
            });
          },
          quantiles, confidence);
    found.push_back(std::move(*d));
  }
  return found;
}

}  // namespace serosa::study
