// SPDX-License-Identifier: Apache-2.0
// Runs cases: from a case and parameters to outputs on a time grid.
#pragma once
#include <span>
#include <string>
#include <vector>

#include "baby/parameters.hpp"
#include "care/case.hpp"
#include "care/protocol.hpp"
#include "simulate/outputs.hpp"
#include "simulate/run_status.hpp"

namespace serosa::simulate {

/// How accurately to compute. The same settings give the same bits on every machine.
struct Settings {
  double relative_tolerance = 1e-4;
  /// Multiplies every state's own absolute tolerance.
  double absolute_tolerance_factor = 1.0;
  int step_budget = 200'000;
};

/// One run to do. The case and the parameters are borrowed and must outlive the run.
struct Job {
  const care::Case* c = nullptr;
  const baby::Parameters<double>* parameters = nullptr;
  std::span<const double> times;  ///< h, rising; when to observe
};

/// What a run gave.
struct Result {
  RunReport report;
  std::vector<double> values;    ///< times × `output::count`, NaN where the run did not get to
  baby::Body<double> body;       ///< what was derived for this baby
  double hottest_mattress = 0;   ///< degC, hottest before birth
  std::vector<care::Done> done;  ///< what the rules of the case's protocol did

  double at(std::size_t time, output::Index o) const { return values[time * output::count + o]; }
};

/// Runs all jobs on this thread, eight abreast, on the instruction set chosen at run time. A run's
/// result depends on its job alone.
/// @param results  as many as jobs
void run(std::span<const Job> jobs, std::span<Result> results, const Settings& settings = {});

/// The same one after another in plain double; the same bits, several times slower.
void run_scalar(std::span<const Job> jobs, std::span<Result> results,
                const Settings& settings = {});

/// One run in plain double, stopped at hour `until` with all that `rates` needs; for tests,
/// examples and eigenvalues.
struct Snapshot {
  double time;
  baby::State<double> state;
  baby::Subject<double> subject;
};
std::vector<Snapshot> snapshots(const care::Case& c, const baby::Parameters<double>& p,
                                std::span<const double> times, const Settings& settings = {});

/// The grid 0, every, 2 every … until, with `extra` times in between; rising, no time twice.
std::vector<double> grid(double from, double until, double every,
                         std::span<const double> extra = {});

}  // namespace serosa::simulate
