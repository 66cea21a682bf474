// SPDX-License-Identifier: Apache-2.0
// What the integrator asks of the runs it serves: starts them, carries out the acts, observes.
#pragma once
#include <cmath>
#include <limits>
#include <memory>

#include "baby/model_range.hpp"
#include "simulate/integrator.hpp"
#include "simulate/run.hpp"

namespace serosa::simulate {

/// Tolerances and guards of the model's states.
inline StepControl<baby::state::count> step_control(const Settings& settings) {
  StepControl<baby::state::count> control;
  for (std::size_t i = 0; i < baby::state::count; ++i) {
    control.absolute_tolerance[i] =
        baby::state_list[i].absolute_tolerance * settings.absolute_tolerance_factor;
    // Heat contents count from 0 degC and may be negative.
    control.never_negative[i] =
        i < baby::state::stores && baby::state_list[i].unit != std::string_view("J");
  }
  control.relative_tolerance = settings.relative_tolerance;
  control.controlled = baby::state::stores;
  control.step_budget = settings.step_budget;
  // Modes are slower than two minutes, but for a case that holds temperatures (a law tests it);
  // what is faster is left to the error of the step.
  control.fastest_rate = 30.0;
  return control;
}

/// A store that has dried up to this share of its wetness scale is done. What it still held is an
/// error of the run that no tolerance bounds, so it is kept far below the finest one; a larger
/// share would save no steps.
inline constexpr double dried_up = 1e-7;

/// One run under way. S is a scalar: double or Dual.
template <class S>
struct Traveller {
  const Job* job = nullptr;
  Result* result = nullptr;
  std::size_t next_time = 0;
  care::Carer<S> carer;
  baby::Subject<S> subject;
  baby::Settled<S> settled;  ///< of the subject
  baby::State<S> start;
  bool left_the_model = false;
  std::int32_t left_by = -1;  ///< state whose range was left
  S now{0.0};                 ///< h, where that happened
};

/// Serves a queue of jobs to the lanes of R. The controls of each lane are those of its traveller.
template <class R>
class Journeys {
 public:
  using S = physics::Scalar<R>;
  static constexpr std::size_t N = baby::state::count;
  using Lane = LaneState<R, N>;

  Journeys(std::span<const Job> jobs, std::span<Result> results) : jobs_(jobs), results_(results) {}

  /// d(state)/dt of all lanes.
  void operator()(const std::array<R, N>& x, std::array<R, N>& dxdt, const R& t) const {
    baby::rates(t, x, block_, settled_, dxdt);
  }

  bool begin(int lane, Lane x) {
    Traveller<S>* const w = take_job(lane);
    if (w == nullptr) return false;
    w->result->report = {};
    w->result->values.assign(w->job->times.size() * output::count,
                             std::numeric_limits<double>::quiet_NaN());
    w->result->hottest_mattress = -std::numeric_limits<double>::infinity();
    set_out(lane, x, *w->job->parameters, w->job->c->baby);
    w->result->body = w->subject.body;
    return true;
  }

  S start(int lane) const { return of(lane).carer.first_hour(); }
  S end(int lane) const {
    if (of(lane).left_the_model) return of(lane).now;
    const auto& times = of(lane).job->times;
    return times.empty() ? S(of(lane).job->c->until) : physics::max(S(times.back()), start(lane));
  }
  S next_stop(int lane) const { return of(lane).carer.next(); }

  bool at_stop(int lane, Lane x, const S& t) {
    auto& w = of(lane);
    auto state = x.load();
    if (t <= 0.0) note_mattress(w, state);
    if (!w.carer.act(t, state, w.subject)) return false;
    x.store(state);
    settle(lane);
    return true;
  }

  /// Ends a run whose baby left the model's range. Closes a store that has dried up: what is left
  /// of it counts as evaporated, so that its last trace does not keep the steps short.
  bool after_step(int lane, Lane x, const S& t) {
    if (leaves_the_model(lane, x, t)) return true;
    using namespace baby::state;
    auto& w = of(lane);
    const auto& p = w.subject.parameters;
    const auto& b = w.subject.body;
    auto& c = w.subject.controls;
    bool changed = false;
    const auto close = [&](S& wet, Index store, Index ledger, Index heat, const S& capacity,
                           const S& heat_carried, const S& area, const S& scale) {
      if (!(wet > 0.5 && x[store] < dried_up * scale * area)) return;
      wet = 0.0;
      changed = true;
      const S left = x[store];
      const S temperature = x[heat] / capacity;
      const S taken = left * (physics::latent_heat(temperature) + heat_carried * temperature);
      x.set(store, S(0.0));
      x.set(ledger, x[ledger] + left);
      x.set(heat, x[heat] - c.heat_flows * taken);
      x.set(evaporation_heat, x[evaporation_heat] + c.heat_flows * taken);
    };
    const auto close_skin = [&](S& wet, Index store, const S& share) {
      close(wet, store, amniotic_evaporation, skin_heat, b.skin_capacity, S(0.0), share * b.surface,
            p.wetness_scale);
    };
    close_skin(c.head_wet, head_wetness, p.head_share);
    close_skin(c.upper_wet, upper_wetness, p.upper_share);
    close_skin(c.lower_wet, lower_wetness, p.lower_share);
    if (c.dressing > 0.5)
      close(c.dressing_wet, baby::state::dressing_water, dressing_evaporation, bowel_heat,
            b.bowel_capacity, p.specific_heat_water, b.packed_area, p.dressing_wetness_scale);
    if (changed) settle(lane);
    return changed;
  }

