// SPDX-License-Identifier: Apache-2.0
// What a finished batch leaves: runs.nc, series.nc, tables and the manifest, assembled from the
// journal in the order of the runs, in memory that does not grow with their number.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "files/journal.hpp"
#include "files/results.hpp"
#include "files/study_file.hpp"

namespace serosa::files {

/// Runs that did not finish, by arm and how they ended.
struct Failures {
  std::vector<std::map<simulate::RunStatus, std::uint64_t>> by_arm;
  std::uint64_t total() const;
  std::uint64_t of(std::size_t arm) const;
};
Failures count_failures(const Blocks& blocks);

/// NetCDF-4, CF conventions: dimensions run, arm and time; inputs, outputs, status and effort per
/// run.
void write_runs_nc(const std::filesystem::path& path, const StudyFile& file, const Blocks& blocks,
                   const BuildInfo& build);

/// Quantile bands over the runs of each arm, of the runs that finished; the course of every run
/// too when the study asks for it.
void write_series_nc(const std::filesystem::path& path, const StudyFile& file, const Blocks& blocks,
                     const BuildInfo& build, bool bands);

/// One row per arm, output and time: number of runs, mean, sd, extremes and quantiles, each with
/// its interval. The headings name the method. No intervals for a full grid, which is no sample.
std::string batch_summary_csv(const StudyFile& file, const Blocks& blocks);
/// One row per arm but the first, output and time: this arm less the first, baby by baby.
std::string differences_csv(const StudyFile& file, const Blocks& blocks);
/// The share of runs in each band.
std::string bands_csv(const StudyFile& file, const Blocks& blocks);
/// How many runs failed, in all and by the way they ended, with intervals.
std::string failed_shares_csv(const StudyFile& file, const Failures& failures);
/// One row per run that did not finish.
void write_failed_runs_csv(const std::filesystem::path& path, const Blocks& blocks,
                           const StudyFile& file);
/// Who is in the cohort: one row per baby.
void write_cohort_csv(const std::filesystem::path& path, const StudyFile& file);

std::string batch_manifest_json(const StudyFile& file, const Failures& failures,
                                const BuildInfo& build, const std::vector<std::string>& warnings,
                                const std::vector<ResultsFolder::Written>& written);

/// The folder of a batch: new, or left by one that was stopped. Files are written under a temporary
/// name, brought to the disk and renamed; a file that is there from an earlier attempt is replaced.
class BatchFolder {
 public:
  static constexpr const char* manifest = "manifest.json";

  /// Throws WriteError for a folder that holds a finished batch or anything else.
  explicit BatchFolder(const std::filesystem::path& path);
  /// The newest unfinished `base/NAME-n` with a journal of this study, else the next n.
  static std::filesystem::path choose(const std::filesystem::path& base, const std::string& name,
                                      const std::string& fingerprint);

  const std::filesystem::path& path() const { return path_; }
  std::filesystem::path journal(Part part) const;
  /// The parts there are, by the names of their journals.
  std::vector<Part> parts() const;

  void write(const std::string& name, const std::string& bytes);
  /// For writers that want a path; `make` gets a temporary one.
  void write(const std::string& name, const std::function<void(const std::filesystem::path&)>& make);
  const std::vector<ResultsFolder::Written>& written() const { return written_; }

 private:
  std::filesystem::path path_;
  std::vector<ResultsFolder::Written> written_;
};

}  // namespace serosa::files
