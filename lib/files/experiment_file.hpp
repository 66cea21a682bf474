// SPDX-License-Identifier: Apache-2.0
// A published experiment as a file: read, checked, turned into study::Experiment.
#pragma once
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "files/bibliography.hpp"
#include "files/case_file.hpp"
#include "study/experiment.hpp"

namespace serosa::files {

/// An experiment as read.
struct ExperimentFile {
  study::Experiment experiment;
  std::vector<std::shared_ptr<const Source>> sources;  ///< the file and shipped cases it builds on
};

/// Keys of a file of an experiment, for documentation and schema.
const KeyTable& experiment_keys();

/// Reads an experiment. With a bibliography, the source of the experiment and those of all
/// overrides must resolve in it; a file of somebody else may name works that it does not hold, then
/// pass none. Everything wrong goes to `problems`; use the experiment only when nothing was
/// refused.
ExperimentFile read_experiment(const std::filesystem::path& path, const Models& models,
                               const Bibliography* bibliography, Problems& problems);

/// The shipped experiments, `models/published/*.yaml`, sorted by name.
std::vector<std::filesystem::path> published_experiments(const std::filesystem::path& models);

}  // namespace serosa::files
