// SPDX-License-Identifier: Apache-2.0
// The part of a study file that asks for sensitivities, and what they leave.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "files/models.hpp"
#include "files/reader.hpp"
#include "files/results.hpp"
#include "study/sensitivity_analysis.hpp"

namespace serosa::files {

struct StudyFile;

/// Keys of `sensitivity:`.
const KeyTable& sensitivity_keys();

/// Two inputs that go together, and where that was said.
struct CorrelatedPair {
  std::size_t one, other;
  Origin origin;
};

/// Reads `sensitivity:` and makes the study's design. Everything else of the study has been read.
/// @param design  the study's `design:`; its kind is that of the base points
/// @param kind    as read from it; looked at only when the file gives it
study::SensitivityPlan read_sensitivity(Reader& sensitivity, Reader& design, study::DesignKind kind,
                                        const Models& models,
                                        const std::vector<CorrelatedPair>& correlated,
                                        study::Study& study);

/// NetCDF-4, CF conventions: dimensions arm, output, time, input (and pair, size); every measure
/// with its interval and a flag that says whether zero can be excluded. Answers without times
/// (figures of the run) have dimensions arm, figure, input.
void write_sensitivity_nc(const std::filesystem::path& path, const StudyFile& file,
                          const study::SensitivityResult& result, const BuildInfo& build);

/// One row per arm, answer, time and input: every measure of inputs with its interval.
std::string sensitivity_csv(const study::SensitivityResult& result);
/// The same of pairs of inputs.
std::string second_order_csv(const study::SensitivityResult& result);
/// One row per arm, answer, input and number of base points, at the last time.
std::string convergence_csv(const study::SensitivityResult& result);

}  // namespace serosa::files
