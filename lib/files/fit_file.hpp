// SPDX-License-Identifier: Apache-2.0
// A fit file with its data: which inputs are fitted within which bounds, to which figures.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "files/fit_data.hpp"
#include "files/study_file.hpp"
#include "study/fit.hpp"

namespace serosa::files {

/// The error of one kind of figure: the standard deviation is the root of the sum of the squares
/// of `sd` and of `share` of the figure.
struct ErrorRule {
  bool in_data = false;  ///< each figure has its own, in the data
  double sd = 0;         ///< in the observable's unit
  double share = 0;
  double at(double figure) const;
};

struct FitFile {
  std::string name;  ///< of the file, without ending
  std::string title, note;
  StudyFile study;  ///< arms, inputs and where they stand
  FitData data;
  std::vector<ErrorRule> errors;  ///< one per observable
  study::FitProblem problem;
  study::FitSettings settings;
  Node understood;  ///< with every default
};

/// Keys of a fit file, for documentation and schema.
const KeyTable& fit_keys();

/// Reads a fit file and its data. Everything wrong goes to `problems`; use it only when nothing was
/// refused. A study file is a fit file, too, when its data state their errors: what only a sweep
/// needs is passed over.
FitFile read_fit(const std::filesystem::path& path, const std::filesystem::path& data,
                 const Models& models, Problems& problems);

/// The error of a measurement whose true figure is known, for simulated data.
study::ErrorOf error_of(const FitFile& file);

/// The values of the inputs that `assignments` name (`parameters.spread=0.3`), the start values of
/// the others. Throws InputError.
std::vector<double> values_of(const FitFile& file, const std::vector<std::string>& assignments);

/// A data file of simulated figures, in the columns and units of the model, that says it is one.
/// @param truth  what it was made with, for the remark at its head
std::string simulated_csv(const FitFile& file, const std::vector<study::Measurement>& measurements,
                          std::span<const double> truth, std::uint64_t seed,
                          const std::string& program);

/// The case of one arm with the fitted values: `serosa run` takes it.
Node fitted_case(const FitFile& file, std::size_t arm, std::span<const double> values);

}  // namespace serosa::files
