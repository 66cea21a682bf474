// SPDX-License-Identifier: Apache-2.0
#include "study/sensitivity.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <stdexcept>

#include "study/probability.hpp"
#include "study/random.hpp"

namespace serosa::study {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double variance(double n, double sum, double squares) {
  const double mean = sum / n;
  return squares / n - mean * mean;
}
double correlation(double n, double x, double y, double xx, double yy, double xy) {
  return (xy / n - x / n * (y / n)) / std::sqrt(variance(n, x, xx) * variance(n, y, yy));
}

}  // namespace

double janon_2014(const RadialSums& s) {
  const double mean = (s.b + s.c) / (2 * s.n);
  return (s.bc / s.n - mean * mean) / ((s.bb + s.cc) / (2 * s.n) - mean * mean);
}
double martinez_2011(const RadialSums& s) { return correlation(s.n, s.b, s.c, s.bb, s.cc, s.bc); }
double jansen_1999(const RadialSums& s) {
  return 1 - (s.bb - 2 * s.bc + s.cc) / (2 * s.n) / variance(s.n, s.a, s.aa);
}
double jansen_1999_total(const RadialSums& s) {
  return (s.aa - 2 * s.ac + s.cc) / (2 * s.n) / variance(s.n, s.a, s.aa);
}
double martinez_2011_total(const RadialSums& s) {
  return 1 - correlation(s.n, s.a, s.c, s.aa, s.cc, s.ac);
}

bool not_distinguishable_from_zero(const Estimate& e) { return !(e.low > 0 || e.high < 0); }

std::vector<std::uint64_t> all_points(const RadialPlan& plan) {
  std::vector<std::uint64_t> all(plan.base);
  std::iota(all.begin(), all.end(), std::uint64_t{0});
  return all;
}

// ---- Weighted sums -----------------------------------------------------------------------------

namespace {

// Eight columns and four resamples at a time: the sums stay in registers. Sums run over the points
// in order, whatever the instruction set, so their bits are the same on all.
constexpr std::size_t panel = 8, abreast = 4;
using Four = double __attribute__((vector_size(32)));

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
__attribute__((target_clones("default", "arch=x86-64-v3")))
#endif
void panel_sums(const double* weights, const double* columns, std::size_t points, double* sums) {
  Four low[abreast] = {}, high[abreast] = {};
  for (std::size_t i = 0; i < points; ++i) {
    Four left, right;
    __builtin_memcpy(&left, columns + i * panel, sizeof left);
    __builtin_memcpy(&right, columns + i * panel + 4, sizeof right);
    for (std::size_t r = 0; r < abreast; ++r) {
      const double w = weights[i * abreast + r];
      low[r] += w * left;
      high[r] += w * right;
    }
  }
  for (std::size_t r = 0; r < abreast; ++r) {
    __builtin_memcpy(sums + r * panel, &low[r], sizeof low[r]);
    __builtin_memcpy(sums + r * panel + 4, &high[r], sizeof high[r]);
  }
}

/// Columns of numbers, eight by eight, one row per point.
class Columns {
 public:
  Columns(std::size_t points, std::size_t count)
      : points_(points),
        panels_((count + panel - 1) / panel),
        numbers_(points * panels_ * panel, 0.0) {}
  double& at(std::size_t column, std::size_t point) {
    return numbers_[(column / panel * points_ + point) * panel + column % panel];
  }
  const double* panel_at(std::size_t p) const { return numbers_.data() + p * points_ * panel; }
  std::size_t panels() const { return panels_; }
  std::size_t width() const { return panels_ * panel; }

 private:
  std::size_t points_, panels_;
  std::vector<double> numbers_;
};

// Where the sums of a figure stand among the columns.
enum : std::size_t { col_a, col_b, col_aa, col_bb, first_c };
constexpr std::size_t per_c = 4;

RadialSums sums_at(const double* row, double n, std::size_t c) {
  const double* const own = row + first_c + per_c * c;
  return {n, row[col_a], row[col_b], own[0], row[col_aa], row[col_bb], own[1], own[2], own[3]};
}

double first_of(FirstOrder which, const RadialSums& s) {
  switch (which) {
    case FirstOrder::janon_2014:
      return janon_2014(s);
    case FirstOrder::martinez_2011:
      return martinez_2011(s);
    case FirstOrder::jansen_1999:
      return jansen_1999(s);
  }
  return nan;
}
double total_of(TotalOrder which, const RadialSums& s) {
  return which == TotalOrder::jansen_1999 ? jansen_1999_total(s) : martinez_2011_total(s);
}

}  // namespace

