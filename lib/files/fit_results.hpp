// SPDX-License-Identifier: Apache-2.0
// What a fit leaves: tables, fit.nc and the manifest.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "files/fit_file.hpp"
#include "files/results.hpp"

namespace serosa::files {

/// A fit with what it was made of, ready to be written.
struct FitResult {
  const FitFile* file = nullptr;
  const study::Fit* fit = nullptr;
  std::vector<double> times;                              ///< h, of the courses
  std::vector<std::vector<std::vector<double>>> courses;  ///< arms × observables × times
  BuildInfo build;
  std::vector<std::string> warnings;

  std::vector<double> values() const;  ///< of the inputs, fitted
};

/// One row per input: value, interval, bounds, verdict.
std::string fit_csv(const FitResult& r);
/// One row per point of each profile: the input held, how far chi-square rose, all inputs.
std::string profiles_csv(const FitResult& r);
/// One row per measurement: measured, error, fitted, residual in units of the error.
std::string residuals_csv(const FitResult& r);
/// One row per figure: how many, and the root of the mean square of their residuals.
std::string residual_summary_csv(const FitResult& r);
/// One row per search.
std::string starts_csv(const FitResult& r);
/// One row per pair of inputs: correlation by the Fisher information.
std::string correlations_csv(const FitResult& r);
/// One row per input of each combination that the data cannot tell apart.
std::string combinations_csv(const FitResult& r);
/// The fitted courses of the measured outputs, for drawing.
std::string courses_csv(const FitResult& r);

/// NetCDF-4, CF conventions: dimensions input, start, point (of all profiles, one after another)
/// and measurement. Throws NetcdfError.
void write_fit_nc(const std::filesystem::path& path, const FitResult& r);

std::string fit_manifest_json(const FitResult& r,
                              const std::vector<ResultsFolder::Written>& written);

/// In words, one sentence per combination: `a and b: …`.
std::vector<std::string> combination_sentences(const FitResult& r);

/// Writes everything with the fitted cases, the extra files and the log; does not keep the folder.
void write_fit(ResultsFolder& folder, const FitResult& r,
               const std::vector<std::pair<std::string, std::string>>& extra_files,
               std::string_view log);

}  // namespace serosa::files
