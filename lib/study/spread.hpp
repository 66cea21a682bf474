// SPDX-License-Identifier: Apache-2.0
// How sure is this? The spread of a case's outputs when parameters are drawn from their ranges.
#pragma once
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "study/batch.hpp"
#include "study/statistics.hpp"

namespace serosa::study {

struct SpreadArm {
  std::string name;
  care::Case c;
  baby::Parameters<double> parameters;  ///< those that are not drawn keep these
};

struct SpreadRequest {
  std::vector<SpreadArm> arms;    ///< each run under the same draws
  std::vector<Input> parameters;  ///< with `parameter` set and their laws
  std::vector<bool> assumed;      ///< of each: is its range an assumption?
  std::vector<simulate::output::Index> outputs;
  std::vector<double> times;  ///< h, rising
  std::uint64_t runs = 0;     ///< of each arm; a multiple of 4, at least 8
  std::uint64_t seed = 1;
  std::vector<double> quantiles{0.05, 0.5, 0.95};  ///< rising
  double confidence = 0.95;                        ///< of the shares of variance
  int threads = 1;
  simulate::Settings settings;
  std::function<void(std::uint64_t)> progress;  ///< told how many runs were done since, all arms
};

/// One output of one arm at one time.
struct SpreadFigure {
  std::uint64_t n = 0;            ///< runs that finished
  std::vector<double> quantiles;  ///< at the levels asked for; NaN when no run finished
  double mean = 0, sd = 0;
  /// Closed Sobol' index of all assumptions together: the share of the variance that would go if
  /// they were known; and of all other parameters. What they leave is owed to both together. NaN
  /// where nothing varies, or where one of the two kinds has no parameter.
  Estimate assumed, measured;
};

/// The design of a spread: a quarter of the runs are a base sample A, a quarter a second one B, a
/// quarter A with the assumptions of B, a quarter A with the other parameters of B (a radial design
/// with two groups). Throws std::invalid_argument when `runs` is no multiple of 4, or below 8.
Design spread_design(const std::vector<Input>& parameters, const std::vector<bool>& assumed,
                     std::uint64_t runs, std::uint64_t seed);

/// A figure of all runs of that design, in their order; NaN where a run has none.
SpreadFigure spread_figure(const Design& design, std::vector<double> values,
                           std::span<const double> quantiles, double confidence);

struct Spread {
  std::size_t arms = 0, outputs = 0, times = 0;
  std::vector<double> levels;             ///< of the quantiles
  std::vector<std::uint64_t> failed;      ///< runs, by arm
  std::vector<SpreadFigure> figures;      ///< arms × outputs × times
  std::vector<SpreadFigure> differences;  ///< (arms − 1) × outputs × times: an arm less the first,
                                          ///< draw by draw
  const SpreadFigure& at(std::size_t arm, std::size_t output, std::size_t time) const {
    return figures[(arm * outputs + output) * times + time];
  }
  const SpreadFigure& difference(std::size_t arm, std::size_t output, std::size_t time) const {
    return differences[((arm - 1) * outputs + output) * times + time];
  }
};

/// Draws the parameters by `spread_design` and runs all arms; every run is a draw from the ranges,
/// so all serve the bands.
/// Memory: runs × arms × outputs × times numbers. Throws std::invalid_argument when `runs` is no
/// such number.
Spread spread(const SpreadRequest& request);

}  // namespace serosa::study