  double next_output(int lane) const {
    const auto& w = of(lane);
    return w.next_time < w.job->times.size() ? w.job->times[w.next_time]
                                             : std::numeric_limits<double>::infinity();
  }
  void at_output(int lane, double t, const std::array<S, N>& x) {
    auto& w = of(lane);
    observe(S(t), x, w.start, w.subject, w.settled, w.carer.given(S(t)), w.carer.glucose_rate(),
            w.result->values.data() + w.next_time * output::count);
    ++w.next_time;
  }
  void at_end(int lane, const RunReport& report) {
    auto& w = of(lane);
    w.result->report = report;
    w.result->done = w.carer.done();
    if (w.left_the_model) {
      w.result->report.status = RunStatus::left_the_model;
      w.result->report.state = w.left_by;
    }
  }

  const Traveller<S>& of(int lane) const { return travellers_[static_cast<std::size_t>(lane)]; }
  Traveller<S>& of(int lane) { return travellers_[static_cast<std::size_t>(lane)]; }

 protected:
  /// The next job, put into the lane; null when none is left.
  Traveller<S>* take_job(int lane) {
    if (next_job_ == jobs_.size()) return nullptr;
    auto& w = of(lane);
    w.job = &jobs_[next_job_];
    w.result = &results_[next_job_];
    ++next_job_;
    w.next_time = 0;
    w.left_the_model = false;
    w.left_by = -1;
    return &w;
  }

  /// Prepares baby, room and carer of the lane's job and does what is due at the very start. What
  /// is given here may carry derivatives: parameters, the baby, the times of the acts, and other
  /// numbers of the case.
  void set_out(int lane, Lane x, const baby::Parameters<S>& parameters,
               const baby::Inputs<S>& newborn, const std::vector<S>& act_times = {},
               const care::Carried<S>& carried = {}) {
    auto& w = of(lane);
    const care::Case& c = *w.job->c;
    w.subject.parameters = parameters;
    w.subject.body = baby::prepare(newborn, w.subject.parameters);
    care::Carer<S>::at_rest(c, w.subject.parameters, w.subject.controls, carried);
    w.carer.start(c, act_times, carried);
    w.start = baby::birth_state(w.subject, c.wet);
    x.store(w.start);
    baby::set_lane(block_, lane, w.subject);
    settle(lane);
  }

 private:
  /// After a change of the lane's controls.
  void settle(int lane) {
    auto& w = of(lane);
    w.settled = baby::settled(w.subject);
    baby::set_lane(settled_, lane, w.settled);
    baby::set_lane(block_.controls, lane, w.subject.controls);
  }

  bool leaves_the_model(int lane, const Lane& x, const S& t) {
    auto& w = of(lane);
    if (w.subject.controls.born < 0.5) return false;
    const auto left = baby::leaving_by(x.load(), w.subject);
    if (left == baby::state::count) return false;
    w.left_by = static_cast<std::int32_t>(left);
    w.left_the_model = true;
    w.now = t;
    return true;
  }

  static void note_mattress(Traveller<S>& w, const std::array<S, N>& state) {
    const double t = physics::value_of(baby::temperatures(state, w.subject).mattress, 0);
    w.result->hottest_mattress = std::max(w.result->hottest_mattress, t);
  }

  std::span<const Job> jobs_;
  std::span<Result> results_;
  std::size_t next_job_ = 0;
  std::array<Traveller<S>, static_cast<std::size_t>(physics::lanes<R>)> travellers_;
  baby::Subject<R> block_{};
  baby::Settled<R> settled_{};
};

/// Runs all jobs with the number type R. The working memory is large, so it lives on the heap.
template <class R>
void run_with(std::span<const Job> jobs, std::span<Result> results, const Settings& settings) {
  auto journeys = std::make_unique<Journeys<R>>(jobs, results);
  auto integrator = std::make_unique<Integrator<R, baby::state::count>>(step_control(settings));
  integrator->run(*journeys, *journeys);
}

}  // namespace serosa::simulate
