// SPDX-License-Identifier: Apache-2.0
// The folder of a finished batch read back, a few runs at a time: what its page is made of.
#pragma once
#include <filesystem>
#include <functional>
#include <limits>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <span>
#include <string>
#include <vector>

#include "files/document.hpp"
#include "files/netcdf.hpp"

namespace serosa::runner {

/// The data files of `sweep` and `merge`. Memory does not grow with the number of runs.
class BatchData {
 public:
  struct Arm {
    std::string name;                   ///< as the study names it
    std::string label;                  ///< the same with a capital
    files::Node understood;             ///< the case at the middle of all inputs
    double weight;                      ///< kg at birth, of that case
    std::map<int, std::uint64_t> ends;  ///< runs by simulate::RunStatus
  };
  struct Output {
    std::string name, meaning, unit;
  };
  struct Input {
    std::string variable, path, meaning, unit, law, source;
    std::vector<std::string> words;    ///< of an input that is no number
    nlohmann::ordered_json described;  ///< from inputs.json; null where it does not tell
    bool of_cohort = false;
  };
  struct Band {
    std::string name, output;
    double low = -std::numeric_limits<double>::infinity();
    double high = std::numeric_limits<double>::infinity();
  };

  /// Throws files::InputError, naming the file, when the folder is no finished batch.
  explicit BatchData(const std::filesystem::path& folder);

  /// Some runs of an output, column by column.
  struct Rows {
    std::size_t runs, arms, times;
    std::vector<double> values;   ///< arms × times × runs; NaN where the run did not finish
    std::vector<double> weights;  ///< kg at birth, arms × runs
    std::span<const double> column(std::size_t arm, std::size_t time) const {
      return std::span(values).subspan((arm * times + time) * runs, runs);
    }
    std::span<const double> weights_of(std::size_t arm) const {
      return std::span(weights).subspan(arm * runs, runs);
    }
  };
  /// All runs in their order, some at a time.
  void for_rows(const Output& output, const std::function<void(const Rows&)>& see) const;
  /// An input of all runs in their order, a piece at a time.
  void for_pieces(const Input& input,
                  const std::function<void(std::span<const double>)>& see) const;

  nlohmann::ordered_json manifest;
  std::string title, note, design;
  std::size_t runs = 0;
  double confidence = 0.95;
  bool sampled = true;        ///< not a full grid: runs are a sample, so intervals make sense
  bool statistics = true;     ///< no run failed, or the study leaves failed runs out
  std::vector<double> times;  ///< h
  std::vector<Arm> arms;
  std::vector<Output> outputs;
  std::vector<Input> inputs;
  std::vector<Band> bands;

  /// Quantile bands over time, from series.nc; empty when the study asked for none.
  struct Series {
    Output output;
    std::vector<double> values;  ///< arms × times × quantiles
  };
  std::vector<double> series_times, series_quantiles;
  std::vector<Series> series;

 private:
  void read_study();
  void read_arms();
  void read_runs();
  void read_series();
  std::vector<double> weights(std::size_t first, std::size_t rows) const;

  std::filesystem::path folder_;
  files::Node study_;
  bool any_failed_ = false;
  std::unique_ptr<files::NetcdfReader> file_;
};

}  // namespace serosa::runner
