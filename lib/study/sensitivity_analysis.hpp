// SPDX-License-Identifier: Apache-2.0
// The sensitivities of a whole study: every output at every time, of every arm and of every
// difference between arms, figure by figure from what the runs left.
#pragma once
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "study/batch.hpp"
#include "study/sensitivity.hpp"
#include "study/sensitivity_figures.hpp"

namespace serosa::study {

enum class SensitivityMethod { indices, elementary_effects, rank_correlations, elasticities };

/// What a study asks for. The design (Study::design) belongs to it.
struct SensitivityPlan {
  SensitivityMethod method = SensitivityMethod::indices;
  IndexSettings indices;
  std::vector<RunFigure> figures;
  bool convergence = true;  ///< of indices: with an eighth, a quarter, half of the base points too
  bool keep_runs = false;   ///< runs.nc too
};

/// One thing that is measured of every input.
struct Measure {
  std::string name;     ///< of variables and columns
  std::string meaning;  ///< with its source
  bool interval = false;
  bool of_pairs = false;   ///< of pairs of inputs instead
  bool has_unit = false;   ///< carries the output's unit; else a pure number
  bool per_input = false;  ///< and that per unit of the input
};

/// What a measure is taken of: an output, the share of runs in a band, or a figure of the run.
struct Answer {
  std::string name, unit, meaning;
  bool timed = true;  ///< has a value at each of the study's times, else one
};

struct SensitivityResult {
  SensitivityMethod method = SensitivityMethod::indices;
  std::vector<std::string> arms;  ///< then `B less A` for each arm B but the first
  std::vector<Answer> answers;
  std::vector<double> times;        ///< h
  std::vector<std::string> inputs;  ///< or groups of them
  std::vector<std::string> pairs;
  std::vector<Measure> measures;
  std::vector<std::string> found_by;  ///< elasticities: how, per input; may be empty

  /// Of each measure: arms × answers × times × (inputs or pairs). An answer without times has its
  /// values at the first time, NaN at the others.
  std::vector<std::vector<Estimate>> values;
  /// Mean and standard deviation of the answers over the runs (for elasticities the value in the
  /// middle, and NaN): arms × answers × times.
  std::vector<double> mean, sd;
  /// Share of the runs that never reach the level of a figure, whose hour then counts as the last:
  /// arms × answers; 0 for other answers.
  std::vector<double> never;

  std::uint64_t points = 0;      ///< base points, trajectories or runs that were used
  std::uint64_t all_points = 0;  ///< and those there are
  /// With fewer base points: sizes, and per size what `values` holds for the first two measures at
  /// the last time only: sizes × measures × arms × answers × inputs.
  std::vector<std::uint64_t> sizes;
  std::vector<Estimate> by_size;

  std::size_t place(std::size_t arm, std::size_t answer, std::size_t time) const {
    return (arm * answers.size() + answer) * times.size() + time;
  }
  const Estimate& at(std::size_t measure, std::size_t arm, std::size_t answer, std::size_t time,
                     std::size_t input) const {
    return values[measure][place(arm, answer, time) * width(measure) + input];
  }
  std::size_t width(std::size_t measure) const {
    return measures[measure].of_pairs ? pairs.size() : inputs.size();
  }
  const Estimate& at_size(std::size_t size, std::size_t measure, std::size_t arm,
                          std::size_t answer, std::size_t input) const {
    return by_size[(((size * 2 + measure) * arms.size() + arm) * answers.size() + answer) *
                       inputs.size() +
                   input];
  }
};

/// Serves one column of the study's table (Layout) for all runs. Called from several threads.
using ColumnReader = std::function<void(std::size_t column, std::span<double> values)>;

/// What is asked of each input: the measures of a method.
std::vector<Measure> measures_of(SensitivityMethod method, const IndexSettings& settings);

/// Takes the sensitivities. Memory: per thread a few columns of the table, for figures one series;
/// it does not grow with the number of outputs and times.
/// A base point, trajectory or run with a failure in any arm is left out everywhere.
SensitivityResult analyse(const Study& study, const SensitivityPlan& plan,
                          const ColumnReader& column, int threads);

}  // namespace serosa::study
