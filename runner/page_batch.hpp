// SPDX-License-Identifier: Apache-2.0
// The folder of a finished batch read back, a column at a time: what its page is made of.
#pragma once
#include <filesystem>
#include <limits>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "files/document.hpp"
#include "files/netcdf.hpp"

namespace serosa::runner {

/// The data files of `sweep` and `merge`. Memory holds a few columns of one number per run,
/// whatever the number of outputs, arms and times.
class BatchData {
 public:
  struct Arm {
    std::string name;         ///< as the study names it
    std::string label;        ///< the same with a capital
    files::Node understood;   ///< the case at the middle of all inputs
    double weight;            ///< kg at birth, of that case
    std::vector<bool> done;   ///< which runs finished
    std::vector<int> status;  ///< simulate::RunStatus of each run
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

  /// A number per run; NaN where the run did not finish.
  std::vector<double> column(const Output& output, std::size_t arm, std::size_t time) const;
  std::vector<double> column(const Input& input) const;
  /// Birth weight of each run, kg.
  std::vector<double> weights(std::size_t arm) const;

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

  std::filesystem::path folder_;
  files::Node study_;
  std::unique_ptr<files::NetcdfReader> file_;
};

}  // namespace serosa::runner
