// SPDX-License-Identifier: Apache-2.0
// Studies, carried out by the engine of the program.
#include <fmt/format.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

#include <algorithm>
#include <chrono>
#include <thread>

#include "files/batch.hpp"
#include "python/module.hpp"

namespace serosa::python {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

namespace {

/// A study with its batch. Called without Python's lock.
class Sweep {
 public:
  Sweep(const fs::path& study, const fs::path& folder, const fs::path& models)
      : study_(files::load_study(study, models_folder(models), build())), batch_(*study_, folder) {}

  const std::string& name() const { return study_->file.study.name; }
  std::vector<std::string> warnings() const { return study_->warnings(); }
  std::string folder() { return batch_.folder().path().string(); }
  std::vector<std::string> remarks() { return batch_.remarks(); }

  /// Computes what is missing. `progress(done, all)` is called a few times a second; what it
  /// raises, and Ctrl-C, end the batch at the next block, and what was finished is kept.
  void compute(int threads, const py::object& progress) {
    threads_ =
        threads > 0 ? threads : static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
    std::uint64_t done = batch_.runs_before();
    std::exception_ptr raised;
    const auto tell = [&] {
      const py::gil_scoped_acquire python;
      try {
        if (!progress.is_none()) progress(done, batch_.runs());
        if (PyErr_CheckSignals() != 0) throw py::error_already_set();
      } catch (const py::error_already_set&) {
        // Kept until the threads of the batch have ended.
        if (!raised) raised = std::current_exception();
      }
    };
    const auto start = Clock::now();
    batch_.compute(
        threads_, nullptr,
        {[&](std::uint64_t runs) { done += runs; }, [&] { return raised != nullptr; }, tell});
    computing_ = std::chrono::duration<double>(Clock::now() - start).count();
    if (!raised) tell();
    if (raised) std::rethrow_exception(raised);
  }

  /// Writes all results.
  /// @return a sentence for each way in which runs failed
  std::vector<std::string> write() {
    const auto& s = study_->file.study;
    const auto outcome = batch_.write(build(), [&](double writing) {
      return files::batch_log("serosa.sweep in Python", computing_, writing, threads_, 1);
    });
    std::vector<std::string> sentences;
    for (std::size_t a = 0; a < s.arms.size(); ++a)
      for (const auto& [status, count] : outcome.failures.by_arm[a])
        sentences.push_back(
            fmt::format("{}: {} of {} runs ({:.3g} %): {}", s.arms[a].name, count, s.runs(),
                        100.0 * static_cast<double>(count) / static_cast<double>(s.runs()),
                        simulate::message(status)));
    return sentences;
  }

 private:
  std::unique_ptr<files::LoadedStudy> study_;
  files::Batch batch_;
  int threads_ = 1;
  double computing_ = 0;  ///< seconds
};

}  // namespace

void add_studies(py::module_& module) {
  using namespace py::literals;
  using Unlocked = py::call_guard<py::gil_scoped_release>;
  py::class_<Sweep>(module, "Sweep", "A study on its way to its folder.")
      .def(py::init<const fs::path&, const fs::path&, const fs::path&>(), "study"_a, "folder"_a,
           "models"_a, Unlocked(),
           "Reads a study and opens its folder. Raises InputError and WriteError.")
      .def_property_readonly("name", &Sweep::name, "Name of the study.")
      .def_property_readonly("folder", &Sweep::folder, "Where the results go.")
      .def_property_readonly("warnings", &Sweep::warnings, "Warnings about the study.")
      .def_property_readonly("remarks", &Sweep::remarks, "What was found of an earlier attempt.")
      .def("compute", &Sweep::compute, "threads"_a, "progress"_a, Unlocked(),
           "Computes what is missing; 0 threads: one per processor.")
      .def("write", &Sweep::write, Unlocked(),
           "Writes all results; a sentence for each way in which runs failed. Raises WriteError.");
}

}  // namespace serosa::python