IndexEstimator::IndexEstimator(const RadialPlan& plan, const IndexSettings& settings,
                               const std::vector<std::uint64_t>& kept)
    : plan_(plan), settings_(settings), kept_(kept) {
  const std::size_t n = kept.size();
  resamples_ = plan.scrambles > 0 ? plan.scrambles : settings.replicates;
  // The first of all is the sample itself.
  const std::size_t rows = (1 + resamples_ + abreast - 1) / abreast * abreast;
  weights_.assign(rows * n, 0.0);
  sizes_.assign(rows, 0.0);
  const auto weight = [&](std::size_t row, std::size_t point) -> double& {
    return weights_[(row / abreast * n + point) * abreast + row % abreast];
  };
  for (std::size_t i = 0; i < n; ++i) weight(0, i) = 1;
  for (std::size_t r = 0; r < resamples_; ++r)
    for (std::size_t i = 0; i < n; ++i) {
      if (plan.scrambles > 0) {
        weight(r + 1, i) = kept[i] % plan.scrambles == r ? 0 : 1;
        continue;
      }
      const std::uint64_t bits = random_bits(settings.seed, stream_of("bootstrap") + r, i);
      // The high half of the product: uniform over the points.
      __extension__ using Wide = unsigned __int128;
      weight(r + 1, static_cast<std::size_t>((static_cast<Wide>(bits) * n) >> 64)) += 1;
    }
  for (std::size_t row = 0; row < rows; ++row)
    for (std::size_t i = 0; i < n; ++i) sizes_[row] += weight(row, i);
}

double IndexEstimator::standard_error(std::span<const double> replicates, double& quantile) const {
  const auto m = static_cast<double>(replicates.size());
  double mean = 0, squares = 0;
  for (const double x : replicates) mean += x / m;
  for (const double x : replicates) squares += (x - mean) * (x - mean);
  const double tail = 0.5 + 0.5 * settings_.confidence;
  if (plan_.scrambles > 0) {
    quantile = student_quantile(tail, m - 1);
    return std::sqrt((m - 1) / m * squares);
  }
  quantile = normal_quantile(tail);
  return std::sqrt(squares / (m - 1));
}

Indices IndexEstimator::estimate(std::span<const double> values) const {
  if (values.size() != plan_.runs())
    throw std::invalid_argument(plan_.sum() + " runs, found " + std::to_string(values.size()));
  const std::size_t n = kept_.size(), width = plan_.width(), groups = plan_.groups.size();
  Indices result;
  const Estimate none{nan, nan, nan};
  result.first.assign(groups, none);
  result.total.assign(groups, none);
  result.second.assign(plan_.pairs.size(), none);
  result.mean = result.variance = nan;
  if (n < 2) return result;
  // About the mean, so that sums of squares keep their digits.
  double sum = 0;
  for (const auto i : kept_) sum += values[i * width] + values[i * width + 1];
  const double centre = sum / static_cast<double>(2 * n);
  Columns columns(n, first_c + per_c * (width - 2));
  double squares = 0;
  bool varies = false;
  for (std::size_t i = 0; i < n; ++i) {
    const double* const run = values.data() + kept_[i] * width;
    const double a = run[0] - centre, b = run[1] - centre;
    varies = varies || run[0] != values[kept_[0] * width] || run[1] != values[kept_[0] * width];
    columns.at(col_a, i) = a;
    columns.at(col_b, i) = b;
    columns.at(col_aa, i) = a * a;
    columns.at(col_bb, i) = b * b;
    squares += a * a + b * b;
    for (std::size_t k = 2; k < width; ++k) {
      const double c = run[k] - centre;
      const std::size_t place = first_c + per_c * (k - 2);
      columns.at(place, i) = c;
      columns.at(place + 1, i) = c * c;
      columns.at(place + 2, i) = a * c;
      columns.at(place + 3, i) = b * c;
    }
  }
  result.mean = centre;
  result.variance = squares / static_cast<double>(2 * n - 1);
  if (!varies) return result;
  const std::size_t rows = 1 + resamples_;
  std::vector<double> sums((rows + abreast) * columns.width());
  double block[abreast * panel];
  for (std::size_t r = 0; r < rows; r += abreast)
    for (std::size_t p = 0; p < columns.panels(); ++p) {
      panel_sums(weights_.data() + r * n, columns.panel_at(p), n, block);
      for (std::size_t k = 0; k < abreast && r + k < rows; ++k)
        std::copy(block + k * panel, block + (k + 1) * panel,
                  sums.data() + (r + k) * columns.width() + p * panel);
    }
  std::vector<double> replicates(resamples_);
  const auto estimate = [&](auto index) {
    const auto of_row = [&](std::size_t row) {
      return index(sums.data() + row * columns.width(), sizes_[row]);
    };
    for (std::size_t r = 0; r < resamples_; ++r) replicates[r] = of_row(r + 1);
    double quantile = 0;
    const double value = of_row(0);
    const double half = standard_error(replicates, quantile) * quantile;
    return Estimate{value, value - half, value + half};
  };
  const auto first = [&](const double* row, double size, std::size_t c) {
    return first_of(settings_.first, sums_at(row, size, c));
  };
  for (std::size_t g = 0; g < groups; ++g) {
    result.first[g] = estimate([&](const double* row, double size) { return first(row, size, g); });
    result.total[g] = estimate([&](const double* row, double size) {
      return total_of(settings_.total, sums_at(row, size, g));
    });
  }
  for (std::size_t p = 0; p < plan_.pairs.size(); ++p)
    result.second[p] = estimate([&](const double* row, double size) {
      return first(row, size, groups + p) - first(row, size, plan_.pairs[p].first) -
             first(row, size, plan_.pairs[p].second);
    });
  return result;
}

