// SPDX-License-Identifier: Apache-2.0
// The model through C functions, so that SciPy's solvers can integrate its rates (ctypes).
#include <algorithm>
#include <memory>
#include <vector>

#include "baby/birth.hpp"
#include "files/case_file.hpp"
#include "simulate/run.hpp"

namespace {

using namespace serosa;

/// One shipped case, carried out act by act by whoever integrates it.
struct Model {
  files::CaseFile file;
  baby::Subject<double> subject{};
  care::Carer<double> carer;
  baby::State<double> start{};
};

}  // namespace

extern "C" {

int state_count() { return static_cast<int>(baby::state::count); }
int output_count() { return static_cast<int>(simulate::output::count); }
const char* output_name(int i) {
  return simulate::output_list[static_cast<std::size_t>(i)].name.data();
}
double absolute_tolerance(int i) {
  return baby::state_list[static_cast<std::size_t>(i)].absolute_tolerance;
}

/// Opens a case file; null when it is refused. `x` (state_count) is the state at `*t` [h].
Model* open_case(const char* models, const char* path, double* t, double* x) {
  try {
    files::Problems problems;
    auto m = std::make_unique<Model>();
    const auto data = files::read_models(models, nullptr, problems);
    m->file = files::read_case(path, data, {}, problems);
    problems.refuse_if_any();
    m->subject.parameters = m->file.parameters;
    m->subject.body = baby::prepare(m->file.c.baby, m->subject.parameters);
    care::Carer<double>::at_rest(m->file.c, m->subject.parameters, m->subject.controls);
    m->carer.start(m->file.c);
    *t = care::Carer<double>::first_hour(m->file.c);
    m->start = baby::birth_state(m->subject, m->file.c.wet);
    baby::State<double> state = m->start;
    m->carer.act(*t, state, m->subject);
    std::copy(state.begin(), state.end(), x);
    return m.release();
  } catch (const std::exception&) {
    return nullptr;
  }
}

void close_case(Model* m) { delete m; }
double until(const Model* m) { return m->file.c.until; }
double next_act(const Model* m) { return m->carer.next(); }

void act(Model* m, double t, double* x) {
  baby::State<double> state;
  std::copy_n(x, state.size(), state.begin());
  m->carer.act(t, state, m->subject);
  std::copy(state.begin(), state.end(), x);
}

void rates(const Model* m, double t, const double* x, double* dx) {
  baby::State<double> state, slope;
  std::copy_n(x, state.size(), state.begin());
  baby::rates(t, state, m->subject, slope);
  std::copy(slope.begin(), slope.end(), dx);
}

/// All outputs (output_count) at the hour `t`.
void observe(const Model* m, double t, const double* x, double* values) {
  baby::State<double> state;
  std::copy_n(x, state.size(), state.begin());
  simulate::observe(t, state, m->start, m->subject, m->carer.given(t), m->carer.glucose_rate(),
                    values);
}

/// The same case by the lane integrator at a tolerance of 1e-9: `values` is n × output_count.
/// Returns 0 when it finished.
int by_lanes(const Model* m, const double* times, int n, double* values) {
  const std::span<const double> hours(times, static_cast<std::size_t>(n));
  const simulate::Job job{&m->file.c, &m->file.parameters, {hours.begin(), hours.end()}};
  std::vector<simulate::Result> results(1);
  simulate::run(
      std::span(&job, 1), results,
      {.relative_tolerance = 1e-9, .absolute_tolerance_factor = 1e-5, .step_budget = 5'000'000});
  std::copy(results[0].values.begin(), results[0].values.end(), values);
  return results[0].report.status == simulate::RunStatus::finished ? 0 : 1;
}
}
