// SPDX-License-Identifier: Apache-2.0
// What `--spread` leaves: quantiles of the outputs over draws of the parameters.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "files/results.hpp"
#include "study/spread.hpp"

namespace serosa::files {

/// A spread with the names of what it is of.
struct SpreadResults {
  study::Spread spread;
  std::vector<std::string> cases;  ///< names
  std::vector<simulate::output::Index> outputs;
  std::vector<double> times;  ///< h
  std::uint64_t runs = 0, seed = 1;
  std::size_t drawn = 0, assumed = 0;  ///< parameters that were drawn, and assumptions among them
  std::vector<std::string> kept;       ///< parameters that a case sets and that were not drawn

  /// Cases, then `B less A` of every case B but the first A.
  std::vector<std::string> columns() const;
  const study::SpreadFigure& at(std::size_t column, std::size_t output, std::size_t time) const;
};

/// One row per case (and difference), output and time.
std::string spread_csv(const SpreadResults& results);

/// NetCDF-4, CF conventions: dimensions case, output, time, quantile.
void write_spread_nc(const std::filesystem::path& path, const SpreadResults& results,
                     const BuildInfo& build);

/// What a page needs of that file, read back. Throws NetcdfError.
struct SpreadCourses {
  std::vector<std::string> cases, outputs, meanings, units;
  std::vector<double> times, levels;
  std::vector<double> values;   ///< cases × outputs × times × levels
  std::vector<double> assumed;  ///< cases × outputs × times × (value, low, high)
  std::vector<double> published;
  std::string about;  ///< how many draws of what
};
SpreadCourses read_spread_nc(const std::filesystem::path& path);

}  // namespace serosa::files
