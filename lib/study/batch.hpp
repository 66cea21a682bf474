// SPDX-License-Identifier: Apache-2.0
// A study: many babies, each under every arm; drawn, run and kept block by block.
#pragma once
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "simulate/run.hpp"
#include "study/case_numbers.hpp"
#include "study/design.hpp"
#include "study/distribution.hpp"

namespace serosa::study {

/// One input that varies.
struct Input {
  std::string path;     ///< as in a case file: `timeline.wrap.at`; `parameters.spread`
  std::string meaning;
  std::string unit;     ///< of its values
  std::string law_text;  ///< what was asked for, in words
  std::string source;   ///< where the law comes from; may be empty
  Law law = Law::levels({0});
  std::vector<std::string> words;  ///< of an input that is no number; its values count these from 0
  std::optional<std::size_t> parameter;  ///< place in baby::parameter_list
  double possible_low = -std::numeric_limits<double>::infinity();
  double possible_high = std::numeric_limits<double>::infinity();
  bool of_cohort = false;  ///< says who the baby is

  bool is_number() const { return words.empty(); }
};

/// A case as read with one choice of words, ready for numbers to be set.
struct Scene {
  care::Case c;  ///< timeline in the order of the file
  baby::Parameters<double> parameters;
  std::vector<std::vector<Place>> places;  ///< of each input; none where the arm has no such act
};

/// One way of caring for the babies.
struct StudyArm {
  std::string name;
  std::string title;
  std::vector<Scene> scenes;  ///< one per combination of words, the last input changing fastest
};

/// A band whose share of runs is reported.
struct Band {
  std::string name;
  simulate::output::Index output;
  double low, high;  ///< in the output's unit; may be infinite
};

struct Study {
  std::string name, title, note;
  std::vector<Input> inputs;
  Design design;  ///< its names are the inputs' paths
  Copula copula;
  std::vector<StudyArm> arms;
  std::vector<simulate::output::Index> outputs;
  std::vector<double> times;  ///< h, rising; the last is the end
  std::vector<simulate::output::Index> series_outputs;
  std::vector<double> series_times;  ///< h, rising; empty: no series
  std::vector<double> series_quantiles;
  bool series_of_all_runs = false;
  std::vector<Band> bands;
  std::vector<double> quantiles;
  double confidence = 0.95;
  bool exclude_failed = false;  ///< statistics of what finished, else none after a failure
  simulate::Settings settings;

  std::uint64_t runs() const { return design.runs; }
  /// All times at which a run is looked at.
  std::vector<double> all_times() const;
};

/// Draws the inputs of runs. Borrows the study; not for several threads at once.
class Drawer {
 public:
  explicit Drawer(const Study& study);
  /// The values of run `run`, in their units, numbers of words for words.
  void draw(std::uint64_t run, std::vector<double>& values);

 private:
  const Study& study_;
  Points points_;
};

/// Which scene of an arm the words among the values choose.
std::size_t scene_number(const Study& study, const std::vector<double>& values);

/// The case and the parameters of one run of one arm.
/// @return finished when it may be run, else why not
simulate::RunStatus make_run(const Study& study, std::size_t arm, const std::vector<double>& values,
                             care::Case& c, baby::Parameters<double>& parameters);

/// What is kept of a block of runs: a table with one column per number, one row per run, stored
/// column by column. Columns of arm a come after those of a − 1: status, state, end, four of
/// effort, outputs × times, series outputs × series times.
struct Layout {
  explicit Layout(const Study& study);

  enum Fixed : std::size_t { status, state, end, accepted, rejected, evaluations, restarts, count };
  std::size_t times, outputs, series_times, series_outputs, arms;
  std::size_t per_arm;    ///< columns
  std::size_t block;      ///< runs per block
  std::uint64_t runs;
  std::uint64_t blocks;

  std::size_t columns() const { return arms * per_arm; }
  std::size_t fixed(std::size_t arm, Fixed which) const { return arm * per_arm + which; }
  std::size_t value(std::size_t arm, std::size_t output, std::size_t time) const {
    return arm * per_arm + count + output * times + time;
  }
  std::size_t series(std::size_t arm, std::size_t output, std::size_t time) const {
    return arm * per_arm + count + outputs * times + output * series_times + time;
  }
  /// Runs that block `b` holds; the last may be shorter.
  std::size_t runs_of(std::uint64_t b) const {
    const std::uint64_t left = runs - b * block;
    return left < block ? static_cast<std::size_t>(left) : block;
  }
  /// Numbers of a block as kept, the last filled up.
  std::size_t numbers() const { return columns() * block; }
};

/// Computes blocks; holds the working memory. One per thread.
class BlockRunner {
 public:
  explicit BlockRunner(const Study& study);
  /// Draws, runs and keeps block `b`. The result depends on the study and `b` alone.
  /// @param table  resized to Layout::numbers()
  void run(std::uint64_t b, std::vector<double>& table);

 private:
  void keep(std::size_t arm, std::size_t row, const simulate::Result& result,
            std::vector<double>& table) const;

  const Study& study_;
  Layout layout_;
  Drawer drawer_;
  std::vector<double> all_times_;
  std::vector<std::size_t> time_places_, series_places_;  ///< in all_times_
  std::vector<double> values_;
  std::vector<care::Case> cases_;
  std::vector<baby::Parameters<double>> parameters_;
  std::vector<simulate::Job> jobs_;
  std::vector<std::size_t> rows_;  ///< of each job
  std::vector<simulate::Result> results_;
};

}  // namespace serosa::study
