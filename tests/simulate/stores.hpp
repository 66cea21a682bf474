// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <limits>
#include <memory>
#include <vector>

#include "simulate/integrator.hpp"

/// An invented system that has what makes a model awkward to integrate: stores that pass water on,
/// dry up and are refilled, nodes that exchange heat and cool as the water evaporates, ledgers,
/// rates that depend on the time itself, and faults that can be switched on.
namespace serosa::simulate::test {

using physics::Real;

/// What differs between runs; drawn from the run's number alone.
struct StoresRun {
  double room = 25.0, draught = 1.0, passage = 2.0, coupling = 20.0;
  double nan_after = 1e9, blow_up = 0.0, drain = 0.0;  // faults
  double start = 0.0, end = 6.0;
  double output_every = 0.25;
  struct Act {
    double hour;
    int kind;  // 0 refill, 1 more draught, 2 warmer room, 3 nothing, 4 a state that is not a number
  };
  std::vector<Act> acts;  // in order of time
};

/// A generator whose numbers are the same on every machine (splitmix64, Steele, Lea and Flood,
/// OOPSLA 2014).
class Draw {
 public:
  explicit Draw(std::uint64_t seed) : state_(seed) {}
  double operator()(double from, double to) {
    return from + (to - from) * static_cast<double>(next() >> 11) * 0x1p-53;
  }
  std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9;
    z = (z ^ (z >> 27)) * 0x94d049bb133111eb;
    return z ^ (z >> 31);
  }

 private:
  std::uint64_t state_;
};

inline StoresRun draw_run(std::uint64_t number, bool with_faults) {
  Draw draw(number * 1000003);
  StoresRun run;
  run.room = draw(15.0, 35.0);
  run.draught = draw(0.2, 3.0);
  run.passage = draw(0.1, 6.0);
  run.coupling = draw(1.0, 60.0);
  run.start = draw(-1.0, 0.0);
  run.end = run.start + draw(2.0, 8.0);
  run.output_every = draw(0.05, 0.6);
  double hour = run.start;
  const int acts = static_cast<int>(draw(0.0, 7.0));
  for (int n = 0; n < acts; ++n) {
    // Some at the very start, some two at once, some on the output grid, one perhaps at the end.
    const double kind = draw(0.0, 1.0);
    if (kind < 0.6)
      hour += draw(0.0, 1.5);
    else if (kind < 0.8)
      hour = run.start + run.output_every * std::ceil((hour - run.start) / run.output_every);
    if (n == 6) hour = run.end;
    run.acts.push_back({std::min(hour, run.end), static_cast<int>(draw(0.0, 4.0))});
  }
  if (with_faults) {
    const double fault = draw(0.0, 10.0);
    if (fault < 0.5) run.nan_after = draw(run.start, run.end);
    if (fault > 1.0 && fault < 1.5) run.blow_up = draw(0.2, 2.0);
    if (fault > 2.0 && fault < 2.5) run.drain = draw(5.0, 50.0);
    if (fault > 3.0 && fault < 3.5) run.acts.push_back({run.end - 0.5 * (run.end - hour), 4});
  }
  return run;
}

/// S stores: states 0 … S-1 water (g), S … 2S-1 temperature (°C), 2S … 3S-1 ledgers (g evaporated).
template <Real R, std::size_t S>
struct Stores {
  static constexpr std::size_t N = 3 * S;
  R room = R(25.0), draught = R(1.0), passage = R(2.0), coupling = R(20.0);
  R nan_after = R(1e9), blow_up = R(0.0), drain = R(0.0);
  std::array<R, S> wet;  // 1 until the store has dried up, then 0

  Stores() { wet.fill(R(1.0)); }

  static R saturation(const R& celsius) {
    // Magnus form, coefficients rounded: an invented system needs no better.
    return 0.611 * physics::exp(17.6 * celsius / (celsius + 243.0));
  }

  __attribute__((always_inline)) void operator()(const std::array<R, N>& x, std::array<R, N>& dxdt,
                                                 const R& t) const {
    using physics::exp, physics::pow, physics::select, physics::sqrt, physics::tanh;
    const R swing = 0.1 * tanh(t - 1.0);
    const R room_pressure = 0.5 * saturation(room);
    for (std::size_t i = 0; i < S; ++i) {
      const R& water = x[i];
      const R& warmth = x[S + i];
      const R& next_water = x[(i + 1) % S];
      const R& before_water = x[(i + S - 1) % S];
      const R gap = warmth - room;
      const R film = 4.0 * draught + 2.2 * pow(gap * gap + 0.01, 0.115);
      const R evaporation =
          wet[i] * 0.02 * film * (saturation(warmth) - room_pressure) * water / (water + 0.3);
      const R inflow = passage * (next_water + before_water - 2.0 * water) * (1.0 + swing) /
                       (1.0 + 0.1 * sqrt(water * water + 1e-3));
      dxdt[i] = inflow - evaporation;
      dxdt[S + i] = coupling * (37.0 - warmth) - 0.6 * film * gap - 5.0 * evaporation;
      dxdt[2 * S + i] = evaporation;
    }
    dxdt[0] += select(t > nan_after, sqrt(nan_after - t), R(0.0)) - drain;
    dxdt[S] += blow_up * (x[S] - 20.0) * (x[S] - 20.0);
  }
};

template <std::size_t S>
StepControl<3 * S> stores_control(double tolerance = 1e-6) {
  StepControl<3 * S> control;
  for (std::size_t i = 0; i < 3 * S; ++i) control.absolute_tolerance[i] = i < S ? 1e-4 : 1e-3;
  control.relative_tolerance = tolerance;
  control.controlled = 2 * S;
  for (std::size_t i = 0; i < S; ++i) control.never_negative[i] = true;
  control.step_budget = 4000;
  return control;
}

