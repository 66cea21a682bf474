// SPDX-License-Identifier: Apache-2.0
// Runs with derivatives: by parameters and by the times of acts, on a recorded sequence of steps.
#pragma once
#include <memory>
#include <vector>

#include "lifted.hpp"
#include "simulate/journey.hpp"

namespace serosa::laws {

/// What is varied: a parameter, or the time of the acts that share an hour.
struct Direction {
  std::size_t parameter = baby::parameter::count;  ///< `count`: no parameter but acts
  std::vector<std::size_t> acts;
  std::string name;
  double step = 0;  ///< of the central difference
};

template <class Real>
Real& parameter_of(baby::Parameters<Real>& p, std::size_t index) {
  Real* const members[] = {
#define SEROSA_ADDRESS(name, unit) &p.name,
      SEROSA_PARAMETERS(SEROSA_ADDRESS)
#undef SEROSA_ADDRESS
  };
  return *members[index];
}

/// One run that carries derivatives along up to N directions.
template <int N>
class DualJourney : public simulate::Journeys<physics::Dual<N>> {
 public:
  using Dual = physics::Dual<N>;
  using Base = simulate::Journeys<Dual>;
  using typename Base::Lane;

  DualJourney(std::span<const simulate::Job> job, std::span<simulate::Result> result,
              std::span<const Direction> along)
      : Base(job, result), along_(along) {}

  bool begin(int lane, Lane x) {
    auto* const w = this->take_job(lane);
    if (w == nullptr) return false;
    const care::Case& c = *w->job->c;
    auto p = lifted<Dual>(*w->job->parameters);
    auto newborn = lifted<Dual>(c.baby);
    std::vector<Dual> times;
    for (const auto& act : c.timeline) times.emplace_back(act.at);
    for (std::size_t d = 0; d < along_.size(); ++d) {
      if (along_[d].parameter < baby::parameter::count)
        parameter_of(p, along_[d].parameter).slope[d] = 1.0;
      for (const auto a : along_[d].acts) {
        times[a].slope[d] = 1.0;
        if (std::holds_alternative<care::ClampCord>(c.timeline[a].deed))
          newborn.cord_clamped_at.slope[d] = 1.0;
      }
    }
    this->set_out(lane, x, p, newborn, times);
    return true;
  }

  void at_output(int lane, double t, const std::array<Dual, Base::N>& x) {
    auto& w = this->of(lane);
    auto& row = outputs.emplace_back(simulate::output::count);
    simulate::observe(Dual(t), x, w.start, w.subject, w.carer.given(Dual(t)),
                      w.carer.glucose_rate(), row.data());
    ++w.next_time;
  }

  std::vector<std::vector<Dual>> outputs;  ///< times × outputs

 private:
  std::span<const Direction> along_;
};

/// Outputs with their derivatives, on the steps of `steps`.
template <int N>
std::vector<std::vector<physics::Dual<N>>> run_dual(const simulate::Job& job,
                                                    std::span<const Direction> along,
                                                    const simulate::StepSequence& steps,
                                                    const simulate::Settings& settings,
                                                    simulate::Result& result) {
  using Dual = physics::Dual<N>;
  auto journey = std::make_unique<DualJourney<N>>(std::span(&job, 1), std::span(&result, 1), along);
  auto integrator = std::make_unique<simulate::Integrator<Dual, baby::state::count>>(
      simulate::step_control(settings));
  integrator->replay(0, &steps);
  integrator->run(*journey, *journey);
  return std::move(journey->outputs);
}

}  // namespace serosa::laws
