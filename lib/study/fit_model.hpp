// SPDX-License-Identifier: Apache-2.0
// What a fit asks of the model: the figures that were measured, with their derivatives by the
// inputs that are fitted.
#pragma once
#include <cstddef>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "simulate/run.hpp"
#include "study/batch.hpp"

namespace serosa::study {

/// A kind of figure that was measured.
struct Observable {
  std::string name;  ///< as in the data: `urine`, `weight`, `urine since last`
  std::string meaning;
  std::string unit;
  simulate::output::Index output{};
  bool weight = false;      ///< the baby's weight, g: weight at birth and `weight_change`
  bool since_last = false;  ///< what the output rose by since `Measurement::since`
};

/// One measured number.
struct Measurement {
  std::size_t arm = 0;
  std::size_t observable = 0;
  double time = 0;   ///< h
  double since = 0;  ///< h; used where the observable counts since the last one
  double value = 0;  ///< in the observable's unit
  double sd = 1;     ///< of its error
};

/// An input that is fitted: between bounds, on an even or a logarithmic scale.
struct FittedRange {
  double low = 0, high = 1;  ///< in the input's unit
  double start = 0.5;        ///< where the first search begins
  bool logarithmic = false;

  /// To and from the share of the range, 0 to 1.
  double share_of(double value) const;
  double value_at(double share) const;
  /// d value / d share at a share.
  double slope_at(double share) const;
};

/// A study with data to hold it against. The design, outputs and times of the study are not used.
struct FitProblem {
  Study study;                      ///< its inputs are those that are fitted; all are numbers
  std::vector<FittedRange> ranges;  ///< one per input
  std::vector<Observable> observables;
  std::vector<Measurement> measurements;
  simulate::Settings settings{.relative_tolerance = 1e-6};
};

/// The courses of all observables that count from birth on, at `times`, for drawing: arms ×
/// observables × times; NaN for one that counts since the last measurement, and where a run failed.
std::vector<std::vector<std::vector<double>>> courses(const FitProblem& problem,
                                                      std::span<const double> values,
                                                      std::span<const double> times);

/// Computes all figures of a problem. Borrows it; holds working memory; one per thread.
///
/// Derivatives are dual numbers', one pass for every four inputs, on the same recorded steps. Where
/// an input moves a stop away from another of its hour, there is none: what is given then belongs
/// to one side.
class FitModel {
 public:
  static constexpr int width = 4;  ///< inputs per pass

  explicit FitModel(const FitProblem& problem);
  ~FitModel();
  FitModel(FitModel&&) noexcept;

  /// How a computation ended: how the first run that failed did.
  struct Outcome {
    simulate::RunStatus status = simulate::RunStatus::finished;
    std::size_t arm = 0;
    double time = 0;  ///< h
    bool finished() const { return status == simulate::RunStatus::finished; }
  };

  /// The figures at `values` (in the inputs' units).
  /// @param figures  one per measurement
  Outcome figures(std::span<const double> values, std::vector<double>& figures);
  /// The same with their derivatives.
  /// @param slopes  measurements × inputs, per unit of the input
  Outcome figures(std::span<const double> values, std::vector<double>& figures,
                  std::vector<double>& slopes);

  /// For tests: with `frozen`, later calls of `figures` without derivatives repeat the very steps
  /// that the last call with derivatives took.
  void freeze(bool frozen);

  /// Runs done so far; a pass with derivatives counts as one.
  long runs() const;

 private:
  struct Work;
  std::unique_ptr<Work> work_;
};

}  // namespace serosa::study
