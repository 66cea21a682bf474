// SPDX-License-Identifier: Apache-2.0
#include "study/fit_model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <stdexcept>

#include "physics/real/real.hpp"
#include "simulate/journey.hpp"

namespace serosa::study {

using simulate::RunStatus;

double FittedRange::share_of(double value) const {
  const double share = logarithmic ? physics::log(value / low) / physics::log(high / low)
                                   : (value - low) / (high - low);
  return std::clamp(share, 0.0, 1.0);
}

double FittedRange::value_at(double share) const {
  // The ends exactly, so that a fit on a bound is seen to be on it.
  if (share <= 0) return low;
  if (share >= 1) return high;
  return std::clamp(logarithmic ? low * physics::exp(share * physics::log(high / low))
                                : low + share * (high - low),
                    low, high);
}

double FittedRange::slope_at(double share) const {
  return logarithmic ? value_at(share) * physics::log(high / low) : high - low;
}

namespace {

using Dual = physics::Dual<FitModel::width>;

template <class Real>
baby::Parameters<Real> lifted(const baby::Parameters<double>& p) {
  baby::Parameters<Real> r;
#define SEROSA_LIFT(name, unit) r.name = Real(p.name);
  SEROSA_PARAMETERS(SEROSA_LIFT)
#undef SEROSA_LIFT
  return r;
}

Dual& parameter(baby::Parameters<Dual>& p, std::size_t index) {
  static constexpr Dual baby::Parameters<Dual>::*members[] = {
#define SEROSA_MEMBER(name, unit) &baby::Parameters<Dual>::name,
      SEROSA_PARAMETERS(SEROSA_MEMBER)
#undef SEROSA_MEMBER
  };
  return p.*members[index];
}

/// The baby's numbers, each as a plain and as a dual one.
struct BabyNumber {
  double baby::Inputs<double>::*plain;
  Dual baby::Inputs<Dual>::*dual;
};
#define SEROSA_BABY_NUMBER(name) \
  BabyNumber { &baby::Inputs<double>::name, &baby::Inputs<Dual>::name }
constexpr std::array baby_numbers{SEROSA_BABY_NUMBER(weight),
                                  SEROSA_BABY_NUMBER(gestation),
                                  SEROSA_BABY_NUMBER(length),
                                  SEROSA_BABY_NUMBER(protein),
                                  SEROSA_BABY_NUMBER(haematocrit),
                                  SEROSA_BABY_NUMBER(sodium),
                                  SEROSA_BABY_NUMBER(cord_clamped_at),
                                  SEROSA_BABY_NUMBER(blood_volume),
                                  SEROSA_BABY_NUMBER(temperature),
                                  SEROSA_BABY_NUMBER(skin_temperature),
                                  SEROSA_BABY_NUMBER(bowel_temperature),
                                  SEROSA_BABY_NUMBER(herniated),
                                  SEROSA_BABY_NUMBER(spread),
                                  SEROSA_BABY_NUMBER(loop_diameter),
                                  SEROSA_BABY_NUMBER(bowel_length),
                                  SEROSA_BABY_NUMBER(thickening),
                                  SEROSA_BABY_NUMBER(matting),
                                  SEROSA_BABY_NUMBER(area)};
#undef SEROSA_BABY_NUMBER

baby::Inputs<Dual> lifted(const baby::Inputs<double>& in) {
  baby::Inputs<Dual> r;
  r.delivery = in.delivery;
  r.gastroschisis = in.gastroschisis;
  for (const auto& number : baby_numbers) r.*number.dual = Dual(in.*number.plain);
  return r;
}

/// What an input moves in one arm, of what can carry derivatives.
struct Movers {
  std::size_t parameter = baby::parameter::count;
  std::vector<std::pair<std::size_t, double>> baby;  ///< place in baby_numbers, factor
  std::vector<std::size_t> acts;                     ///< whose hour moves, in the order of the file
  std::vector<Place> carried;  ///< other numbers, which the carer reads; acts as above
  bool anything = false;
};

Movers movers_of(const Input& input, const Scene& scene, std::size_t j) {
  Movers m;
  if (input.parameter) m.parameter = *input.parameter, m.anything = true;
  care::Case c = scene.c;
  const auto of_case = numbers(c);
  for (const Place& place : scene.places[j]) {
    m.anything = true;
    if (place.act != Place::of_case) {
      if (place.number == 0)
        m.acts.push_back(place.act);
      else
        m.carried.push_back(place);
      continue;
    }
    const auto same = [&](const BabyNumber& n) {
      return &(c.baby.*n.plain) == of_case.at(place.number);
    };
    const auto found = std::find_if(baby_numbers.begin(), baby_numbers.end(), same);
    if (found == baby_numbers.end())
      m.carried.push_back(place);
    else
      m.baby.emplace_back(static_cast<std::size_t>(found - baby_numbers.begin()), place.factor);
  }
  return m;
}

/// The order in which acts of these times are done: as put_in_order makes it.
std::vector<std::size_t> order_of_acts(const Scene& scene, std::span<const double> values) {
  care::Case c = scene.c;
  for (std::size_t j = 0; j < values.size(); ++j)
    for (const Place& place : scene.places[j]) set_number(c, place, values[j]);
  std::vector<std::size_t> order(c.timeline.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return c.timeline[a].at < c.timeline[b].at;
  });
  return order;
}

/// One run that carries derivatives along up to FitModel::width inputs.
class DualJourney : public simulate::Journeys<Dual> {
 public:
  using Base = simulate::Journeys<Dual>;
  using typename Base::Lane;