// ---- Elementary effects ------------------------------------------------------------------------

ElementaryEffects elementary_effects(const TrajectoryPlan& plan, std::span<const Step> steps,
                                     std::span<const double> values, double confidence) {
  if (values.size() != plan.runs())
    throw std::invalid_argument(plan.sum() + " runs, found " + std::to_string(values.size()));
  const std::size_t groups = plan.groups.size(), width = plan.width();
  std::vector<std::vector<double>> effects(groups);
  for (std::uint64_t t = 0; t < plan.trajectories; ++t) {
    const double* const y = values.data() + t * width;
    if (std::any_of(y, y + width, [](double x) { return std::isnan(x); })) continue;
    for (std::size_t p = 0; p < groups; ++p) {
      const Step& step = steps[t * groups + p];
      effects[step.group].push_back(step.sign * (y[p + 1] - y[p]) / plan.step());
    }
  }
  ElementaryEffects result;
  for (std::size_t g = 0; g < groups; ++g) {
    const auto m = static_cast<double>(effects[g].size());
    double mean = 0, size = 0, squares = 0, size_squares = 0;
    for (const double e : effects[g]) mean += e / m, size += std::fabs(e) / m;
    for (const double e : effects[g]) {
      squares += (e - mean) * (e - mean);
      size_squares += (std::fabs(e) - size) * (std::fabs(e) - size);
    }
    const bool some = m > 1, single = plan.groups[g].inputs.size() == 1;
    const double half = some ? student_quantile(0.5 + 0.5 * confidence, m - 1) *
                                   std::sqrt(size_squares / (m - 1) / m)
                             : nan;
    result.mu_star.push_back(m > 0 ? Estimate{size, size - half, size + half}
                                   : Estimate{nan, nan, nan});
    result.mu.push_back(single && m > 0 ? mean : nan);
    result.sigma.push_back(single && some ? std::sqrt(squares / (m - 1)) : nan);
  }
  return result;
}

// ---- Rank correlations -------------------------------------------------------------------------

std::vector<double> ranks_of(std::span<const double> values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](std::size_t i, std::size_t j) {
    return values[i] < values[j] || (values[i] == values[j] && i < j);
  });
  std::vector<double> ranks(values.size());
  for (std::size_t first = 0; first < order.size();) {
    std::size_t last = first;
    while (last + 1 < order.size() && values[order[last + 1]] == values[order[first]]) ++last;
    for (std::size_t i = first; i <= last; ++i)
      ranks[order[i]] = 1 + 0.5 * static_cast<double>(first + last);
    first = last + 1;
  }
  return ranks;
}

