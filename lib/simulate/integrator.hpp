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
#include "simulate/stabilised.hpp"

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
  /// Bound on |eigenvalue| of the rates, 1/h: a step takes as many stages as it needs to be stable
  /// under it. 0: the fewest, for systems without fast modes.
  double fastest_rate = 0.0;
  /// Steps tried, accepted or not, before a run is given up.
  std::int32_t step_budget = 1'000'000;
};

/// The steps of one run, each as a share of the segment between two stops: what remains the same
/// when act times move, and so what derivatives are taken at.
struct StepSequence {
  std::vector<double> shares;
  std::vector<int> stages{};  ///< of each step; where there are none, as its size asks for
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
///   controls; true when the rates are no longer those of before. Afterwards `next_stop` lies
///   beyond t.
/// - `after_step(lane, x, t)`: seen after every accepted step, before the acts of that time; it may
///   end a store that ran dry. True as for `at_stop`.
/// - `next_output(lane)`: next hour of the output grid (a plain number), +infinity for none.
/// - `at_output(lane, t, x)`: the lane's states at t, interpolated to order 3 between steps; it
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

/// Advances a block of runs, one per lane of R, each on its own time, step size, number of stages
/// and acceptance, so that a run's result does not depend on its neighbours and is the same, bit
/// for bit, in any lane and as a plain number.
///
/// Steps are of order 3 with 3 to 9 stages (`stabilised.hpp`): the fewest that are stable at their
/// size under `fastest_rate`. What is stepped over is one evaluation of the rates at a time: in one
/// round a lane may be in the second stage of a short step, its neighbour in the last of a long
/// one, a third taking its rates anew after an act. So no lane waits for another.
///
/// The error of a step is estimated by what the step's increment differs from the trapezoidal
/// rule's, h^3 x'''/12 (in the manner of Sommeijer, Shampine and Verwer, J Comput Appl Math
/// 1998;88:315, section 2), as the largest, over the controlled states, of
/// |error| / (absolute + relative * max(|before|, |after|)). It belongs to order 2; the result is
/// of order 3, and a constant (`estimate_share`) brings the estimate down to what is really left.
/// Step sizes follow a proportional-integral controller (Hairer and Wanner, Solving Ordinary
/// Differential Equations II, 2nd ed. 1996, section IV.2). Between steps, outputs are interpolated
/// by the cubic that has values and rates of both ends. A step whose result is not finite, or in
/// which a state falls below zero that may not, at its end or between, is repeated at a fifth of
/// its size; at the smallest size the run fails by name.
///
/// With dual numbers, acceptance looks at values; times and steps carry derivatives, a step being
/// a fixed share of the segment between two stops.
///
/// The object holds all working memory (about 8 N numbers of type R) and allocates nothing while
/// running, except to record a sequence. It may be used again, by one thread at a time.
template <Real R, std::size_t N>
class Integrator {
 public:
  using State = std::array<R, N>;
  using Time = Scalar<R>;
  static constexpr int W = lanes<R>;

  explicit Integrator(const StepControl<N>& control)
      : control_(control),
        longest_step_(control.fastest_rate > 0.0
                          ? std::min(control.largest_step, furthest_reach / control.fastest_rate)
                          : control.largest_step) {
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
    y_ = {};
    dxdt_ = {};
    for (int l = 0; l < W; ++l) load(l, journey);
    for (int l = 0; l < W; ++l) set_out(l);
    move_on();
    while (any_running()) {
      system(y_, k_, at_);
      if (count_round()) {
        finish_steps(journey);
        adopt();
        propose_first_steps();
        conclude(system, journey);
      }
      for (int l = 0; l < W; ++l) set_out(l);
      move_on();
    }
  }

 private:
  // Without derivatives, but with lanes.
  using Plain = std::conditional_t<(W > 1), R, double>;
  using Condition = physics::ConditionOf<Plain>;
  // What a lane's next evaluation of the rates is for.
  enum class Phase {
    rest,   // nothing
    fresh,  // the rates at x, at the start or after an act
    probe,  // the rates a little further on, for the first step size
    stage,  // a stage of the step in hand
    end     // the rates at the end of the step in hand
  };