  DualJourney(const simulate::Job& job, simulate::Result& result,
              const baby::Parameters<Dual>& parameters, const baby::Inputs<Dual>& newborn,
              const std::vector<Dual>& act_times, const care::Carried<Dual>& carried)
      : Base({&job, 1}, {&result, 1}),
        parameters_(parameters),
        newborn_(newborn),
        act_times_(act_times),
        carried_(carried) {}

  bool begin(int lane, Lane x) {
    if (this->take_job(lane) == nullptr) return false;
    this->set_out(lane, x, parameters_, newborn_, act_times_, carried_);
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
  const baby::Parameters<Dual>& parameters_;
  const baby::Inputs<Dual>& newborn_;
  const std::vector<Dual>& act_times_;
  const care::Carried<Dual>& carried_;
};

using simulate::StepSequence;
constexpr std::size_t states = baby::state::count;

/// Runs one job in plain numbers, recording or repeating steps where asked to.
void run_plain(const simulate::Job& job, simulate::Result& result,
               const simulate::Settings& settings, StepSequence* record,
               const StepSequence* replay) {
  auto journeys =
      std::make_unique<simulate::Journeys<double>>(std::span(&job, 1), std::span(&result, 1));
  auto integrator =
      std::make_unique<simulate::Integrator<double, states>>(simulate::step_control(settings));
  integrator->record(0, record);
  integrator->replay(0, replay);
  integrator->run(*journeys, *journeys);
}

}  // namespace

struct FitModel::Work {
  const FitProblem& problem;
  struct ArmWork {
    std::vector<double> times;   ///< h, rising
    std::vector<Movers> movers;  ///< one per input
    care::Case c;
    baby::Parameters<double> parameters{};
    StepSequence steps;
  };
  std::vector<ArmWork> arms;
  std::vector<std::size_t> at, since;  ///< of each measurement: places in its arm's times
  bool frozen = false;
  long runs = 0;

  explicit Work(const FitProblem& p) : problem(p) {
    arms.resize(p.study.arms.size());
    for (auto& arm : arms) arm.times = {};
    for (const auto& m : p.measurements) {
      auto& times = arms.at(m.arm).times;
      times.push_back(m.time);
      if (p.observables.at(m.observable).since_last) times.push_back(m.since);
    }
    for (std::size_t a = 0; a < arms.size(); ++a) {
      auto& times = arms[a].times;
      std::sort(times.begin(), times.end());
      times.erase(std::unique(times.begin(), times.end()), times.end());
      const Scene& scene = p.study.arms[a].scenes.at(0);
      for (std::size_t j = 0; j < p.study.inputs.size(); ++j)
        arms[a].movers.push_back(movers_of(p.study.inputs[j], scene, j));
    }
    for (const auto& m : p.measurements) {
      const auto& times = arms[m.arm].times;
      const auto place = [&](double t) {
        return static_cast<std::size_t>(std::lower_bound(times.begin(), times.end(), t) -
                                        times.begin());
      };
      at.push_back(place(m.time));
      since.push_back(place(m.since));
    }
  }

