// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <limits>
#include <stdexcept>
#include <type_traits>
#include <vector>

#include "physics/real/real.hpp"
#include "simulate/run_status.hpp"

// Odeint draws in ublas, and that <iostream>, whose start-up code has no place in a kernel that may
// not run on the processor it is loaded on.
#ifndef BOOST_UBLAS_NO_STD_CERR
#define BOOST_UBLAS_NO_STD_CERR
#endif
// GCC 12 takes odeint's working memory, which every step writes before it reads, for unset.
#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#pragma GCC diagnostic ignored "-Wuninitialized"
#endif
#include <boost/numeric/odeint/algebra/array_algebra.hpp>
#include <boost/numeric/odeint/stepper/runge_kutta_dopri5.hpp>
#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC diagnostic pop
#endif

namespace serosa::simulate {

using physics::lanes;
using physics::Real;
using physics::Scalar;

/// What the step size answers to. Times in h, states in their own units.
template <std::size_t N>
struct StepControl {
  /// Per state; the error of a step may be this plus the relative part.
  std::array<double, N> absolute_tolerance{};
  double relative_tolerance = 1e-6;
  /// Only the first so many states bound the step; ledgers, which nothing reads, may follow them.
  std::size_t controlled = N;
  /// States that may not fall below minus their absolute tolerance.
  std::array<bool, N> never_negative{};
  double smallest_step = 1e-9;
  double largest_step = 1.0;
  /// Steps tried, accepted or not, before a run is given up.
  std::int32_t step_budget = 1'000'000;
};

/// The steps of one run, each as a share of the segment between two stops: what remains the same
/// when act times move, and so what derivatives are taken at.
struct StepSequence {
  std::vector<double> shares;
};

/// One lane's view of a block's states.
template <Real R, std::size_t N>
class LaneState {
 public:
  LaneState(std::array<R, N>& block, int lane) : block_(&block), lane_(lane) {}
  Scalar<R> operator[](std::size_t state) const {
    return physics::lane_of((*block_)[state], lane_);
  }
  void set(std::size_t state, const Scalar<R>& value) {
    physics::set_lane((*block_)[state], lane_, value);
  }
  std::array<Scalar<R>, N> load() const {
    std::array<Scalar<R>, N> all;
    for (std::size_t i = 0; i < N; ++i) all[i] = (*this)[i];
    return all;
  }
  void store(const std::array<Scalar<R>, N>& all) {
    for (std::size_t i = 0; i < N; ++i) set(i, all[i]);
  }

 private:
  std::array<R, N>* block_;
  int lane_;
};

/// What an integrator asks of the runs it serves. `lane` counts from 0; times are in h and of the
/// lane's scalar type, so that act times may carry derivatives.
///
/// - `begin(lane, x)`: puts the next run into the lane: sets every state and the lane's controls.
///   False: no run is left, the lane rests.
/// - `start(lane)`, `end(lane)`: the run's first and last hour.
/// - `next_stop(lane)`: hour of the next act, +infinity for none. It is met exactly. Asked at the
///   start, after each stop and after `after_step` reported a change.
/// - `at_stop(lane, x, t)`: carries out what is due at t, may change the lane's states and
/// controls;
///   true when the rates are no longer those of before. Afterwards `next_stop` lies beyond t.
/// - `after_step(lane, x, t)`: seen after every accepted step, before the acts of that time; it may
///   end a store that ran dry. True as for `at_stop`.
/// - `next_output(lane)`: next hour of the output grid (a plain number), +infinity for none.
/// - `at_output(lane, t, x)`: the lane's states at t, interpolated to order 4 between steps; it
///   moves `next_output` on. An output due exactly at a stop shows the state after the acts.
/// - `at_end(lane, report)`: the run finished or failed; `begin` follows.
template <class J, class R, std::size_t N>
concept Journey = requires(J journey, int lane, LaneState<R, N> x, Scalar<R> t, double hour,
                           const std::array<Scalar<R>, N>& values, const RunReport& report) {
  { journey.begin(lane, x) } -> std::same_as<bool>;
  { journey.start(lane) } -> std::convertible_to<Scalar<R>>;
  { journey.end(lane) } -> std::convertible_to<Scalar<R>>;
  { journey.next_stop(lane) } -> std::convertible_to<Scalar<R>>;
  { journey.at_stop(lane, x, t) } -> std::same_as<bool>;
  { journey.after_step(lane, x, t) } -> std::same_as<bool>;
  { journey.next_output(lane) } -> std::same_as<double>;
  journey.at_output(lane, hour, values);
  journey.at_end(lane, report);
};

/// Advances a block of runs, one per lane of R, each on its own time, step size and acceptance, so
/// that a run's result does not depend on its neighbours and is the same, bit for bit, in any lane
/// and as a plain number.
///
/// Steps are Boost.Odeint's Dormand–Prince 5(4) with its continuous extension of order 4 (Hairer,
/// Nørsett and Wanner, Solving Ordinary Differential Equations I, 2nd ed. 1993, section II.6). The
/// error of a step is the largest, over the controlled states, of
/// |error| / (absolute + relative * max(|before|, |after|)); step sizes follow the
/// proportional-integral controller of the same authors (Hairer and Wanner, Solving Ordinary
/// Differential Equations II, 2nd ed. 1996, section IV.2; constants as in their code dopri5, from
/// memory). A step whose result is not finite, or has a state below zero that may not be, is
/// repeated at a fifth of its size; at the smallest size the run fails by name.
///
/// With dual numbers, acceptance looks at values; times and steps carry derivatives, a step being
/// a fixed share of the segment between two stops.
///
/// The object holds all working memory (about 14 N numbers of type R) and allocates nothing while
/// running, except to record a sequence. It may be used again, by one thread at a time.
template <Real R, std::size_t N>
class Integrator {
 public:
  using State = std::array<R, N>;
  using Time = Scalar<R>;
  static constexpr int W = lanes<R>;

