// SPDX-License-Identifier: Apache-2.0
// A case carried out act by act by whoever integrates it: what the solvers of other libraries and
// the reference have in common.
#pragma once
#include <algorithm>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "baby/birth.hpp"
#include "files/case_file.hpp"
#include "simulate/outputs.hpp"

namespace serosa::bench {

inline constexpr std::size_t N = baby::state::count;

/// One run under way: all that its rates read, settled anew after every act.
struct Course {
  baby::Subject<double> subject{};
  baby::Settled<double> settled{};
  care::Carer<double> carer;
  baby::State<double> start{}, x{};
  double t = 0;

  explicit Course(const files::CaseFile& file) {
    subject.parameters = file.parameters;
    subject.body = baby::prepare(file.c.baby, subject.parameters);
    care::Carer<double>::at_rest(file.c, subject.parameters, subject.controls);
    carer.start(file.c);
    t = care::Carer<double>::first_hour(file.c);
    start = x = baby::birth_state(subject, file.c.wet);
    settled = baby::settled(subject);
  }
  /// Does what is due; whether rates or state changed.
  bool act() {
    if (!carer.act(t, x, subject)) return false;
    settled = baby::settled(subject);
    return true;
  }
  void rates(double hour, const double* from, double* to) const {
    baby::State<double> state, slope;
    std::copy_n(from, N, state.begin());
    baby::rates(hour, state, subject, settled, slope);
    std::copy_n(slope.begin(), N, to);
  }
  void observe(double* values) const {
    simulate::observe(t, x, start, subject, settled, carer.given(t), carer.glucose_rate(), values);
  }
};

/// A solver of another library. Absolute tolerances are those of the state list at a relative one
/// of 1e-4, and shrink with it, unless the library takes a single number (then the relative one).
struct Solver {
  virtual ~Solver() = default;
  /// State or rates changed: forget what came before.
  virtual void restart(Course& course) = 0;
  /// From `course.t` to `to`; nothing changes before `change`, so it may look that far ahead.
  virtual void advance(Course& course, double to, double change) = 0;
};

struct SolverError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Name, what it is, and how it is made for a relative tolerance.
struct Method {
  std::string name, library, meaning;
  std::unique_ptr<Solver> (*make)(double tolerance);
};
const std::vector<Method>& odeint_methods();
const std::vector<Method>& cvode_methods();
const std::vector<Method>& gsl_methods();

/// Carries a case out. `values` is times × outputs.
inline void carry_out(const files::CaseFile& file, std::span<const double> times, Solver& solver,
                      std::vector<double>& values) {
  Course course(file);
  course.act();
  solver.restart(course);
  values.resize(times.size() * simulate::output::count);
  for (std::size_t next = 0; next < times.size();) {
    const double change = course.carer.next();
    const double to = std::min(change, times[next]);
    if (to > course.t) solver.advance(course, to, change);
    course.t = to;
    if (course.carer.next() <= to) {
      if (course.act()) solver.restart(course);
    } else {
      course.observe(values.data() + next * simulate::output::count);
      ++next;
    }
  }
}

inline std::vector<double> absolute_tolerances(double tolerance) {
  std::vector<double> all;
  for (const auto& state : baby::state_list)
    all.push_back(state.absolute_tolerance * tolerance / 1e-4);
  return all;
}

/// Derivatives by differences, row by row, for solvers that ask for them.
inline void jacobian(const Course& course, double t, const double* y, double* dfdy, double* dfdt) {
  std::vector<double> x(y, y + N), before(N), after(N);
  course.rates(t, y, before.data());
  for (std::size_t j = 0; j < N; ++j) {
    const double step = 1e-7 * std::max(1.0, std::abs(y[j]));
    x[j] = y[j] + step;
    course.rates(t, x.data(), after.data());
    x[j] = y[j];
    for (std::size_t i = 0; i < N; ++i) dfdy[i * N + j] = (after[i] - before[i]) / step;
  }
  constexpr double step = 1e-6;
  course.rates(t + step, y, after.data());
  for (std::size_t i = 0; i < N; ++i) dfdt[i] = (after[i] - before[i]) / step;
}

}  // namespace serosa::bench
