// SPDX-License-Identifier: Apache-2.0
// What there is: parameters, outputs, data files, and hours from text.
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

#include "python/module.hpp"
#include "simulate/output_formulas.hpp"
#include "study/difference.hpp"
#include "units/units.hpp"

namespace serosa::python {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void refuse(const std::string& message) {
  files::Problems problems;
  problems.error({}, {}, message);
  throw files::InputError(std::move(problems));
}

/// A parameter, or a number of a data file, as a dictionary.
py::dict described(const files::ParameterEntry& p, const files::Bibliography& bibliography) {
  const auto found = bibliography.find(p.source_key);
  py::dict d;
  d["name"] = p.name;
  d["value"] = p.value;
  d["unit"] = std::string(units::shown(p.unit));
  d["low"] = p.range.low;
  d["high"] = p.range.high;
  d["distribution"] = std::string(files::word_of(p.distribution));
  d["grade"] = std::string(files::word_of(p.grade));
  d["source"] = p.source_key;
  d["where"] = p.source_where;
  d["reference"] = found == bibliography.end() ? std::string() : found->second.full_citation();
  d["note"] = p.note;
  d["value_in_model"] = p.model_value;
  d["unit_in_model"] = std::string(units::shown(p.model_unit));
  return d;
}

py::list parameters(const fs::path& models) {
  const auto library = read_library(models);
  py::list all;
  for (const auto& p : library->models.parameters) all.append(described(p, library->bibliography));
  return all;
}

py::list outputs() {
  py::list all;
  for (std::size_t i = 0; i < simulate::output::count; ++i) {
    const auto& o = simulate::output_list[i];
    py::dict d;
    d["name"] = std::string(o.name);
    d["unit"] = std::string(o.unit);
    d["meaning"] = std::string(o.meaning);
    d["formula"] = std::string(simulate::output_formulas[i]);
    all.append(std::move(d));
  }
  return all;
}

/// The parts of which a deficit is made.
py::list parts() {
  py::list all;
  for (const auto& info : study::part_list) {
    py::dict d;
    d["name"] = std::string(info.name);
    d["group"] = info.group == study::part::Group::route   ? "route"
                 : info.group == study::part::Group::store ? "store"
                                                           : "solid";
    d["meaning"] = std::string(info.meaning);
    all.append(std::move(d));
  }
  return all;
}

constexpr files::DataKind kinds[] = {files::DataKind::cover, files::DataKind::fluid,
                                     files::DataKind::warmer, files::DataKind::room};

py::dict data_files(const fs::path& models) {
  const fs::path folder = models_folder(models);
  py::dict names;
  for (const auto kind : kinds)
    names[py::str(std::string(files::folder_of(kind)))] = files::data_names(folder, kind);
  return names;
}

py::dict data_file(const std::string& kind_name, const std::string& name, const fs::path& models) {
  const auto library = read_library(models);
  for (const auto kind : kinds) {
    if (files::folder_of(kind) != kind_name) continue;
    files::Problems problems;
    const auto path =
        files::find_data_file(library->models.folder, kind_name, name, {}, {}, problems);
    problems.refuse_if_any();
    const auto file = files::read_data_file(kind, *path, &library->bibliography, problems);
    problems.refuse_if_any();
    py::list numbers;
    for (const auto& number : file.numbers)
      numbers.append(described(number, library->bibliography));
    py::dict d;
    d["name"] = file.name;
    d["title"] = file.title;
    d["note"] = file.note;
    d["numbers"] = numbers;
    return d;
  }
  refuse("there is no kind of data file " + files::quote(kind_name) +
         "; covers, fluids, warmers or rooms");
}

double hours(const std::string& text) try {
  return units::to_model(text, "h");
} catch (const units::Error& error) {
  refuse(files::quote(text) + ": " + error.what() + " (" + error.expected() + ")");
}

}  // namespace

fs::path models_folder(const fs::path& named) {
  const fs::path folder = named.empty() ? files::default_models_folder() : named;
  std::error_code failure;
  if (!folder.empty() && fs::is_directory(folder / "parameters", failure))
    return fs::canonical(folder);
  if (!named.empty())
    refuse("models " + files::quote(named.string()) +
           " is not a folder of data files: there is no folder \"parameters\" in it");
  refuse("the data files were not found beside the module; name their folder with models=");
}

std::shared_ptr<const Library> read_library(const fs::path& option) {
  files::Problems problems;
  auto library = std::make_shared<Library>();
  const fs::path folder = models_folder(option);
  if (auto read = files::read_bibliography(folder / "references.bib", problems))
    library->bibliography = std::move(*read);
  library->models = files::read_models(folder, &library->bibliography, problems);
  problems.refuse_if_any();
  return library;
}

void add_library(py::module_& module) {
  using namespace py::literals;
  module.def("parameters", &parameters, "models"_a,
             "All parameters, a dictionary each. Raises InputError.");
  module.def("outputs", &outputs, "All outputs, a dictionary each.");
  module.def("parts", &parts, "The parts of which a deficit is made.");
  module.def("data_files", &data_files, "models"_a,
             "Names of covers, fluids, warmers and rooms. Raises InputError.");
  module.def("data_file", &data_file, "kind"_a, "name"_a, "models"_a,
             "A cover, fluid, warmer or room with its numbers. Raises InputError.");
  module.def("models_folder", &models_folder, "models"_a,
             "The folder of data files that is meant. Raises InputError.");
  module.def("hours", &hours, "text"_a, "A time such as '20 min' in h. Raises InputError.");
}

}  // namespace serosa::python