  struct Lane {
    Phase phase = Phase::rest;
    bool newcomer = false;                    // no step size yet
    bool ready = false;                       // rates at x are there, the next step may begin
    bool last = false;                        // the step in hand ends the segment
    bool rejected = false;                    // the step before was
    bool accepted = false;                    // the step in hand is
    Time from, to, length;                    // of the segment, from stop to stop
    double done = 0.0;                        // share of the segment
    double share = 0.0;                       // of the step in hand
    const Stabilised* method = nullptr;       // of the step in hand
    int stage = 0;                            // the one whose rates are being taken
    Time step;                                // its size, h, with derivatives
    double tried = 0.0;                       // its size, h
    double wanted = 0.0;                      // size that the error asks for, h
    RunStatus suspect = RunStatus::finished;  // why the step in hand was refused
    int worst = -1;  // state that dominated the error when the budget was spent
    Effort effort;
    StepSequence* recorded = nullptr;
    const StepSequence* replayed = nullptr;
    std::size_t replay_position = 0;
  };

  // Controller: exponents 1/3 - 0.75 beta and beta, safety, limits of change per step.
  static constexpr double order = 3.0;  // of the estimate per step
  static constexpr double beta = 0.08;
  static constexpr double alpha = 1.0 / order - 0.75 * beta;
  static constexpr double safety = 0.9;
  // What is left of the trapezoidal defect in the result.
  static constexpr double estimate_share = 0.3;
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
    return std::any_of(lanes_.begin(), lanes_.end(),
                       [](const Lane& l) { return l.phase != Phase::rest; });
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
      if (!journey.begin(lane, state(lane))) return;
      if (recorded != nullptr) *recorded = {};
      l.phase = Phase::fresh;
      l.newcomer = true;
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

  // First step size: Hairer, Nørsett and Wanner, Solving Ordinary Differential Equations I, 2nd ed.
  // 1993, section II.4, algorithm "starting step size", with the norm of the step control. Costs
  // one evaluation of the rates.
  void propose_first_steps() {
    if (!any(Phase::fresh, true) && !any(Phase::probe, true)) return;
    Plain size(0.0), speed(0.0), bend(0.0);
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const Plain scale = scale_of(i, physics::abs(plain_of(x_[i])));
      size = physics::max(size, physics::abs(plain_of(x_[i])) / scale);
      speed = physics::max(speed, physics::abs(plain_of(dxdt_[i])) / scale);
      bend = physics::max(bend, physics::abs(plain_of(k_[i]) - plain_of(dxdt_[i])) / scale);
    }
    const Plain cautious =
        physics::select(size < 1e-5 || speed < 1e-5, Plain(1e-6), 0.01 * (size / speed));
    const Plain trial = physics::min(cautious, control_.largest_step);
    const Plain steepest = physics::max(speed, bend / trial);
    const Plain by_slope =
        physics::select(steepest <= 1e-15, physics::max(1e-3 * trial, 1e-6),
                        physics::pow(0.01 / physics::max(steepest, 1e-15), 1.0 / order));
    const Plain first = physics::min(100.0 * trial, by_slope);
    for (int lane = 0; lane < W; ++lane) {
      Lane& l = at(lane);
      if (!l.newcomer) continue;
      if (l.phase == Phase::fresh) {
        const double h = physics::value_of(trial, lane);
        l.step = Time(physics::isfinite(h) ? h : control_.smallest_step);
      } else {
        const double h = physics::value_of(first, lane);
        l.wanted =
            physics::isfinite(h) ? std::max(h, control_.smallest_step) : control_.smallest_step;
        physics::set_lane(remembered_, lane, physics::pow(least_remembered_error, beta));
      }
    }
  }

