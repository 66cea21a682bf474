// SPDX-License-Identifier: Apache-2.0
#include "simulate/run.hpp"

#include <algorithm>
#include <cmath>

#include "simulate/journey.hpp"
#include "simulate/kernel.hpp"

namespace serosa::simulate {

void run(std::span<const Job> jobs, std::span<Result> results, const Settings& settings) {
  SEROSA_PICK_ISA(run_lanes)(jobs, results, settings);
}

void run_scalar(std::span<const Job> jobs, std::span<Result> results, const Settings& settings) {
  run_with<double>(jobs, results, settings);
}

namespace {

/// Journeys that keep state and subject at each output time.
class Recorder : public Journeys<double> {
 public:
  Recorder(std::span<const Job> jobs, std::span<Result> results, std::vector<Snapshot>& kept)
      : Journeys(jobs, results), kept_(kept) {}
  void at_output(int lane, double t, const baby::State<double>& x) {
    kept_.push_back({t, x, of(lane).subject});
    Journeys::at_output(lane, t, x);
  }

 private:
  std::vector<Snapshot>& kept_;
};

}  // namespace

std::vector<Snapshot> snapshots(const care::Case& c, const baby::Parameters<double>& p,
                                std::span<const double> times, const Settings& settings) {
  std::vector<Snapshot> kept;
  const Job job{&c, &p, times};
  Result result;
  Recorder recorder({&job, 1}, {&result, 1}, kept);
  auto integrator =
      std::make_unique<Integrator<double, baby::state::count>>(step_control(settings));
  integrator->run(recorder, recorder);
  return kept;
}

std::vector<double> grid(double from, double until, double every, std::span<const double> extra) {
  std::vector<double> times(extra.begin(), extra.end());
  std::erase_if(times, [&](double t) { return t < from || t > until; });
  // Multiples of the step from birth on, so that birth is always on the grid.
  for (double n = std::ceil(from / every - 1e-9) + 0.0; n * every < until; ++n)
    times.push_back(n * every);
  times.push_back(until);
  std::sort(times.begin(), times.end());
  const auto same = [](double a, double b) { return b - a < 1e-9; };
  times.erase(std::unique(times.begin(), times.end(), same), times.end());
  return times;
}

}  // namespace serosa::simulate
