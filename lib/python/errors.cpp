// SPDX-License-Identifier: Apache-2.0
// What C++ throws, as the exceptions of serosa/errors.py.
#include "files/netcdf.hpp"
#include "files/problems.hpp"
#include "files/results_folder.hpp"
#include "python/module.hpp"
#include "units/units.hpp"

namespace serosa::python {

namespace {

py::object class_of(const char* name) { return py::module_::import("serosa.errors").attr(name); }

/// Raises the exception `name` with the text and what goes with it.
template <class... Arguments>
void raise(const char* name, const char* text, const Arguments&... more) {
  const py::object error = class_of(name);
  const py::object thrown = error(text, more...);
  PyErr_SetObject(error.ptr(), thrown.ptr());
}

py::tuple problems_of(const files::Problems& problems) {
  const py::object make = class_of("Problem");
  py::list all;
  for (const auto& p : problems.all())
    all.append(make(p.origin.source ? p.origin.source->name : std::string(), p.origin.line,
                    p.origin.column, p.path, p.message, p.remark,
                    p.weight == files::Problem::Weight::warning));
  return py::tuple(all);
}

void translate(std::exception_ptr thrown) {
  try {
    std::rethrow_exception(thrown);
  } catch (const files::InputError& refusal) {
    raise("InputError", refusal.what(), problems_of(refusal.problems()));
  } catch (const files::WriteError& failure) {
    raise("WriteError", failure.what());
  } catch (const files::NetcdfError& failure) {
    raise("WriteError", failure.what());
  }
}

}  // namespace

void add_errors(py::module_&) { py::register_local_exception_translator(translate); }

}  // namespace serosa::python