  bool any(Phase phase, bool newcomers_only = false) const {
    return std::any_of(lanes_.begin(), lanes_.end(), [&](const Lane& l) {
      return l.phase == phase && (l.newcomer || !newcomers_only);
    });
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

  // Counts the evaluation just made; true when it completes anything but a stage.
  bool count_round() {
    bool special = false;
    for (Lane& l : lanes_) {
      if (l.phase == Phase::rest) continue;
      ++l.effort.rate_evaluations;
      if (l.phase != Phase::stage) special = true;
    }
    return special;
  }

  // False: the sequence to replay is used up.
  bool choose_step(Lane& l) {
    int stages = 0;
    if (l.replayed != nullptr) {
      if (l.replay_position == l.replayed->shares.size()) return false;
      if (l.replay_position < l.replayed->stages.size())
        stages = l.replayed->stages[l.replay_position];
      l.share = l.replayed->shares[l.replay_position++];
      l.last = l.share >= 1.0 - l.done;
      if (l.last) l.share = 1.0 - l.done;
    } else {
      const double size = std::min(l.wanted, longest_step_);
      const double remaining = (1.0 - l.done) * plain(l.length);
      l.last = size >= remaining;
      if (l.last)
        l.share = 1.0 - l.done;
      else if (2.0 * size > remaining)  // two equal steps instead of one and a crumb
        l.share = 0.5 * (1.0 - l.done);
      else
        l.share = size / plain(l.length);
    }
    l.step = l.share * l.length;
    l.tried = plain(l.step);
    l.method = stages > 0 ? &with_stages(stages) : &stable_at(l.tried * control_.fastest_rate);
    return true;
  }

  // Where the lane's rates are to be taken next, and what leads there: y = from + to_y * slope,
  // sum = from + to_sum * slope, from and slope being x and its rates at the beginning of a step,
  // the sum so far and the stage's rates within it.
  void set_out(int lane) {
    Lane& l = at(lane);
    Time to_y(0.0), to_sum(0.0), when = time(lane);
    bool within = false;
    if (l.ready) {
      l.ready = false;
      const auto& m = *l.method;
      to_sum = m.weight[0] * l.step;
      to_y = m.forward[0] * l.step;
      l.stage = 0;
      next_stage(l, when);
    } else if (l.phase == Phase::stage) {
      within = true;
      const auto& m = *l.method;
      const auto j = static_cast<std::size_t>(l.stage);
      to_sum = m.weight[j] * l.step;
      to_y = l.stage + 1 < m.stages ? m.forward[j] * l.step : to_sum;
      next_stage(l, when);
    } else if (l.phase == Phase::probe) {
      to_y = l.step;
      when = when + l.step;
    }
    within_.set(lane, within);
    held_.set(lane, l.phase == Phase::fresh || l.phase == Phase::rest);
    physics::set_lane(to_y_, lane, to_y);
    physics::set_lane(to_sum_, lane, to_sum);
    physics::set_lane(at_, lane, when);
  }

  void next_stage(Lane& l, Time& when) {
    const auto& m = *l.method;
    ++l.stage;
    if (l.stage < m.stages) {
      l.phase = Phase::stage;
      when = when + m.node[static_cast<std::size_t>(l.stage)] * l.step;
    } else {
      l.phase = Phase::end;
      when = arrival(l);
    }
  }

  Time arrival(const Lane& l) const {
    return l.last ? l.to : Time(l.from + (l.done + l.share) * l.length);
  }

  void move_on() {
    const Condition within = within_.all(), held = held_.all();
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const R from = physics::select(within, sum_[i], x_[i]);
      const R slope = physics::select(within, k_[i], dxdt_[i]);
      y_[i] = physics::select(held, x_[i], from + to_y_ * slope);
      sum_[i] = from + to_sum_ * slope;
    }
    // Nothing reads the ledgers: no stage needs them.
    for (std::size_t i = control_.controlled; i < N; ++i) {
      const R from = physics::select(within, sum_[i], x_[i]);
      const R slope = physics::select(within, k_[i], dxdt_[i]);
      sum_[i] = from + to_sum_ * slope;
    }
  }

