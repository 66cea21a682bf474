// SPDX-License-Identifier: Apache-2.0
// A table of measured figures: a CSV file with a column of times and a column for each figure.
#pragma once
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "files/problems.hpp"
#include "study/fit_model.hpp"

namespace serosa::files {

/// Measured figures, as a CSV file gives them.
///
/// ```text
/// # lines that begin with # are remarks
/// time [min],arm,weight [g],urine [mL],urine sd [mL],core_temperature [degC]
/// 30,exposed,2556.1,0.4,0.2,36.9
/// 60,exposed,2551.8,,,36.7
/// ```
/// Units stand in brackets behind the name or in the row below the headings. A column is called by
/// an output's name, or `weight`; ` since last` behind it means what it rose by since the row
/// before (of the same arm, birth before the first); ` sd` behind that means the standard deviation
/// of the error. A column `note` is skipped. An empty cell was not measured.
struct FitData {
  struct Value {
    std::string arm;  ///< empty: the file has no column of arms
    std::size_t observable;
    double time, since;  ///< h
    double value;        ///< in the observable's unit
    double sd;           ///< NaN where the file states none
    Origin origin;
  };
  std::shared_ptr<const Source> source;
  std::vector<study::Observable> observables;
  std::vector<Origin> headings;  ///< one per observable
  std::vector<bool> own_sd;      ///< per observable: it has a column ` sd`
  std::vector<Value> values;
  bool has_arms = false;
};

/// The most figures a fit takes.
inline constexpr std::size_t most_measurements = 20'000;

/// Reads a table. Everything wrong goes to `problems` with its line and column.
FitData read_fit_data(const std::filesystem::path& path, Problems& problems);

}  // namespace serosa::files