namespace {

/// Ranks about their mean, of length 1; zeros when all are equal.
std::vector<double> scores_of(std::span<const double> values) {
  auto r = ranks_of(values);
  const double mean = 0.5 * static_cast<double>(r.size() + 1);
  double squares = 0;
  for (double& x : r) x -= mean, squares += x * x;
  const double length = std::sqrt(squares);
  for (double& x : r) x = length > 0 ? x / length : 0;
  return r;
}

double product(std::span<const double> x, std::span<const double> y) {
  return std::inner_product(x.begin(), x.end(), y.begin(), 0.0);
}

/// Inverse of a symmetric positive definite matrix, row by row; empty when it has none to speak of.
std::vector<double> inverse_of(std::vector<double> a, std::size_t n) {
  std::vector<double> inverse(n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i) inverse[i * n + i] = 1;
  // Gauss and Jordan without exchange of rows, which such a matrix does not need.
  for (std::size_t p = 0; p < n; ++p) {
    const double pivot = a[p * n + p];
    if (!(pivot > 1e-10)) return {};
    for (std::size_t j = 0; j < n; ++j) a[p * n + j] /= pivot, inverse[p * n + j] /= pivot;
    for (std::size_t i = 0; i < n; ++i) {
      const double factor = a[i * n + p];
      if (i == p || factor == 0) continue;
      for (std::size_t j = 0; j < n; ++j) {
        a[i * n + j] -= factor * a[p * n + j];
        inverse[i * n + j] -= factor * inverse[p * n + j];
      }
    }
  }
  return inverse;
}

Estimate by_fisher(double r, double n, double confidence) {
  if (std::isnan(r) || n <= 3) return {r, nan, nan};
  // A correlation of one has no width.
  const double z = std::atanh(std::clamp(r, -1.0 + 1e-15, 1.0 - 1e-15));
  const double half =
      normal_quantile(0.5 + 0.5 * confidence) * std::sqrt((1 + r * r / 2) / (n - 3));
  return {r, std::tanh(z - half), std::tanh(z + half)};
}

}  // namespace

RankCorrelations::RankCorrelations(const std::vector<std::vector<double>>& inputs,
                                   double confidence)
    : runs_(inputs.empty() ? 0 : inputs.front().size()), confidence_(confidence) {
  if (runs_ < inputs.size() + 4)
    throw std::invalid_argument("rank correlations with " + std::to_string(inputs.size()) +
                                " inputs need at least " + std::to_string(inputs.size()) +
                                " + 4 = " + std::to_string(inputs.size() + 4) + " runs, found " +
                                std::to_string(runs_));
  for (const auto& column : inputs) {
    if (column.size() != runs_) throw std::invalid_argument("inputs of unequal length");
    scores_.push_back(scores_of(column));
    if (product(scores_.back(), scores_.back()) > 0) varying_.push_back(scores_.size() - 1);
  }
  const std::size_t k = varying_.size();
  std::vector<double> matrix(k * k);
  for (std::size_t i = 0; i < k; ++i)
    for (std::size_t j = 0; j <= i; ++j)
      matrix[i * k + j] = matrix[j * k + i] =
          i == j ? 1.0 : product(scores_[varying_[i]], scores_[varying_[j]]);
  inverse_ = inverse_of(std::move(matrix), k);
}

RankCorrelations::Coefficients RankCorrelations::of(std::span<const double> output) const {
  if (output.size() != runs_)
    throw std::invalid_argument(std::to_string(runs_) + " runs, found " +
                                std::to_string(output.size()));
  Coefficients result;
  const Estimate none{nan, nan, nan};
  result.spearman.assign(scores_.size(), none);
  result.partial.assign(scores_.size(), none);
  const auto y = scores_of(output);
  if (!(product(y, y) > 0)) return result;
  const std::size_t k = varying_.size();
  std::vector<double> r(k);
  const auto n = static_cast<double>(runs_);
  for (std::size_t i = 0; i < k; ++i) {
    r[i] = product(scores_[varying_[i]], y);
    result.spearman[varying_[i]] = by_fisher(r[i], n, confidence_);
  }
  if (inverse_.empty()) return result;
  // Regression of the output's scores on all inputs' at once: slopes b, what is left 1 - r b.
  std::vector<double> b(k, 0.0);
  for (std::size_t i = 0; i < k; ++i) b[i] = product(std::span(inverse_).subspan(i * k, k), r);
  const double left = std::max(0.0, 1 - product(b, r));
  for (std::size_t i = 0; i < k; ++i) {
    const double size = std::sqrt(inverse_[i * k + i] * left + b[i] * b[i]);
    result.partial[varying_[i]] =
        by_fisher(size > 0 ? b[i] / size : 0.0, n - static_cast<double>(k - 1), confidence_);
  }
  return result;
}

}  // namespace serosa::study
