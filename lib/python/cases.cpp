// SPDX-License-Identifier: Apache-2.0
#include "python/cases.hpp"

#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

#include "files/side_by_side.hpp"

namespace serosa::python {

namespace fs = std::filesystem;

Case::Case(std::shared_ptr<const Library> library, const fs::path& path,
           const std::optional<std::string>& text, const std::vector<std::string>& changes)
    : library_(std::move(library)), name_(path.stem().string()) {
  files::Problems problems;
  const fs::path& models = library_->models.folder;
  auto document = text ? files::read_based_document(files::make_source(path.string(), path, *text),
                                                    models, problems)
                       : files::read_based_document(path, models, problems);
  problems.refuse_if_any();
  document_ = std::move(*document);
  read(changes, problems);
}

Case::Case(std::shared_ptr<const Library> library, std::string name, files::Document document,
           const std::vector<std::string>& changes, files::Problems problems)
    : library_(std::move(library)), name_(std::move(name)), document_(std::move(document)) {
  read(changes, problems);
}

void Case::read(const std::vector<std::string>& changes, files::Problems& problems) {
  // As the program does it: the first change that can't be made ends the reading.
  for (const auto& change : changes)
    if (!files::set_value(document_.root, change, problems)) break;
  problems.refuse_if_any();
  file_ = files::read_case(document_.root, name_, library_->models, problems);
  problems.refuse_if_any();
  file_.sources = document_.sources;
  for (const auto& problem : problems.all()) warnings_.push_back(problem.text());
}

std::shared_ptr<Case> Case::with(const std::vector<std::string>& changes) const {
  return std::shared_ptr<Case>(new Case(library_, name_, document_, changes, {}));
}

const files::CaseFile& Case::twin() const {
  std::call_once(twin_read_, [this] {
    files::Problems problems;
    twin_ = files::ordinary_care(file_, library_->models, problems);
    problems.refuse_if_any();
  });
  return twin_;
}

void add_cases(py::module_& module) {
  using namespace py::literals;
  using Unlocked = py::call_guard<py::gil_scoped_release>;
  py::class_<Case, std::shared_ptr<Case>>(module, "Case",
                                          "A case: read, checked, completed. It never changes.")
      .def(py::init([](const fs::path& path, const std::optional<std::string>& text,
                       const std::vector<std::string>& changes, const fs::path& models) {
             return std::make_shared<Case>(read_library(models), path, text, changes);
           }),
           "path"_a, "text"_a, "changes"_a, "models"_a, Unlocked(),
           "Reads a file, or a text as if it stood in that file. Raises InputError.")
      .def("changed", &Case::with, "changes"_a, Unlocked(),
           "The same case with changes, each `path=value`. Raises InputError.")
      .def("yaml", &Case::yaml, "The case as understood, every default filled in.")
      .def_property_readonly("name", &Case::name, "Name of the file, without ending.")
      .def_property_readonly(
          "title", [](const Case& c) { return c.file().c.title; }, "The title.")
      .def_property_readonly(
          "note", [](const Case& c) { return c.file().c.note; }, "What the case shows.")
      .def_property_readonly(
          "until", [](const Case& c) { return c.file().c.until; }, "The end, h.")
      .def_property_readonly(
          "report_times",
          [](const Case& c) {
            const care::Case* list[] = {&c.file().c};
            const auto times = files::shared_times(list);
            std::vector<double> report;
            for (const auto t : times.report) report.push_back(times.all[t]);
            return report;
          },
          "Times that the case wants in tables, h.")
      .def_property_readonly("warnings", &Case::warnings,
                             "Warnings about the input, as the program prints them.");
}

}  // namespace serosa::python
