// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <set>
#include <string>

#include "exact_problems.hpp"
#include "physics/real/real.hpp"
#include "simulate/integrator.hpp"

namespace serosa::simulate::test {
namespace {

using Catch::Matchers::WithinAbs;
using physics::Dual;

// A run of N states whose every answer can be set by the test.
template <Real R, std::size_t N>
struct Scripted {
  using T = physics::Scalar<R>;
  using State = LaneState<R, N>;
  std::array<double, N> first{};
  double from = 0.0, to = 1.0;
  std::vector<double> stops{}, grid{};
  std::function<bool(State, double)> act = [](State, double) { return true; };
  std::function<bool(State, double)> look = [](State, double) { return false; };
  std::size_t stop = 0, output = 0;
  bool begun = false;
  std::vector<double> acted{}, hours{};
  std::vector<std::array<T, N>> outputs{};
  std::vector<RunReport> reports{};

  bool begin(int, State x) {
    if (begun) return false;
    for (std::size_t i = 0; i < N; ++i) x.set(i, T(first[i]));
    return begun = true;
  }
  T start(int) const { return T(from); }
  T end(int) const { return T(to); }
  T next_stop(int) const { return T(stop < stops.size() ? stops[stop] : never); }
  bool at_stop(int, State x, const T& t) {
    acted.push_back(physics::value_of(t));
    ++stop;
    return act(x, physics::value_of(t));
  }
  bool after_step(int, State x, const T& t) { return look(x, physics::value_of(t)); }
  double next_output(int) const { return output < grid.size() ? grid[output] : never; }
  void at_output(int, double t, const std::array<T, N>& x) {
    hours.push_back(t);
    outputs.push_back(x);
    ++output;
  }
  void at_end(int, const RunReport& report) { reports.push_back(report); }
};

template <Real R, std::size_t N, class System>
RunReport integrate(System&& rates, Scripted<R, N>& journey, const StepControl<N>& control = {}) {
  StepControl<N> c = control;
  for (double& a : c.absolute_tolerance)
    if (a == 0.0) a = 1e-9;
  Integrator<R, N> integrator{c};
  integrator.run(rates, journey);
  REQUIRE(journey.reports.size() == 1);
  return journey.reports.front();
}

using One = std::array<double, 1>;
using Two = std::array<double, 2>;

TEST_CASE("stops are met exactly and outputs there show the state after the acts", "[integrator]") {
  Scripted<double, 1> journey{{1.0}};
  journey.from = -0.25;
  journey.stops = {-0.25, 0.1, 0.3, 1.0};
  journey.grid = {-0.25, 0.0, 0.1, 0.2, 0.3, 1.0};
  journey.act = [](LaneState<double, 1> x, double) { return x.set(0, x[0] + 1.0), true; };
  const auto report =
      integrate<double, 1>([](const One&, One& dxdt, double) { dxdt[0] = 0.0; }, journey);
  CHECK(report.status == RunStatus::finished);
  CHECK(report.time == 1.0);
  CHECK(journey.acted == journey.stops);
  CHECK(journey.hours == journey.grid);
  const double expected[] = {2.0, 2.0, 3.0, 3.0, 4.0, 5.0};
  for (std::size_t n = 0; n < 6; ++n) CHECK(journey.outputs[n][0] == expected[n]);
  CHECK(report.effort.outputs == 6);
}

TEST_CASE("an act that changes no rates costs no evaluation", "[integrator]") {
  const auto rates = [](const One& x, One& dxdt, double) { dxdt[0] = -x[0]; };
  Scripted<double, 1> journey{{1.0}};
  journey.stops = {0.5};
  journey.act = [](LaneState<double, 1>, double) { return false; };
  const auto report = integrate<double, 1>(rates, journey);
  CHECK(report.effort.restarts == 0);
  // Two for the first step (rates and step size), then three for each step tried.
  CHECK(report.effort.rate_evaluations ==
        2 + 3 * (report.effort.accepted_steps + report.effort.rejected_steps));
}

TEST_CASE("rates are evaluated as often as the report says", "[integrator]") {
  int calls = 0;
  const auto rates = [&](const One& x, One& dxdt, double t) {
    ++calls;
    dxdt[0] = std::cos(5.0 * t) - 20.0 * x[0];
  };
  Scripted<double, 1> journey{{1.0}};
  journey.stops = {0.2, 0.5};
  for (int n = 0; n <= 1000; ++n) journey.grid.push_back(n / 1000.0);
  const auto report = integrate<double, 1>(rates, journey);
  CHECK(report.status == RunStatus::finished);
  CHECK(report.effort.restarts == 2);
  CHECK(report.effort.outputs == 1001);
  CHECK(report.effort.rate_evaluations == calls);
}

TEST_CASE("an event seen after a step changes the run from there on", "[integrator]") {
  double drain = 1.0, stopped_at = 0.0;
  const auto rates = [&](const One&, One& dxdt, double) { dxdt[0] = -drain; };
  Scripted<double, 1> journey{{0.5}};
  journey.look = [&](LaneState<double, 1> x, double t) {
    if (drain == 0.0 || x[0] > 0.1) return false;
    drain = 0.0;
    stopped_at = t;
    return true;
  };
  journey.grid = {1.0};
  StepControl<1> control;
  control.largest_step = 0.01;
  const auto report = integrate<double, 1>(rates, journey, control);
  CHECK(report.effort.restarts == 1);
  // The store ends within one step of its threshold, at the level of that moment.
  CHECK_THAT(stopped_at, WithinAbs(0.4, 0.0101));
  CHECK_THAT(journey.outputs[0][0], WithinAbs(0.5 - stopped_at, 1e-12));
}

TEST_CASE("a run of no length does its acts and gives its outputs", "[integrator]") {
  Scripted<double, 1> journey{{1.0}};
  journey.to = 0.0;
  journey.stops = {0.0};
  journey.grid = {0.0};
  journey.act = [](LaneState<double, 1> x, double) { return x.set(0, 7.0), true; };
  const auto report =
      integrate<double, 1>([](const One&, One& dxdt, double) { dxdt[0] = 0.0; }, journey);
  CHECK(report.status == RunStatus::finished);
  CHECK(report.effort.rate_evaluations == 0);
  CHECK(journey.outputs[0][0] == 7.0);
}

// ---- Failures, each by name, state and time --------------------------------------------------

TEST_CASE("a rate that turns NaN fails the run where it does, naming the state at fault",
          "[integrator]") {
  // State 1 is at fault; state 0 only reads it.
  const auto rates = [](const Two& x, Two& dxdt, double t) {
    dxdt[0] = x[1];
    dxdt[1] = std::sqrt(0.5 - t);
  };
  Scripted<double, 2> journey{{0.0, 0.0}};
  const auto report = integrate<double, 2>(rates, journey);
  CHECK(report.status == RunStatus::rates_not_finite);
  CHECK(report.state == 1);
  CHECK_THAT(report.time, WithinAbs(0.5, 1e-6));
}

TEST_CASE("a ledger that is not finite fails the run though it bounds no step", "[integrator]") {
  const auto rates = [](const Two& x, Two& dxdt, double t) {
    dxdt[0] = -x[0];
    dxdt[1] = std::sqrt(0.5 - t);
  };
  StepControl<2> control;
  control.controlled = 1;
  Scripted<double, 2> journey{{1.0, 0.0}};
  const auto report = integrate<double, 2>(rates, journey, control);
  CHECK(report.status == RunStatus::rates_not_finite);
  CHECK(report.state == 1);
  CHECK_THAT(report.time, WithinAbs(0.5, 1e-6));
}

TEST_CASE("rates that are not finite at the start, or after an act, fail at once", "[integrator]") {
  const auto rates = [](const Two& x, Two& dxdt, double) {
    dxdt[0] = 1.0;
    dxdt[1] = std::log(x[1]);
  };
  Scripted<double, 2> at_start{{1.0, 0.0}};
  const auto report = integrate<double, 2>(rates, at_start);
  CHECK(report.status == RunStatus::rates_not_finite);
  CHECK(report.state == 1);
  CHECK(report.time == 0.0);
  CHECK(report.effort.accepted_steps == 0);

  Scripted<double, 2> after_act{{1.0, 2.0}};
  after_act.stops = {0.5};
  after_act.act = [](LaneState<double, 2> x, double) { return x.set(1, -1.0), true; };
  const auto later = integrate<double, 2>(rates, after_act);
  CHECK(later.status == RunStatus::rates_not_finite);
  CHECK(later.state == 1);
  CHECK(later.time == 0.5);
}

TEST_CASE("a solution that escapes to infinity fails by the smallest step", "[integrator]") {
  // x' = x^2 from 1: infinite at t = 1. State 0 is idle.
  const auto rates = [](const Two& x, Two& dxdt, double) {
    dxdt[0] = 0.0;
    dxdt[1] = x[1] * x[1];
  };
  Scripted<double, 2> journey{{1.0, 1.0}};
  journey.to = 2.0;
  const auto report = integrate<double, 2>(rates, journey);
  CHECK(report.status == RunStatus::step_too_small);
  CHECK(report.state == 1);
  CHECK_THAT(report.time, WithinAbs(1.0, 1e-5));
}

TEST_CASE("a drain that nothing stops fails by the state below zero", "[integrator]") {
  const auto rates = [](const Two&, Two& dxdt, double) {
    dxdt[0] = 1.0;
    dxdt[1] = -1.0;
  };
  StepControl<2> control;
  control.never_negative = {true, true};
  Scripted<double, 2> journey{{0.0, 0.5}};
  const auto report = integrate<double, 2>(rates, journey, control);
  CHECK(report.status == RunStatus::state_below_zero);
  CHECK(report.state == 1);
  CHECK_THAT(report.time, WithinAbs(0.5, 1e-8));

  Scripted<double, 2> from_the_start{{0.0, -1.0}};
  CHECK(integrate<double, 2>(rates, from_the_start, control).status == RunStatus::state_below_zero);
  control.never_negative = {true, false};
  Scripted<double, 2> allowed{{0.0, 0.5}};
  CHECK(integrate<double, 2>(rates, allowed, control).status == RunStatus::finished);
}

TEST_CASE("a run that needs too many steps ends with its budget", "[integrator]") {
  const auto rates = [](const Two& x, Two& dxdt, double) {
    dxdt[0] = 0.0;
    dxdt[1] = -5000.0 * x[1];
  };
  StepControl<2> control;
  control.step_budget = 50;
  Scripted<double, 2> journey{{1.0, 1.0}};
  const auto report = integrate<double, 2>(rates, journey, control);
  CHECK(report.status == RunStatus::step_budget_spent);
  CHECK(report.state == 1);
  CHECK(report.effort.accepted_steps + report.effort.rejected_steps == 50);

  // An act at every step leaves the budget as it is.
  Scripted<double, 2> busy{{1.0, 1.0}};
  busy.look = [](LaneState<double, 2>, double) { return true; };
  const auto busy_report = integrate<double, 2>(rates, busy, control);
  CHECK(busy_report.status == RunStatus::step_budget_spent);
  CHECK(busy_report.effort.accepted_steps + busy_report.effort.rejected_steps == 50);
}

TEST_CASE("a slope that is not finite fails the run though its value is", "[integrator]") {
  using D = Dual<1>;
  const auto rates = [](const std::array<D, 1>& x, std::array<D, 1>& dxdt, const D& t) {
    dxdt[0] = physics::select(t > 0.5, D(1.0, {INFINITY}), D(1.0)) + 0.0 * x[0];
  };
  Scripted<D, 1> journey{{0.0}};
  const auto report = integrate<D, 1>(rates, journey);
  CHECK(report.status == RunStatus::slopes_not_finite);
  CHECK(report.state == 0);
}

TEST_CASE("a replay with too few steps fails by name", "[integrator]") {
  StepSequence sequence{{0.25, 0.25}};
  Scripted<double, 1> journey{{1.0}};
  Integrator<double, 1> integrator{StepControl<1>{}};
  integrator.replay(0, &sequence);
  auto rates = [](const One&, One& dxdt, double) { dxdt[0] = 1.0; };
  integrator.run(rates, journey);
  REQUIRE(journey.reports.size() == 1);
  CHECK(journey.reports[0].status == RunStatus::sequence_too_short);
  CHECK(journey.reports[0].time == 0.5);
}

TEST_CASE("a journey that does not move on is refused", "[integrator]") {
  auto rates = [](const One&, One& dxdt, double) { dxdt[0] = 1.0; };
  Integrator<double, 1> integrator{StepControl<1>{{1e-9}}};
  Scripted<double, 1> same_stop{{1.0}};
  same_stop.stops = {0.5, 0.5};
  CHECK_THROWS_AS(integrator.run(rates, same_stop), std::logic_error);
  Scripted<double, 1> same_output{{1.0}};
  same_output.grid = {0.5, 0.5};
  CHECK_THROWS_AS(integrator.run(rates, same_output), std::logic_error);
  Scripted<double, 1> too_early{{1.0}};
  too_early.grid = {-0.5};
  Scripted<double, 1> endless{{1.0}};
  endless.to = never;
  CHECK_THROWS_AS(integrator.run(rates, endless), std::logic_error);
  CHECK_THROWS_AS(integrator.run(rates, too_early), std::logic_error);
}

TEST_CASE("uncontrolled states do not bound the step", "[integrator]") {
  // A fast ledger beside a slow state.
  const auto rates = [](const Two& x, Two& dxdt, double t) {
    dxdt[0] = -x[0];
    dxdt[1] = std::sin(200.0 * t);
  };
  StepControl<2> control;
  Scripted<double, 2> with{{1.0, 0.0}}, without{{1.0, 0.0}};
  const auto all = integrate<double, 2>(rates, with, control);
  control.controlled = 1;
  const auto first_only = integrate<double, 2>(rates, without, control);
  CHECK(first_only.effort.accepted_steps * 5 < all.effort.accepted_steps);
}

TEST_CASE("statuses have distinct numbers, names and sentences", "[integrator]") {
  std::set<std::string_view> names, messages;
  for (std::size_t n = 0; n < run_statuses.size(); ++n) {
    CHECK(static_cast<std::size_t>(run_statuses[n].status) == n);
    CHECK(name(run_statuses[n].status) == run_statuses[n].name);
    names.insert(run_statuses[n].name);
    messages.insert(message(run_statuses[n].status));
  }
  CHECK(names.size() == run_statuses.size());
  CHECK(messages.size() == run_statuses.size());
}

}  // namespace
}  // namespace serosa::simulate::test