/// Everything one run gave, for comparison bit by bit.
struct StoresResult {
  std::vector<double> outputs;  // hour, states, hour, states, …
  RunReport report;
};

inline bool same_bits(const StoresResult& a, const StoresResult& b) {
  return a.report.status == b.report.status && a.report.state == b.report.state &&
         std::memcmp(&a.report.time, &b.report.time, sizeof(double)) == 0 &&
         a.report.effort == b.report.effort && a.outputs.size() == b.outputs.size() &&
         std::memcmp(a.outputs.data(), b.outputs.data(), a.outputs.size() * sizeof(double)) == 0;
}

/// Serves runs to lanes in the order given; a lane that is done takes the next.
template <Real R, std::size_t S>
class StoresJourney {
 public:
  static constexpr std::size_t N = 3 * S;
  using State = LaneState<R, N>;
  static_assert(std::is_same_v<physics::Scalar<R>, double>);

  StoresJourney(Stores<R, S>& system, const std::vector<StoresRun>& runs,
                const std::vector<std::size_t>& order, std::vector<StoresResult>& results)
      : system_(system), runs_(runs), order_(order), results_(results) {}

  bool begin(int lane, State x) {
    if (served_ == order_.size()) return false;
    Lane& l = at(lane);
    l = {order_[served_++], 0, 0};
    const StoresRun& r = run(lane);
    physics::set_lane(system_.room, lane, r.room);
    physics::set_lane(system_.draught, lane, r.draught);
    physics::set_lane(system_.passage, lane, r.passage);
    physics::set_lane(system_.coupling, lane, r.coupling);
    physics::set_lane(system_.nan_after, lane, r.nan_after);
    physics::set_lane(system_.blow_up, lane, r.blow_up);
    physics::set_lane(system_.drain, lane, r.drain);
    for (std::size_t i = 0; i < S; ++i) {
      physics::set_lane(system_.wet[i], lane, 1.0);
      x.set(i, 1.0 + 0.5 * static_cast<double>(i));
      x.set(S + i, 36.0 - 0.3 * static_cast<double>(i));
      x.set(2 * S + i, 0.0);
    }
    return true;
  }
  double start(int lane) { return run(lane).start; }
  double end(int lane) { return run(lane).end; }
  double next_stop(int lane) {
    const auto& acts = run(lane).acts;
    return at(lane).act < acts.size() ? acts[at(lane).act].hour
                                      : std::numeric_limits<double>::infinity();
  }
  bool at_stop(int lane, State x, double t) {
    bool changed = false;
    for (const auto& acts = run(lane).acts;
         at(lane).act < acts.size() && acts[at(lane).act].hour <= t; ++at(lane).act)
      changed = perform(acts[at(lane).act].kind, lane, x) || changed;
    return changed;
  }
  bool after_step(int lane, State x, double) {
    bool changed = false;
    for (std::size_t i = 0; i < S; ++i)
      if (x[i] < 0.05 && physics::value_of(system_.wet[i], lane) > 0.0) {
        physics::set_lane(system_.wet[i], lane, 0.0);
        changed = true;
      }
    return changed;
  }
  double next_output(int lane) {
    const double hour = run(lane).start + at(lane).output * run(lane).output_every;
    return hour <= run(lane).end ? hour : std::numeric_limits<double>::infinity();
  }
  void at_output(int lane, double t, const std::array<double, N>& x) {
    auto& outputs = results_[at(lane).run].outputs;
    outputs.push_back(t);
    outputs.insert(outputs.end(), x.begin(), x.end());
    ++at(lane).output;
  }
  void at_end(int lane, const RunReport& report) { results_[at(lane).run].report = report; }

 private:
  struct Lane {
    std::size_t run = 0, act = 0;
    int output = 0;
  };
  Lane& at(int lane) { return lanes_[static_cast<std::size_t>(lane)]; }
  const StoresRun& run(int lane) { return runs_[at(lane).run]; }

  bool perform(int kind, int lane, State x) {
    switch (kind) {
      case 0:
        for (std::size_t i = 0; i < S; i += 2) {
          x.set(i, x[i] + 0.7);
          physics::set_lane(system_.wet[i], lane, 1.0);
        }
        return true;
      case 1:
        physics::set_lane(system_.draught, lane, 1.8 * physics::value_of(system_.draught, lane));
        return true;
      case 2:
        physics::set_lane(system_.room, lane, 3.0 + physics::value_of(system_.room, lane));
        return true;
      case 4:
        x.set(1, std::numeric_limits<double>::quiet_NaN());
        return true;
      default:
        return false;
    }
  }

  Stores<R, S>& system_;
  const std::vector<StoresRun>& runs_;
  const std::vector<std::size_t>& order_;
  std::vector<StoresResult>& results_;
  std::size_t served_ = 0;
  std::array<Lane, static_cast<std::size_t>(physics::lanes<R>)> lanes_{};
};

template <Real R, std::size_t S>
std::vector<StoresResult> integrate_stores(const std::vector<StoresRun>& runs,
                                           const std::vector<std::size_t>& order,
                                           const StepControl<3 * S>& control) {
  std::vector<StoresResult> results(runs.size());
  Stores<R, S> system;
  StoresJourney<R, S> journey(system, runs, order, results);
  const auto integrator = std::make_unique<Integrator<R, 3 * S>>(control);
  integrator->run(system, journey);
  return results;
}

}  // namespace serosa::simulate::test