  explicit Integrator(const StepControl<N>& control) : control_(control) {
    for (std::size_t i = 0; i < N; ++i)
      if (control.never_negative[i]) never_negative_[never_negative_count_++] = i;
  }

  /// From now on notes the steps of each run that begins in this lane (null: no longer).
  void record(int lane, StepSequence* sequence) { at(lane).recorded = sequence; }
  /// From now on takes exactly these steps, whatever their error (null: no longer).
  void replay(int lane, const StepSequence* sequence) { at(lane).replayed = sequence; }

  /// Runs until every lane rests. `system(x, dxdt, t)` fills dxdt (per h) for all lanes; lanes that
  /// rest hold what they last held (zeros when they never held a run), and what the system makes
  /// of them is not looked at. Throws std::logic_error when a journey's stops or outputs do not
  /// move on or a run has no finite end, and lets through what system and journey throw.
  template <class System, class J>
  requires Journey<J, R, N>
  void run(System& system, J& journey) {
    x_ = {};
    t_ = R(0.0);
    for (int l = 0; l < W; ++l) load(l, journey);
    refresh(system, journey);
    while (any_running()) {
      choose_steps(journey);
      stepper_.do_step(Rates<System>{&system}, x_, dxdt_, t_, x_new_, dxdt_new_, step_, error_);
      judge();
      write_outputs_within(journey);
      adopt();
      conclude(system, journey);
      refresh(system, journey);
    }
  }

 private:
  // Without derivatives, but with lanes.
  using Plain = std::conditional_t<(W > 1), R, double>;
  using Condition = physics::ConditionOf<Plain>;
  // Constants of the method are of the number type too: odeint's interpolation asks for it.
  using Stepper = boost::numeric::odeint::runge_kutta_dopri5<State, R, State, R,
                                                             boost::numeric::odeint::array_algebra>;

  template <class System>
  struct Rates {
    System* system;
    void operator()(const State& x, State& dxdt, const R& t) const { (*system)(x, dxdt, t); }
  };

  struct Lane {
    bool running = false;
    bool fresh = false;                       // the rates at x are still to be taken
    bool newcomer = false;                    // no step size yet
    bool last = false;                        // the step in hand ends the segment
    bool rejected = false;                    // the step before was
    bool accepted = false;                    // the step in hand is
    Time from, to, length;                    // of the segment, from stop to stop
    double done = 0.0;                        // share of the segment
    double share = 0.0;                       // of the step in hand
    double tried = 0.0;                       // its size, h
    double wanted = 0.0;                      // size that the error asks for, h
    RunStatus suspect = RunStatus::finished;  // why the step in hand was refused
    Effort effort;
    StepSequence* recorded = nullptr;
    const StepSequence* replayed = nullptr;
    std::size_t replay_position = 0;
  };

