// SPDX-License-Identifier: Apache-2.0
// Runs of cases, and their results as arrays that look into C++ memory.
#include <pybind11/numpy.h>
#include <pybind11/stl.h>

#include "files/series.hpp"
#include "files/side_by_side.hpp"
#include "python/cases.hpp"
#include "study/difference.hpp"

namespace serosa::python {

namespace {

/// What the runs of some cases gave: the variables of `series.nc`.
struct Runs {
  files::Series series;
  std::vector<std::string> failures;  ///< a sentence for each run that did not finish
  std::vector<std::string> notes;     ///< what was left out of the times
  std::vector<bool> same_start;       ///< of each run: began like the first
};

std::string failure(const std::string& name, const simulate::RunReport& report) {
  std::string text = name + ": " + std::string(simulate::message(report.status));
  if (report.state >= 0)
    text += " (" + std::string(baby::state_list[static_cast<std::size_t>(report.state)].name) + ")";
  return text + ", at " + files::time_label(report.time);
}

[[noreturn]] void refuse(const std::string& message) {
  files::Problems problems;
  problems.error({}, {}, message);
  throw files::InputError(std::move(problems));
}

using Cases = std::vector<std::shared_ptr<Case>>;

/// The times asked for, or those at which the program shows these cases.
std::vector<double> times_of(const Cases& cases, const std::optional<std::vector<double>>& asked,
                             std::vector<std::string>& notes) {
  std::vector<const care::Case*> list;
  for (const auto& c : cases) list.push_back(&c->file().c);
  if (!asked) {
    auto shared = files::shared_times(list);
    notes = std::move(shared.notes);
    return std::move(shared.all);
  }
  if (asked->empty()) refuse("times: give at least one");
  for (std::size_t i = 0; i < asked->size(); ++i) {
    const double t = (*asked)[i];
    if (!(t >= 0)) refuse("times: results begin at birth; give times from 0 on");
    if (i > 0 && t <= (*asked)[i - 1]) refuse("times: each must be later than the one before");
    for (const auto* c : list)
      if (t > c->until)
        refuse("times: " + files::time_label(t) + " lies after the end of the case " +
               files::quote(c->name) + " (" + files::time_label(c->until) +
               "); give a later end with until");
  }
  return *asked;
}

bool starts_like(const simulate::Result& first, const simulate::Result& other,
                 const std::vector<double>& times) try {
  return study::difference(first, other, times, 0).same_start;
} catch (const study::NotComparable&) {
  return false;
}

std::unique_ptr<Runs> run(const Cases& cases, const std::vector<std::string>& names,
                          const std::optional<std::vector<double>>& times) {
  if (cases.empty() || cases.size() != names.size()) refuse("give at least one case");
  auto runs = std::make_unique<Runs>();
  files::Results r;
  r.times = times_of(cases, times, runs->notes);
  std::vector<simulate::Job> jobs;
  for (const auto& c : cases) {
    jobs.push_back({&c->file().c, &c->file().parameters, r.times});
    jobs.push_back({&c->twin().c, &c->twin().parameters, r.times});
  }
  std::vector<simulate::Result> results(jobs.size());
  simulate::run(jobs, results);
  std::vector<files::RunAndTwin> pairs;
  for (std::size_t i = 0; i < cases.size(); ++i) {
    const auto& result = results[2 * i];
    r.cases.push_back({names[i], cases[i]->file().c.title, {}, &result});
    pairs.push_back({&result, &results[2 * i + 1]});
    runs->same_start.push_back(starts_like(results.front(), result, r.times));
    if (result.report.status != simulate::RunStatus::finished)
      runs->failures.push_back(failure(names[i], result.report));
  }
  r.extra_series = files::extra_series(pairs, r.times.size());
  r.build = build();
  runs->series = files::series_of(r);
  return runs;
}

/// An array that looks into memory which `owner` keeps alive. It can't be written to.
template <class Number>
py::array view(const std::vector<Number>& values, const std::vector<py::ssize_t>& shape,
               const py::handle& owner) {
  py::array_t<Number> array(shape, values.data(), owner);
  array.attr("setflags")(py::arg("write") = false);
  return array;
}

/// Names of the dimensions, attributes and values of each variable.
py::dict variables(const py::object& self) {
  const auto& series = self.cast<const Runs&>().series;
  py::dict all;
  for (const auto& v : series.variables) {
    py::list dimensions;
    std::vector<py::ssize_t> shape;
    const auto along = [&](const char* name, std::size_t length) {
      dimensions.append(name);
      shape.push_back(static_cast<py::ssize_t>(length));
    };
    if (v.by_run) along("run", series.runs);
    if (v.by_time) along("time", series.times);
    py::dict attributes;
    for (const auto& [name, text] : v.attributes) attributes[py::str(name)] = text;
    if (!v.flag_values.empty())
      attributes["flag_values"] =
          py::array(py::dtype("int8"), v.flag_values.size(), v.flag_values.data());
    const py::object values = std::visit(
        [&](const auto& numbers) -> py::object {
          using Value = typename std::decay_t<decltype(numbers)>::value_type;
          if constexpr (std::is_same_v<Value, std::string>)
            return py::module_::import("numpy").attr("array")(py::cast(numbers), "object");
          else
            return view(numbers, shape, self);
        },
        v.values);
    all[py::str(v.name)] = py::make_tuple(py::tuple(dimensions), values, attributes);
  }
  return all;
}

}  // namespace

void add_runs(py::module_& module) {
  using namespace py::literals;
  py::class_<Runs>(module, "Runs", "What the runs of some cases gave.")
      .def_property_readonly(
          "attributes",
          [](const Runs& r) {
            py::dict all;
            for (const auto& [name, text] : r.series.attributes) all[py::str(name)] = text;
            return all;
          },
          "Attributes of the whole.")
      .def("variables", &variables,
           "Dimensions, values and attributes of each variable. The arrays are read-only and look "
           "into memory that this object owns; they keep it alive.")
      .def_readonly("failures", &Runs::failures, "A sentence for each run that did not finish.")
      .def_readonly("same_start", &Runs::same_start, "Of each run: did it begin like the first?")
      .def_readonly("notes", &Runs::notes, "What was left out of the times.");
  module.def("run", &run, "cases"_a, "names"_a, "times"_a, py::call_guard<py::gil_scoped_release>(),
             "Runs cases, with their twins under ordinary care, eight abreast on this thread.");
}

}  // namespace serosa::python