  RunStatus set(std::size_t a, std::span<const double> values) {
    const std::vector<double> v(values.begin(), values.end());
    return make_run(problem.study, a, v, arms[a].c, arms[a].parameters);
  }

  /// One figure from a run's outputs; `get(time, output)` reads them.
  template <class Get>
  auto figure(std::size_t i, double weight, const Get& get) const {
    const auto& o = problem.observables[problem.measurements[i].observable];
    auto x = get(at[i], o.output);
    if (o.since_last) x = x - get(since[i], o.output);
    if (o.weight) x = x + weight;
    return x;
  }

  void take(std::size_t a, const simulate::Result& result, std::vector<double>& figures) const {
    for (std::size_t i = 0; i < at.size(); ++i)
      if (problem.measurements[i].arm == a)
        figures[i] =
            figure(i, arms[a].c.baby.weight,
                   [&](std::size_t t, simulate::output::Index o) { return result.at(t, o); });
  }

  static Outcome failed(std::size_t a, const simulate::Result& result) {
    return {result.report.status, a, result.report.time};
  }

  Outcome plain(std::span<const double> values, std::vector<double>& figures, bool on_steps) {
    figures.assign(at.size(), std::nan(""));
    for (std::size_t a = 0; a < arms.size(); ++a) {
      auto& arm = arms[a];
      if (arm.times.empty()) continue;
      if (const auto status = set(a, values); status != RunStatus::finished) return {status, a, 0};
      const simulate::Job job{&arm.c, &arm.parameters, arm.times};
      simulate::Result result;
      run_plain(job, result, problem.settings, nullptr, on_steps ? &arm.steps : nullptr);
      ++runs;
      if (result.report.status != RunStatus::finished) return failed(a, result);
      take(a, result, figures);
    }
    return {};
  }

  Outcome with_slopes(std::span<const double> values, std::vector<double>& figures,
                      std::vector<double>& slopes) {
    const std::size_t inputs = values.size();
    figures.assign(at.size(), std::nan(""));
    slopes.assign(at.size() * inputs, 0.0);
    for (std::size_t a = 0; a < arms.size(); ++a) {
      auto& arm = arms[a];
      if (arm.times.empty()) continue;
      if (const auto status = set(a, values); status != RunStatus::finished) return {status, a, 0};
      std::vector<std::size_t> dual;
      for (std::size_t j = 0; j < inputs; ++j)
        if (arm.movers[j].anything) dual.push_back(j);
      arm.steps.shares.clear();
      if (dual.empty()) {
        const simulate::Job job{&arm.c, &arm.parameters, arm.times};
        simulate::Result result;
        run_plain(job, result, problem.settings, &arm.steps, nullptr);
        ++runs;
        if (result.report.status != RunStatus::finished) return failed(a, result);
        take(a, result, figures);
      }
      for (std::size_t first = 0; first < dual.size(); first += width) {
        const auto along =
            std::span(dual).subspan(first, std::min<std::size_t>(width, dual.size() - first));
        if (const auto outcome = pass(a, values, along, figures, slopes); !outcome.finished())
          return outcome;
      }
    }
    return {};
  }

