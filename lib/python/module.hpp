// SPDX-License-Identifier: Apache-2.0
// The parts of the extension module `serosa._serosa`. One function for each source file; a new part
// is one more function here and its call in module.cpp.
#pragma once
#include <pybind11/pybind11.h>

#include <filesystem>
#include <memory>
#include <string>

#include "files/models.hpp"
#include "files/results.hpp"

namespace serosa::python {

namespace py = pybind11;

void add_errors(py::module_& module);
void add_library(py::module_& module);
void add_cases(py::module_& module);
void add_runs(py::module_& module);
void add_studies(py::module_& module);

/// The data files with their bibliography. Never changed once read, so that cases share it.
struct Library {
  files::Models models;
  files::Bibliography bibliography;
};

/// Reads a folder of data files; an empty path means the one that belongs to the module.
/// Throws files::InputError.
std::shared_ptr<const Library> read_library(const std::filesystem::path& folder);

/// The folder meant by an argument `models`; empty: the default. Throws files::InputError.
std::filesystem::path models_folder(const std::filesystem::path& folder);

/// Which build this module is.
files::BuildInfo build();

}  // namespace serosa::python