  // Controller: exponents 0.2 - 0.75 beta and beta, safety, limits of change per step.
  static constexpr double beta = 0.04;
  static constexpr double alpha = 0.2 - 0.75 * beta;
  static constexpr double safety = 0.9;
  static constexpr double largest_growth = 10.0;
  static constexpr double largest_shrinkage = 5.0;
  static constexpr double least_remembered_error = 1e-4;
  // Of the step size before an act, for the step after it. Over a thousand random runs of the
  // stores in tests/simulate, at tolerances 1e-4 to 1e-8, half cost about 1 % fewer evaluations of
  // the rates than the whole, up to 4 % fewer than a tenth, as many as a new first step.
  static constexpr double restart_share = 0.5;

  Lane& at(int lane) { return lanes_[static_cast<std::size_t>(lane)]; }
  static double plain(const Time& t) { return physics::value_of(t, 0); }
  static const Plain& plain_of(const R& x) requires std::same_as<Plain, R> { return x; }
  static double plain_of(const R& x) requires(!std::same_as<Plain, R>) { return x.value; }
  Time time(int lane) const { return physics::lane_of(t_, lane); }
  LaneState<R, N> state(int lane) { return {x_, lane}; }
  double value(const R& x, int lane) const { return physics::value_of(x, lane); }

  bool any_running() const {
    return std::any_of(lanes_.begin(), lanes_.end(), [](const Lane& l) { return l.running; });
  }

  // ---- Between the steps ------------------------------------------------------------------

  template <class J>
  void load(int lane, J& journey) {
    // A run may end at its very start; hence a loop.
    while (true) {
      Lane& l = at(lane);
      StepSequence* const recorded = l.recorded;
      const StepSequence* const replayed = l.replayed;
      l = Lane{};
      l.recorded = recorded;
      l.replayed = replayed;
      // A step of no length: a lane at rest stays where it is.
      physics::set_lane(step_, lane, Time(0.0));
      if (!journey.begin(lane, state(lane))) return;
      if (recorded != nullptr) recorded->shares.clear();
      l.running = l.fresh = l.newcomer = true;
      const Time start = journey.start(lane);
      physics::set_lane(t_, lane, start);
      if (journey.next_output(lane) < plain(start))
        throw std::logic_error("an output is due before the run starts");
      while (plain(Time(journey.next_stop(lane))) <= plain(start)) do_acts(lane, journey);
      if (!pass(lane, journey)) return;
    }
  }

  // Acts, and the promise that they move on.
  template <class J>
  bool do_acts(int lane, J& journey) {
    const bool changed = journey.at_stop(lane, state(lane), time(lane));
    if (!(plain(Time(journey.next_stop(lane))) > value(t_, lane)))
      throw std::logic_error("a stop is followed by one that is not later");
    return changed;
  }

  // Outputs due at this very time, then the next segment; true when the run is over.
  template <class J>
  bool pass(int lane, J& journey) {
    const double now = value(t_, lane);
    if (journey.next_output(lane) <= now) {
      const auto x = state(lane).load();
      while (journey.next_output(lane) <= now) write_output(lane, journey, now, x);
    }
    if (now >= plain(Time(journey.end(lane)))) {
      journey.at_end(lane, report(lane, RunStatus::finished, -1));
      return true;
    }
    open_segment(lane, journey);
    return false;
  }

  template <class J>
  void write_output(int lane, J& journey, double t, const std::array<Time, N>& x) {
    journey.at_output(lane, t, x);
    ++at(lane).effort.outputs;
    if (!(journey.next_output(lane) > t))
      throw std::logic_error("an output is followed by one that is not later");
  }

  template <class J>
  void open_segment(int lane, J& journey) {
    Lane& l = at(lane);
    const Time stop = journey.next_stop(lane), end = journey.end(lane);
    l.from = time(lane);
    l.to = plain(stop) < plain(end) ? stop : end;
    if (!physics::isfinite(plain(l.to))) throw std::logic_error("a run has no finite end");
    l.length = l.to - l.from;
    l.done = 0.0;
  }

  RunReport report(int lane, RunStatus status, int state_index) {
    return {status, state_index, value(t_, lane), at(lane).effort};
  }

  template <class J>
  void fail(int lane, J& journey, RunStatus status, int state_index) {
    journey.at_end(lane, report(lane, status, state_index));
    load(lane, journey);
  }

  // ---- Rates at the start and after acts --------------------------------------------------

