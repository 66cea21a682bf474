// SPDX-License-Identifier: Apache-2.0
// The data files: parameters, and what covers, fluids, warmers and rooms there are.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "baby/parameters.hpp"
#include "care/case.hpp"
#include "files/parameter_file.hpp"

namespace serosa::files {

/// A cover, fluid, warmer or room as its file gives it.
struct DataFile {
  std::string name;  ///< of the file, without ending
  std::string title;
  std::string note;
  std::vector<ParameterEntry> numbers;
};

/// The kinds of data file: folder below the models, and what one is called.
enum class DataKind { cover, fluid, warmer, room };
std::string_view folder_of(DataKind kind);

/// The folder of data files and the parameters in it. Covers and the like are read when a case
/// names them.
struct Models {
  std::filesystem::path folder;
  std::vector<ParameterEntry> parameters;  ///< in the order of baby::parameter_list

  /// All values in the model's units.
  baby::Parameters<double> values() const;
  const ParameterEntry* find(std::string_view name) const;
};

/// One parameter by its place in the list.
double& parameter(baby::Parameters<double>& p, std::size_t index);

/// Reads the parameters; with a bibliography, every source must resolve in it.
Models read_models(const std::filesystem::path& folder, const Bibliography* bibliography,
                   Problems& problems);

/// Where the data files are: `models` beside the program's build or installation, or in the
/// environment's SEROSA_MODELS. Empty when there are none.
std::filesystem::path default_models_folder();

/// Keys of a data file, for documentation and schema.
const KeyTable& data_keys(DataKind kind);

care::Cover read_cover(const std::filesystem::path& path, Problems& problems);
care::Fluid read_fluid(const std::filesystem::path& path, Problems& problems);
care::Warmer read_warmer(const std::filesystem::path& path, Problems& problems);
care::Room read_room(const std::filesystem::path& path, Problems& problems);

/// A data file as it stands, with the source of every number.
DataFile read_data_file(DataKind kind, const std::filesystem::path& path,
                        const Bibliography* bibliography, Problems& problems);

/// Names of all data files of a kind, sorted.
std::vector<std::string> data_names(const std::filesystem::path& models, DataKind kind);

}  // namespace serosa::files