  /// One run with derivatives along some inputs; the first of an arm records its steps.
  Outcome pass(std::size_t a, std::span<const double> values, std::span<const std::size_t> along,
               std::vector<double>& figures, std::vector<double>& slopes) {
    auto& arm = arms[a];
    auto p = lifted<Dual>(arm.parameters);
    auto newborn = lifted(arm.c.baby);
    std::vector<Dual> times;
    for (const auto& act : arm.c.timeline) times.emplace_back(act.at);
    care::Carried<Dual> carried;
    const auto order = order_of_acts(problem.study.arms[a].scenes[0], values);
    const auto in_order = [&](Place place) {
      if (place.act != Place::of_case)
        place.act = static_cast<std::size_t>(std::find(order.begin(), order.end(), place.act) -
                                             order.begin());
      return place;
    };
    for (std::size_t d = 0; d < along.size(); ++d) {
      const Movers& m = arm.movers[along[d]];
      if (m.parameter < baby::parameter::count) parameter(p, m.parameter).slope[d] = 1.0;
      for (const auto& [number, factor] : m.baby)
        (newborn.*baby_numbers[number].dual).slope[d] = factor;
      for (std::size_t k = 0; k < order.size(); ++k)
        if (std::find(m.acts.begin(), m.acts.end(), order[k]) != m.acts.end()) {
          times[k].slope[d] = 1.0;
          if (std::holds_alternative<care::ClampCord>(arm.c.timeline[k].deed))
            newborn.cord_clamped_at.slope[d] = 1.0;
        }
      for (const Place& place : m.carried) carry(arm.c, in_order(place), d, carried);
    }
    const simulate::Job job{&arm.c, &arm.parameters, arm.times};
    simulate::Result result;
    auto journey = std::make_unique<DualJourney>(job, result, p, newborn, times, carried);
    auto integrator = std::make_unique<simulate::Integrator<Dual, states>>(
        simulate::step_control(problem.settings));
    const bool first = arm.steps.shares.empty();
    if (first)
      integrator->record(0, &arm.steps);
    else
      integrator->replay(0, &arm.steps);
    integrator->run(*journey, *journey);
    ++runs;
    if (result.report.status != RunStatus::finished) return failed(a, result);
    for (std::size_t i = 0; i < at.size(); ++i) {
      if (problem.measurements[i].arm != a) continue;
      const auto& o = problem.observables[problem.measurements[i].observable];
      Dual x = journey->outputs[at[i]][o.output];
      if (o.since_last) x = x - journey->outputs[since[i]][o.output];
      if (o.weight) x = x + newborn.weight;
      figures[i] = x.value;
      for (std::size_t d = 0; d < along.size(); ++d)
        slopes[i * values.size() + along[d]] = x.slope[d];
    }
    return {};
  }
};

std::vector<std::vector<std::vector<double>>> courses(const FitProblem& problem,
                                                      std::span<const double> values,
                                                      std::span<const double> times) {
  std::vector<std::vector<std::vector<double>>> all;
  const std::vector<double> v(values.begin(), values.end());
  for (std::size_t a = 0; a < problem.study.arms.size(); ++a) {
    care::Case c;
    baby::Parameters<double> parameters{};
    simulate::Result result;
    if (make_run(problem.study, a, v, c, parameters) == RunStatus::finished) {
      const simulate::Job job{&c, &parameters, times};
      run_plain(job, result, problem.settings, nullptr, nullptr);
    }
    auto& arm = all.emplace_back();
    for (const auto& o : problem.observables) {
      auto& course = arm.emplace_back(times.size(), std::nan(""));
      if (o.since_last || result.values.empty()) continue;
      for (std::size_t t = 0; t < times.size(); ++t)
        course[t] = result.at(t, o.output) + (o.weight ? c.baby.weight : 0.0);
    }
  }
  return all;
}

FitModel::FitModel(const FitProblem& problem) : work_(std::make_unique<Work>(problem)) {}
FitModel::~FitModel() = default;
FitModel::FitModel(FitModel&&) noexcept = default;

FitModel::Outcome FitModel::figures(std::span<const double> values, std::vector<double>& figures) {
  return work_->plain(values, figures, work_->frozen);
}
FitModel::Outcome FitModel::figures(std::span<const double> values, std::vector<double>& figures,
                                    std::vector<double>& slopes) {
  return work_->with_slopes(values, figures, slopes);
}
void FitModel::freeze(bool frozen) { work_->frozen = frozen; }
long FitModel::runs() const { return work_->runs; }

}  // namespace serosa::study