  // Takes the rates of the lanes that need them; the others keep theirs to the bit.
  template <class System, class J>
  void refresh(System& system, J& journey) {
    while (std::any_of(lanes_.begin(), lanes_.end(), [](const Lane& l) { return l.fresh; })) {
      Condition fresh(false);
      for (int l = 0; l < W; ++l) physics::set_lane(fresh, l, at(l).fresh);
      system(x_, dxdt_new_, t_);
      for (std::size_t i = 0; i < N; ++i) dxdt_[i] = physics::select(fresh, dxdt_new_[i], dxdt_[i]);
      first_steps(system);
      for (int l = 0; l < W; ++l) {
        if (!at(l).fresh) continue;
        at(l).fresh = false;
        ++at(l).effort.rate_evaluations;
        if (const int i = not_finite(dxdt_, l); i >= 0)
          fail(l, journey, RunStatus::rates_not_finite, i);
        else if (const int j = below_zero(x_, l); j >= 0)
          fail(l, journey, RunStatus::state_below_zero, j);
      }
    }
  }

  // First step size: Hairer, Nørsett and Wanner, section II.4, algorithm "starting step size", with
  // the norm of the step control. Costs one evaluation of the rates.
  template <class System>
  void first_steps(System& system) {
    if (std::none_of(lanes_.begin(), lanes_.end(), [](const Lane& l) { return l.newcomer; }))
      return;
    Plain size(0.0), speed(0.0);
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const Plain scale = scale_of(i, physics::abs(plain_of(x_[i])));
      size = physics::max(size, physics::abs(plain_of(x_[i])) / scale);
      speed = physics::max(speed, physics::abs(plain_of(dxdt_[i])) / scale);
    }
    const Plain cautious =
        physics::select(size < 1e-5 || speed < 1e-5, Plain(1e-6), 0.01 * (size / speed));
    const Plain trial = physics::min(cautious, control_.largest_step);
    for (std::size_t i = 0; i < N; ++i) x_new_[i] = x_[i] + R(trial) * dxdt_[i];
    system(x_new_, dxdt_new_, t_ + R(trial));
    Plain bend(0.0);
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const Plain scale = scale_of(i, physics::abs(plain_of(x_[i])));
      bend = physics::max(bend, physics::abs(plain_of(dxdt_new_[i]) - plain_of(dxdt_[i])) / scale);
    }
    const Plain steepest = physics::max(speed, bend / trial);
    const Plain by_slope = physics::select(steepest <= 1e-15, physics::max(1e-3 * trial, 1e-6),
                                           physics::pow(0.01 / physics::max(steepest, 1e-15), 0.2));
    const Plain first = physics::min(100.0 * trial, by_slope);
    for (int l = 0; l < W; ++l) {
      if (!at(l).newcomer) continue;
      at(l).newcomer = false;
      ++at(l).effort.rate_evaluations;
      const double h = physics::value_of(first, l);
      at(l).wanted =
          physics::isfinite(h) ? std::max(h, control_.smallest_step) : control_.smallest_step;
      physics::set_lane(remembered_, l, physics::pow(least_remembered_error, beta));
    }
  }

  Plain scale_of(std::size_t i, const Plain& magnitude) const {
    return control_.absolute_tolerance[i] + control_.relative_tolerance * magnitude;
  }

  int not_finite(const State& x, int lane) const {
    for (std::size_t i = 0; i < N; ++i)
      if (!physics::isfinite(value(x[i], lane))) return static_cast<int>(i);
    return -1;
  }

  int below_zero(const State& x, int lane) const {
    for (std::size_t n = 0; n < never_negative_count_; ++n) {
      const std::size_t i = never_negative_[n];
      if (value(x[i], lane) < -control_.absolute_tolerance[i]) return static_cast<int>(i);
    }
    return -1;
  }

  // ---- The step ---------------------------------------------------------------------------

  template <class J>
  void choose_steps(J& journey) {
    for (int lane = 0; lane < W; ++lane) {
      while (at(lane).running && !choose_step(lane)) {
        fail(lane, journey, RunStatus::sequence_too_short, -1);
        // The run that follows has no rates yet; it sits this step out.
        if (at(lane).fresh) break;
      }
    }
  }

  // False: the sequence to replay is used up.
  bool choose_step(int lane) {
    Lane& l = at(lane);
    if (l.replayed != nullptr) {
      if (l.replay_position == l.replayed->shares.size()) return false;
      l.share = l.replayed->shares[l.replay_position++];
      l.last = l.share >= 1.0 - l.done;
      if (l.last) l.share = 1.0 - l.done;
    } else {
      const double size = std::min(l.wanted, control_.largest_step);
      const double remaining = (1.0 - l.done) * plain(l.length);
      l.last = size >= remaining;
      if (l.last)
        l.share = 1.0 - l.done;
      else if (2.0 * size > remaining)  // two equal steps instead of one and a crumb
        l.share = 0.5 * (1.0 - l.done);
      else
        l.share = size / plain(l.length);
    }
    const Time step = l.share * l.length;
    l.tried = plain(step);
    physics::set_lane(step_, lane, step);
    physics::set_lane(t_new_, lane, l.last ? l.to : Time(l.from + (l.done + l.share) * l.length));
    return true;
  }

  // Error norm, acceptance and next step size of every lane.
  void judge() {
    Plain norm(0.0), sum(0.0);
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const Plain magnitude =
          physics::max(physics::abs(plain_of(x_[i])), physics::abs(plain_of(x_new_[i])));
      const Plain ratio = physics::abs(plain_of(error_[i])) / scale_of(i, magnitude);
      norm = physics::max(norm, ratio);
      sum += ratio;  // the maximum forgets a NaN, the sum does not
    }
    for (std::size_t i = control_.controlled; i < N; ++i) sum += 0.0 * plain_of(error_[i]);
    Condition negative(false);
    for (std::size_t n = 0; n < never_negative_count_; ++n) {
      const std::size_t i = never_negative_[n];
      negative = negative || plain_of(x_new_[i]) < -control_.absolute_tolerance[i];
    }
    const Condition finite = physics::isfinite(sum);
    const Plain by_error = physics::pow(norm, alpha);
    const Plain shrink = physics::max(
        1.0 / largest_growth, physics::min(by_error / (safety * remembered_), largest_shrinkage));
    const Plain shrink_refused = physics::min(by_error / safety, largest_shrinkage);
    const Plain remember = physics::pow(physics::max(norm, least_remembered_error), beta);
    for (int lane = 0; lane < W; ++lane) {
      Lane& l = at(lane);
      l.accepted = false;
      if (!l.running || l.fresh) continue;
      l.effort.rate_evaluations += 6;
      if (!physics::lane_of(finite, lane))
        l.suspect = RunStatus::rates_not_finite;
      else if (l.replayed != nullptr)
        l.suspect = RunStatus::finished;
      else if (!(physics::value_of(norm, lane) <= 1.0))
        l.suspect = RunStatus::step_too_small;
      else if (physics::lane_of(negative, lane))
        l.suspect = RunStatus::state_below_zero;
      else
        l.suspect = RunStatus::finished;
      l.accepted = l.suspect == RunStatus::finished;
      if (l.accepted)
        accept(l, lane, physics::value_of(norm, lane), physics::value_of(shrink, lane),
               physics::value_of(remember, lane));
      else
        refuse(l, l.suspect == RunStatus::step_too_small ? physics::value_of(shrink_refused, lane)
                                                         : largest_shrinkage);
    }
  }

  void accept(Lane& l, int lane, double norm, double shrink, double remember) {
    ++l.effort.accepted_steps;
    if (l.recorded != nullptr) l.recorded->shares.push_back(l.share);
    double next = l.tried / shrink;
    if (l.rejected)
      next = std::min(next, l.tried);
    else if (l.tried < l.wanted && l.wanted * physics::pow(norm, 0.2) <= l.tried)
      next = std::max(next, l.wanted);  // a step cut short by a stop: the size before still holds
    l.wanted = std::max(next, control_.smallest_step);
    l.rejected = false;
    l.done += l.share;
    physics::set_lane(remembered_, lane, remember);
  }

  void refuse(Lane& l, double shrink) {
    ++l.effort.rejected_steps;
    l.rejected = true;
    l.wanted = l.tried / shrink;
  }

  // Outputs inside the step: in each round one time for every lane that has any left.
  template <class J>
  void write_outputs_within(J& journey) {
    while (true) {
      bool any = false;
      std::array<bool, static_cast<std::size_t>(W)> due{};
      std::array<double, static_cast<std::size_t>(W)> hour{};
      R at_hour = t_;
      for (int l = 0; l < W; ++l) {
        const auto n = static_cast<std::size_t>(l);
        if (!at(l).accepted) continue;
        hour[n] = journey.next_output(l);
        if (!(hour[n] < value(t_new_, l))) continue;
        any = due[n] = true;
        physics::set_lane(at_hour, l, Time(hour[n]));
      }
      if (!any) return;
      stepper_.calc_state(at_hour, between_, x_, dxdt_, t_, x_new_, dxdt_new_, t_new_);
      for (int l = 0; l < W; ++l) {
        const auto n = static_cast<std::size_t>(l);
        if (due[n]) write_output(l, journey, hour[n], LaneState<R, N>(between_, l).load());
      }
    }
  }

  // Accepted lanes move on, the others stay.
  void adopt() {
    Condition accepted(false);
    for (int l = 0; l < W; ++l) physics::set_lane(accepted, l, at(l).accepted);
    for (std::size_t i = 0; i < N; ++i) {
      x_[i] = physics::select(accepted, x_new_[i], x_[i]);
      dxdt_[i] = physics::select(accepted, dxdt_new_[i], dxdt_[i]);
    }
    t_ = physics::select(accepted, t_new_, t_);
  }

  // What follows from the step: events, acts, outputs at its end, the end of the run, failures.
  template <class System, class J>
  void conclude(System& system, J& journey) {
    for (int lane = 0; lane < W; ++lane) {
      Lane& l = at(lane);
      if (!l.running || l.fresh) continue;
      if (l.accepted)
        arrive(lane, journey);
      else if (l.replayed != nullptr || l.tried <= control_.smallest_step)
        fail(lane, journey, l.suspect, culprit(lane, system));
      else
        l.wanted = std::max(l.wanted, control_.smallest_step);
      if (at(lane).running && !at(lane).newcomer && spent(at(lane)))
        fail(lane, journey, RunStatus::step_budget_spent, dominant(lane));
    }
  }

  bool spent(const Lane& l) const {
    return l.effort.accepted_steps + l.effort.rejected_steps >= control_.step_budget;
  }

  template <class J>
  void arrive(int lane, J& journey) {
    Lane& l = at(lane);
    if constexpr (!std::same_as<R, Plain>) {
      for (std::size_t i = 0; i < N; ++i)
        if (!physics::isfinite(x_[i]))
          return fail(lane, journey, RunStatus::slopes_not_finite, static_cast<int>(i));
    }
    bool changed = journey.after_step(lane, state(lane), time(lane));
    const bool turned = l.last || changed;
    while (plain(Time(journey.next_stop(lane))) <= value(t_, lane))
      changed = do_acts(lane, journey) || changed;
    if (changed) {
      l.fresh = true;
      ++l.effort.restarts;
      l.wanted = std::max(restart_share * l.wanted, control_.smallest_step);
    }
    if (turned) {
      if (pass(lane, journey)) load(lane, journey);
    } else if (journey.next_output(lane) <= value(t_, lane)) {
      write_output(lane, journey, value(t_, lane), state(lane).load());
    }
  }

  // The state to name when a step was refused at its smallest size.
  template <class System>
  int culprit(int lane, System& system) {
    switch (at(lane).suspect) {
      case RunStatus::rates_not_finite:
        return first_not_finite(lane, system);
      case RunStatus::state_below_zero:
        return below_zero(x_new_, lane);
      default:
        return dominant(lane);
    }
  }

  // A rate that is not finite spoils every state that depends on it before the step is over; a
  // straight path from x through the step's stages finds the one that was first.
  template <class System>
  int first_not_finite(int lane, System& system) {
    for (const double stage : {0.2, 0.3, 0.8, 8.0 / 9.0, 1.0}) {
      const R h(stage * at(lane).tried);
      for (std::size_t i = 0; i < N; ++i) between_[i] = x_[i] + h * dxdt_[i];
      system(between_, dxdt_new_, t_ + h);
      if (const int i = not_finite(dxdt_new_, lane); i >= 0) return i;
    }
    return not_finite(error_, lane);
  }

  int dominant(int lane) const {
    int worst = -1;
    double largest = 0.0;
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const double magnitude =
          std::max(std::fabs(value(x_[i], lane)), std::fabs(value(x_new_[i], lane)));
      const double ratio =
          std::fabs(value(error_[i], lane)) /
          (control_.absolute_tolerance[i] + control_.relative_tolerance * magnitude);
      if (ratio > largest) largest = ratio, worst = static_cast<int>(i);
    }
    return worst;
  }

  StepControl<N> control_;
  std::array<std::size_t, N> never_negative_{};
  std::size_t never_negative_count_ = 0;
  Stepper stepper_;
  State x_{}, dxdt_{}, x_new_{}, dxdt_new_{}, error_{}, between_{};
  R t_{0.0}, t_new_{0.0}, step_{0.0};
  Plain remembered_{1.0};
  std::array<Lane, static_cast<std::size_t>(W)> lanes_{};
};

}  // namespace serosa::simulate