  // Error norm, acceptance and next step size of the lanes that are at the end of a step, and the
  // outputs within it.
  template <class J>
  void finish_steps(J& journey) {
    for (Lane& l : lanes_) l.accepted = false;
    if (!any(Phase::end)) return;
    for (int l = 0; l < W; ++l) {
      physics::set_lane(step_, l, at(l).step);
      physics::set_lane(t_new_, l, at(l).phase == Phase::end ? arrival(at(l)) : time(l));
    }
    judge();
    write_outputs_within(journey);
  }

  // What the step's increment differs from the trapezoidal rule's.
  Plain error_of(std::size_t i, const Plain& half_step) const {
    return estimate_share * ((plain_of(sum_[i]) - plain_of(x_[i])) -
                             half_step * (plain_of(dxdt_[i]) + plain_of(k_[i])));
  }

  // A bound below the cubic that outputs are taken from, so that no output within the step shows a
  // state below zero: the lowest control point of its two halves (de Casteljau's subdivision).
  Plain lowest_between(std::size_t i, const Plain& half_step) const {
    const Plain& start = plain_of(x_[i]);
    const Plain& end = plain_of(sum_[i]);
    const Plain third = (2.0 / 3.0) * half_step;
    const Plain leaving = start + third * plain_of(dxdt_[i]);
    const Plain arriving = end - third * plain_of(k_[i]);
    const Plain first = 0.5 * (start + leaving), middle = 0.5 * (leaving + arriving),
                last = 0.5 * (arriving + end);
    const Plain inner = physics::min(first + middle, middle + last);
    return physics::min(physics::min(end, 0.5 * inner), physics::min(first, last));
  }

  // Lanes in which a state falls below zero that may not. First a bound that is quickly had.
  Condition any_below(const Plain& half_step) const {
    const Plain third = (2.0 / 3.0) * half_step;
    Condition below(false);
    for (std::size_t n = 0; n < never_negative_count_; ++n) {
      const std::size_t i = never_negative_[n];
      const Plain& end = plain_of(sum_[i]);
      const Plain leaving = plain_of(x_[i]) + third * plain_of(dxdt_[i]);
      const Plain arriving = end - third * plain_of(k_[i]);
      below = below ||
              physics::min(end, physics::min(leaving, arriving)) < -control_.absolute_tolerance[i];
    }
    if (!physics::any(below)) return below;
    below = Condition(false);
    for (std::size_t n = 0; n < never_negative_count_; ++n) {
      const std::size_t i = never_negative_[n];
      below = below || lowest_between(i, half_step) < -control_.absolute_tolerance[i];
    }
    return below;
  }

