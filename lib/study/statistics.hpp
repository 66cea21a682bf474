// SPDX-License-Identifier: Apache-2.0
// Statistics of runs, with intervals. All of them take runs as drawn independently of each other;
// with a Latin hypercube or a Sobol' sequence the true intervals are as a rule narrower.
#pragma once
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace serosa::study {

/// A figure and the ends of its confidence interval; NaN where there is none.
struct Estimate {
  double value, low, high;
};

/// Share of `hits` in `n`, with Wilson's interval (Journal of the American Statistical Association
/// 22 (1927) 209; Newcombe, Statistics in Medicine 17 (1998) 857, method 3).
Estimate share(std::uint64_t hits, std::uint64_t n, double confidence);

/// Ranks (from 1) of the two order statistics that enclose the quantile `q` with at least this
/// confidence, whatever the law; nothing when the sample is too small (Conover, Practical
/// Nonparametric Statistics, 3rd ed. 1999, section 3.2).
std::optional<std::pair<std::uint64_t, std::uint64_t>> quantile_ranks(std::uint64_t n, double q,
                                                                      double confidence);

struct Description {
  std::uint64_t n = 0;
  Estimate mean;  ///< interval by Student's law
  Estimate sd;    ///< interval by its large-sample error, from the fourth moment
  double least, most;
  std::vector<Estimate> quantiles;  ///< interpolated between order statistics (Hyndman and Fan,
                                    ///< The American Statistician 50 (1996) 361, type 7)
};

/// Describes a column of numbers that is handed over piece by piece; pieces are asked for several
/// times when the column is long, so that memory does not grow with it. Sums run in the order of
/// the pieces: the same column gives the same bits.
/// @param column  calls its argument with every piece, in order, the same each time
using Pieces = std::function<void(const std::function<void(std::span<const double>)>&)>;
Description describe(const Pieces& column, std::span<const double> quantiles, double confidence);

/// Many columns that are handed over side by side, a few rows at a time: calls its argument with
/// every piece of every column, without NaN, each column in its order, the same each time.
using SideBySide =
    std::function<void(const std::function<void(std::size_t, std::span<const double>)>&)>;

/// Describes each of them as `describe` does, to the bit, in two passes over all; without intervals
/// of the quantiles. Memory grows with the number of columns, not with their length.
std::vector<Description> describe_each(std::size_t columns, const SideBySide& rows,
                                       std::span<const double> quantiles, double confidence);

/// The order statistics of the ranks (from 1, rising) of a column without NaN.
std::vector<double> order_statistics(const Pieces& column, std::uint64_t n,
                                     std::span<const std::uint64_t> ranks);

/// The longest column that is sorted in memory; longer ones are searched in four passes over the
/// digits of their numbers.
inline constexpr std::uint64_t longest_sorted = std::uint64_t{1} << 18;

}  // namespace serosa::study
