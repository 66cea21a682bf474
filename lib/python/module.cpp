// SPDX-License-Identifier: Apache-2.0
// The extension module serosa._serosa: the library as Python sees it, thin. What users call is in
// the package beside it (serosa/__init__.py).
#include "python/module.hpp"

#include "python/build_info.hpp"

namespace serosa::python {

files::BuildInfo build() { return build_info(); }

}  // namespace serosa::python

PYBIND11_MODULE(_serosa, module) {
  using namespace serosa;
  module.doc() = "The compiled part of serosa; use the package `serosa`.";
  const auto build = python::build();
  module.attr("version") = build.version;
  module.attr("commit") = build.commit;
  module.attr("caution") = std::string(files::caution);
  python::add_errors(module);
  python::add_library(module);
  python::add_cases(module);
  python::add_runs(module);
  python::add_studies(module);
}