  void judge() {
    // The largest of |error| / scale, found without dividing: a/b > c/d where a d > c b. In four
    // strands, so that one comparison need not wait for the other.
    constexpr std::size_t strands = 4;
    std::array<Plain, strands> largest, its_scale, sum;
    largest.fill(Plain(0.0));
    its_scale.fill(Plain(1.0));
    sum.fill(Plain(0.0));
    const auto keep_larger = [](Plain& size, Plain& scale, const Plain& other, const Plain& its) {
      const auto larger = other * scale > size * its;
      size = physics::select(larger, other, size);
      scale = physics::select(larger, its, scale);
    };
    const Plain half_step = 0.5 * plain_of(step_);
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const Plain magnitude =
          physics::max(physics::abs(plain_of(x_[i])), physics::abs(plain_of(sum_[i])));
      const Plain error = physics::abs(error_of(i, half_step));
      keep_larger(largest[i % strands], its_scale[i % strands], error, scale_of(i, magnitude));
      sum[i % strands] += error;  // the comparison forgets a NaN, the sum does not
    }
    for (std::size_t n = 1; n < strands; ++n)
      keep_larger(largest[0], its_scale[0], largest[n], its_scale[n]);
    const Plain norm = largest[0] / its_scale[0];
    for (std::size_t i = control_.controlled; i < N; ++i)
      sum[i % strands] += plain_of(sum_[i]) + plain_of(k_[i]);
    const Condition finite = physics::isfinite((sum[0] + sum[1]) + (sum[2] + sum[3]));
    const Condition negative = any_below(half_step);
    const Plain by_error = physics::pow(norm, alpha);
    const Plain shrink = physics::max(
        1.0 / largest_growth, physics::min(by_error / (safety * remembered_), largest_shrinkage));
    const Plain shrink_refused = physics::min(by_error / safety, largest_shrinkage);
    const Plain remember = physics::pow(physics::max(norm, least_remembered_error), beta);
    for (int lane = 0; lane < W; ++lane) {
      Lane& l = at(lane);
      if (l.phase != Phase::end) continue;
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
      if (spent(l)) l.worst = dominant(lane);
    }
  }

  void accept(Lane& l, int lane, double norm, double shrink, double remember) {
    ++l.effort.accepted_steps;
    if (l.recorded != nullptr) {
      l.recorded->shares.push_back(l.share);
      l.recorded->stages.push_back(l.method->stages);
    }
    double next = l.tried / shrink;
    if (l.rejected)
      next = std::min(next, l.tried);
    else if (l.tried < l.wanted &&
             norm * (l.wanted * l.wanted * l.wanted) <= l.tried * l.tried * l.tried)
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
      interpolate(at_hour);
      for (int l = 0; l < W; ++l) {
        const auto n = static_cast<std::size_t>(l);
        if (due[n]) write_output(l, journey, hour[n], LaneState<R, N>(between_, l).load());
      }
    }
  }

  // The cubic that has the values and the rates of both ends. Written so that what stands still
  // during the step stands still to the last bit.
  void interpolate(const R& hour) {
    const R u = (hour - t_) / step_, v = 1.0 - u;
    const R moved = u * u * (3.0 - 2.0 * u);
    const R leaving = step_ * u * v * v, arriving = step_ * u * u * v;
    for (std::size_t i = 0; i < N; ++i)
      between_[i] = x_[i] + (moved * (sum_[i] - x_[i]) + (leaving * dxdt_[i] - arriving * k_[i]));
  }

  // Accepted lanes move on, fresh ones have their rates, the others stay.
  void adopt() {
    Marks accepted, renewed;
    bool any_accepted = false;
    for (int l = 0; l < W; ++l) {
      accepted.set(l, at(l).accepted);
      renewed.set(l, at(l).accepted || at(l).phase == Phase::fresh);
      any_accepted = any_accepted || at(l).accepted;
    }
    const Condition moved = accepted.all(), new_rates = renewed.all();
    for (std::size_t i = 0; i < N; ++i) dxdt_[i] = physics::select(new_rates, k_[i], dxdt_[i]);
    if (!any_accepted) return;
    for (std::size_t i = 0; i < N; ++i) x_[i] = physics::select(moved, sum_[i], x_[i]);
    t_ = physics::select(moved, t_new_, t_);
  }

  // What follows from the evaluation: events, acts, outputs at a step's end, the end of the run,
  // failures; then the next step.
  template <class System, class J>
  void conclude(System& system, J& journey) {
    for (int lane = 0; lane < W; ++lane) {
      Lane& l = at(lane);
      if (l.phase == Phase::fresh) {
        begin_with_rates(lane, journey);
      } else if (l.phase == Phase::probe) {
        l.newcomer = false;
        l.ready = true;
      } else if (l.phase == Phase::end) {
        if (l.accepted)
          arrive(lane, journey);
        else if (l.replayed != nullptr || l.tried <= control_.smallest_step)
          fail(lane, journey, l.suspect, culprit(lane, system));
        else
          go_back(l);
        // A run that has just begun, perhaps in this lane, has spent nothing.
        if (at(lane).phase != Phase::rest && !at(lane).newcomer && spent(at(lane)))
          fail(lane, journey, RunStatus::step_budget_spent, at(lane).worst);
      }
      while (at(lane).ready && !choose_step(at(lane)))
        fail(lane, journey, RunStatus::sequence_too_short, -1);
    }
  }

  template <class J>
  void begin_with_rates(int lane, J& journey) {
    Lane& l = at(lane);
    if (const int i = not_finite(dxdt_, lane); i >= 0)
      fail(lane, journey, RunStatus::rates_not_finite, i);
    else if (const int j = below_zero(x_, lane); j >= 0)
      fail(lane, journey, RunStatus::state_below_zero, j);
    else if (l.newcomer)
      l.phase = Phase::probe;
    else
      l.ready = true;
  }

  void go_back(Lane& l) {
    l.wanted = std::max(l.wanted, control_.smallest_step);
    l.ready = true;
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
      l.phase = Phase::fresh;
      ++l.effort.restarts;
      l.wanted = std::max(restart_share * l.wanted, control_.smallest_step);
    } else {
      l.ready = true;
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
        return sinking(lane);
      default:
        return dominant(lane);
    }
  }

  // The first state that falls below zero within the step.
  int sinking(int lane) const {
    const Plain half_step = 0.5 * plain_of(step_);
    for (std::size_t n = 0; n < never_negative_count_; ++n) {
      const std::size_t i = never_negative_[n];
      if (physics::value_of(lowest_between(i, half_step), lane) < -control_.absolute_tolerance[i])
        return static_cast<int>(i);
    }
    return -1;
  }

  // A rate that is not finite spoils every state that depends on it before the step is over; a
  // straight path from x through the step finds the one that was first.
  template <class System>
  int first_not_finite(int lane, System& system) {
    for (const double share : {0.2, 0.4, 0.6, 0.8, 1.0}) {
      const R h(share * at(lane).tried);
      for (std::size_t i = 0; i < N; ++i) between_[i] = x_[i] + h * dxdt_[i];
      system(between_, searched_, t_ + h);
      if (const int i = not_finite(searched_, lane); i >= 0) return i;
    }
    if (const int i = not_finite(sum_, lane); i >= 0) return i;
    return not_finite(k_, lane);
  }

  int dominant(int lane) {
    int worst = -1;
    double largest = 0.0;
    const double half_step = 0.5 * at(lane).tried;
    for (std::size_t i = 0; i < control_.controlled; ++i) {
      const double before = value(x_[i], lane), after = value(sum_[i], lane);
      const double error =
          estimate_share *
          ((after - before) - half_step * (value(dxdt_[i], lane) + value(k_[i], lane)));
      const double magnitude = std::max(std::fabs(before), std::fabs(after));
      const double ratio = std::fabs(error) / (control_.absolute_tolerance[i] +
                                               control_.relative_tolerance * magnitude);
      if (ratio > largest) largest = ratio, worst = static_cast<int>(i);
    }
    return worst;
  }

  // A truth value per lane, set one by one.
  struct Marks {
    Condition condition{false};
    void set(int lane, bool value) { physics::set_lane(condition, lane, value); }
    const Condition& all() const { return condition; }
  };

  StepControl<N> control_;
  double longest_step_;
  std::array<std::size_t, N> never_negative_{};
  std::size_t never_negative_count_ = 0;
  State x_{}, dxdt_{};       // at the beginning of the step in hand
  State sum_{}, y_{}, k_{};  // where the step has got to, where rates are taken, what they are
  State between_{}, searched_{};
  R t_{0.0}, at_{0.0}, t_new_{0.0}, step_{0.0}, to_y_{0.0}, to_sum_{0.0};
  Marks within_, held_;
  Plain remembered_{1.0};
  std::array<Lane, static_cast<std::size_t>(W)> lanes_{};
};

}  // namespace serosa::simulate
