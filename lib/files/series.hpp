// SPDX-License-Identifier: Apache-2.0
// What `series.nc` holds, as data: from the one list come the file and the Python module's Dataset.
#pragma once
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "files/results.hpp"

namespace serosa::files {

/// One variable of the series, with its attributes of the CF conventions.
struct SeriesVariable {
  std::string name;
  bool by_run = true;   ///< has the dimension `run`
  bool by_time = true;  ///< has the dimension `time`, after it
  std::vector<std::pair<std::string, std::string>> attributes;
  std::vector<signed char> flag_values;  ///< attribute of a status; else empty
  /// All values, the last dimension fastest; NaN where a run did not get to.
  std::variant<std::vector<double>, std::vector<int>, std::vector<signed char>,
               std::vector<std::string>>
      values;
};

struct Series {
  std::size_t runs = 0, times = 0;  ///< lengths of the dimensions
  std::vector<std::pair<std::string, std::string>> attributes;
  std::vector<SeriesVariable> variables;  ///< time first
};

/// Of `results`, the cases, times, extra series and the build are taken.
Series series_of(const Results& results);

}  // namespace serosa::files
