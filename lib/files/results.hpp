// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "files/problems.hpp"
#include "files/results_folder.hpp"
#include "simulate/run.hpp"

/// What a run of the program leaves: the files of a results folder.
namespace serosa::files {

/// The caution that every page, table and --help carries.
inline constexpr std::string_view caution =
    "For teaching and review. Not dosing advice. Follow local protocols and licensed clinicians.";

/// Which build made the results.
struct BuildInfo {
  std::string version;
  std::string commit;  ///< of the source, "unknown" outside a repository
  std::string compiler;
  std::string build_type;
};

/// One case and what its run gave.
struct CaseResult {
  std::string name;  ///< unique among the cases; names columns and the file in `cases/`
  std::string title;
  std::string understood;  ///< the case with all defaults, as YAML
  const simulate::Result* result = nullptr;
};

/// A figure for each case and report time that is no output of one run.
struct ExtraFigure {
  std::string name;
  std::string unit;
  std::string meaning;
  std::vector<double> values;  ///< cases × report times
};

/// A figure for each case and time that is no output of one run; for `series.nc` only.
struct ExtraSeries {
  std::string name;
  std::string unit;
  std::string meaning;
  std::vector<double> values;  ///< cases × times
};

/// All that a results folder tells.
struct Results {
  std::vector<CaseResult> cases;
  std::vector<double> times;               ///< h, of every result
  std::vector<std::size_t> report_times;   ///< which of them the summary shows
  std::vector<ExtraFigure> extra_figures;  ///< for the summary
  std::vector<ExtraSeries> extra_series;   ///< for the series
  std::vector<std::pair<std::string, std::string>> extra_files;  ///< name and bytes
  std::vector<std::shared_ptr<const Source>> inputs;             ///< every file that was read
  std::vector<std::string> changes;   ///< `path=value` of the command line, in order
  std::vector<std::string> warnings;  ///< as shown
  simulate::Settings settings;
  BuildInfo build;
  std::string instruction_set;
};

/// `20 min`, `2 h`, `1 h 30 min`, `-20 min`; times between whole minutes to six digits.
std::string time_label(double hours);

/// One row per output; columns output, meaning, unit, then one column per case and report time
/// headed `exposed, 2 h`, case after case. Extra figures follow the outputs.
std::string summary_csv(const Results& results);

/// One row per case and time; columns case, `time [h]`, then `bowel_evaporation [g]` and so on.
/// Cells that a failed run did not get to are empty.
std::string series_csv(const Results& results);

/// Writes `series.nc`: NetCDF-4, CF conventions, dimensions run and time. No date goes in: the same
/// results give the same bytes.
void write_series_nc(const std::filesystem::path& path, const Results& results);

/// What made the results and what they are: build, settings, how each run ended, warnings, digests
/// of all inputs and of the `written` outputs. JSON.
std::string manifest_json(const Results& results,
                          const std::vector<ResultsFolder::Written>& written);

/// Writes everything: `case.yaml` (one case) or `cases/NAME.yaml` (several), `summary.csv`,
/// `series.csv`, `series.nc`, the extra files, `log.txt`, and `manifest.json` last; then keeps the
/// folder. `log` is what may differ between two equal runs: date, host, duration.
/// Throws WriteError; the folder then removes what it made.
void write_results(ResultsFolder& folder, const Results& results, std::string_view log);

}  // namespace serosa::files
