// SPDX-License-Identifier: Apache-2.0
#include "study/sensitivity_local.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>

#include "physics/real/dual.hpp"
#include "simulate/journey.hpp"

namespace serosa::study {

namespace {

using simulate::Integrator;
using simulate::Job;
using simulate::Journeys;
using simulate::Result;
using simulate::StepSequence;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr int width = 16;  // directions at once
using Dual = physics::Dual<width>;
using Steps = Integrator<double, baby::state::count>;
using DualSteps = Integrator<Dual, baby::state::count>;

Dual lifted(double x) { return Dual(x); }

baby::Parameters<Dual> lifted(const baby::Parameters<double>& p) {
  baby::Parameters<Dual> r;
#define SEROSA_LIFT(name, unit) r.name = lifted(p.name);
  SEROSA_PARAMETERS(SEROSA_LIFT)
#undef SEROSA_LIFT
  return r;
}

/// The baby's numbers, in the order in which `numbers(Case&)` begins.
template <class Real>
std::vector<Real*> baby_numbers(baby::Inputs<Real>& b) {
  return {&b.weight,           &b.gestation,         &b.length,
          &b.protein,          &b.haematocrit,       &b.sodium,
          &b.cord_clamped_at,  &b.blood_volume,      &b.temperature,
          &b.skin_temperature, &b.bowel_temperature, &b.herniated,
          &b.spread,           &b.loop_diameter,     &b.bowel_length,
          &b.thickening,       &b.matting,           &b.area};
}

baby::Inputs<Dual> lifted(const baby::Inputs<double>& given) {
  baby::Inputs<double> plain = given;
  baby::Inputs<Dual> r;
  r.delivery = plain.delivery;
  r.gastroschisis = plain.gastroschisis;
  const auto from = baby_numbers(plain);
  const auto to = baby_numbers(r);
  for (std::size_t i = 0; i < from.size(); ++i) *to[i] = Dual(*from[i]);
  return r;
}

/// An input whose derivative dual numbers carry.
struct Direction {
  std::size_t input;
  std::optional<std::size_t> parameter;
  std::vector<std::pair<std::size_t, double>>
      baby;                    ///< which of the baby's numbers, and the factor
  std::vector<Place> acts;     ///< whose hour moves
  std::vector<Place> carried;  ///< other numbers, which the carer reads
};

Dual& parameter(baby::Parameters<Dual>& p, std::size_t index) {
  static constexpr Dual baby::Parameters<Dual>::*members[] = {
#define SEROSA_MEMBER(name, unit) &baby::Parameters<Dual>::name,
      SEROSA_PARAMETERS(SEROSA_MEMBER)
#undef SEROSA_MEMBER
  };
  return p.*members[index];
}

/// One run that carries derivatives along up to `width` directions.
class DualJourney : public Journeys<Dual> {
 public:
  DualJourney(std::span<const Job> job, std::span<Result> result, std::span<const Direction> along)
      : Journeys<Dual>(job, result), along_(along) {}

  bool begin(int lane, Lane x) {
    auto* const w = take_job(lane);
    if (w == nullptr) return false;
    const care::Case& c = *w->job->c;
    auto p = lifted(*w->job->parameters);
    auto newborn = lifted(c.baby);
    const auto own = baby_numbers(newborn);
    std::vector<Dual> times;
    for (const auto& act : c.timeline) times.emplace_back(act.at);
    care::Carried<Dual> carried;
    for (std::size_t d = 0; d < along_.size(); ++d) {
      const auto& direction = along_[d];
      if (direction.parameter) parameter(p, *direction.parameter).slope[d] = 1.0;
      for (const auto& [number, factor] : direction.baby) own[number]->slope[d] = factor;
      for (const Place& place : direction.acts) {
        times[place.act].slope[d] = place.factor;
        if (std::holds_alternative<care::ClampCord>(c.timeline[place.act].deed))
          newborn.cord_clamped_at.slope[d] = place.factor;
      }
      for (const Place& place : direction.carried) carry(c, place, d, carried);
    }
    set_out(lane, x, p, newborn, times, carried);
    return true;
  }

  void at_output(int lane, double t, const std::array<Dual, N>& x) {
    auto& w = of(lane);
    auto& row = outputs.emplace_back(simulate::output::count);
    simulate::observe(Dual(t), x, w.start, w.subject, w.carer.given(Dual(t)),
                      w.carer.glucose_rate(), row.data());
    ++w.next_time;
  }

  std::vector<std::vector<Dual>> outputs;  ///< times × outputs

 private:
  std::span<const Direction> along_;
};

std::vector<std::vector<Dual>> run_dual(const Job& job, std::span<const Direction> along,
                                        const StepSequence& steps,
                                        const simulate::Settings& settings, Result& result) {
  const auto journey =
      std::make_unique<DualJourney>(std::span(&job, 1), std::span(&result, 1), along);
  const auto integrator = std::make_unique<DualSteps>(simulate::step_control(settings));
  integrator->replay(0, &steps);
  integrator->run(*journey, *journey);
  return std::move(journey->outputs);
}

/// A plain run; its steps are noted.
Result run_plain(const Job& job, const simulate::Settings& settings, StepSequence& record) {
  Result result;
  const auto journey =
      std::make_unique<Journeys<double>>(std::span(&job, 1), std::span(&result, 1));
  const auto integrator = std::make_unique<Steps>(simulate::step_control(settings));
  integrator->record(0, &record);
  integrator->run(*journey, *journey);
  return result;
}

/// The case of the arm in the middle, with each act's place in its sorted timeline.
struct Middle {
  care::Case c;
  baby::Parameters<double> parameters;
  std::vector<std::size_t> sorted;  ///< by place in the scene's timeline

  /// Places of the scene as places of this case.
  std::vector<Place> here(std::vector<Place> places) const {
    for (Place& place : places)
      if (place.act != Place::of_case) place.act = sorted.at(place.act);
    return places;
  }
};

Middle middle_of(const Study& study, std::size_t arm, const std::vector<double>& values) {
  Middle m;
  const auto fit = make_run(study, arm, values, m.c, m.parameters);
  if (fit != simulate::RunStatus::finished)
    throw std::invalid_argument("the inputs at their middle values make no possible case: " +
                                std::string(message(fit)));
  // Names of acts are unique within a case.
  for (const auto& act : study.arms[arm].scenes[scene_number(study, values)].c.timeline)
    for (std::size_t i = 0; i < m.c.timeline.size(); ++i)
      if (m.c.timeline[i].name == act.name) m.sorted.push_back(i);
  return m;
}

/// Two stops at one hour are one, which can carry the slope of one of them only: an input that
/// moves an act, or its end, away from others of its hour is taken 4 ms later.
void part_stops(const Study& study, std::size_t arm, std::vector<double>& values) {
  constexpr double later = 1e-6;
  const auto torn = [&](std::size_t j) {
    const Middle m = middle_of(study, arm, values);
    const auto& places = study.arms[arm].scenes[scene_number(study, values)].places[j];
    return torn_apart(stops(m.c, m.here(places)));
  };
  for (std::size_t j = 0; j < values.size(); ++j)
    while (torn(j)) values[j] += later;
}

/// What figures and outputs are looked at, in one list of hours.
struct Hours {
  std::vector<double> all;
  std::vector<std::size_t> times, series;  ///< places
  explicit Hours(const Study& study) : all(study.all_times()) {
    const auto place = [&](double t) {
      return static_cast<std::size_t>(std::lower_bound(all.begin(), all.end(), t) - all.begin());
    };
    for (const double t : study.times) times.push_back(place(t));
    for (const double t : study.series_times) series.push_back(place(t));
  }
};

template <class Real, class At>
Real figure_at(const RunFigure& f, const Study& study, const Hours& hours, At at, bool& reached) {
  std::vector<Real> values, blood;
  for (const auto t : hours.series) {
    values.push_back(at(t, f.output));
    blood.push_back(at(t, simulate::output::blood_volume));
  }
  return figure_of_run<Real>(f, study.series_times, values, blood, reached);
}

}  // namespace

double elasticity(double slope, double input, const std::string& input_unit, double output,
                  const std::string& output_unit) {
  if (input_unit == "degC" || output_unit == "degC" || output == 0) return nan;
  return slope * input / output;
}

LocalSlopes local_slopes(const Study& study, std::size_t arm,
                         const std::vector<RunFigure>& figures) {
  LocalSlopes result;
  const std::size_t inputs = study.inputs.size(), times = study.times.size(),
                    outputs = study.outputs.size();
  for (const auto& input : study.inputs) result.middle.push_back(input.law.quantile(0.5));
  part_stops(study, arm, result.middle);
  const Middle m = middle_of(study, arm, result.middle);
  const Scene& scene = study.arms[arm].scenes[scene_number(study, result.middle)];
  const Hours hours(study);
  const Job job{&m.c, &m.parameters, hours.all};
  StepSequence steps;
  const Result plain = run_plain(job, study.settings, steps);
  result.report = plain.report;
  result.by.assign(inputs, SlopeBy::none);
  result.values.assign(outputs * times, nan);
  result.slopes.assign(inputs, std::vector<double>(outputs * times, nan));
  result.figure_values.assign(figures.size(), nan);
  result.figure_slopes.assign(inputs, std::vector<double>(figures.size(), nan));
  if (plain.report.status != simulate::RunStatus::finished) return result;
  for (std::size_t o = 0; o < outputs; ++o)
    for (std::size_t t = 0; t < times; ++t)
      result.values[o * times + t] = plain.at(hours.times[t], study.outputs[o]);
  std::vector<bool> reached(figures.size());
  for (std::size_t f = 0; f < figures.size(); ++f) {
    bool there = false;
    result.figure_values[f] = figure_at<double>(
        figures[f], study, hours, [&](std::size_t t, auto o) { return plain.at(t, o); }, there);
    reached[f] = there;
  }
  // Which way each input goes.
  std::vector<Direction> along;
  std::vector<std::vector<double>> moved(inputs);  ///< hours of the stops that move
  baby::Inputs<double> counted{};
  const std::size_t own = baby_numbers(counted).size();
  for (std::size_t j = 0; j < inputs; ++j) {
    const Input& input = study.inputs[j];
    if (!input.is_number() || (!input.parameter && scene.places[j].empty())) continue;
    Direction d{j, input.parameter, {}, {}, {}};
    const auto places = m.here(scene.places[j]);
    for (const Place& place : places)
      if (place.act == Place::of_case && place.number < own)
        d.baby.emplace_back(place.number, place.factor);
      else if (place.act != Place::of_case && place.number == 0)
        d.acts.push_back(place);
      else
        d.carried.push_back(place);
    for (const Stop& stop : stops(m.c, places))
      if (stop.moves != 0) moved[j].push_back(stop.hour);
    along.push_back(std::move(d));
  }
  const auto meets = [&](std::size_t j, double hour) {
    return std::any_of(moved[j].begin(), moved[j].end(),
                       [&](double stop) { return std::fabs(stop - hour) < same_hour; });
  };
  for (std::size_t first = 0; first < along.size(); first += width) {
    const auto part = std::span<const Direction>(along).subspan(
        first, std::min<std::size_t>(width, along.size() - first));
    Result ignored;
    const auto dual = run_dual(job, part, steps, study.settings, ignored);
    if (ignored.report.status != simulate::RunStatus::finished) {
      result.report = ignored.report;
      return result;
    }
    const auto at = [&](std::size_t t, simulate::output::Index o) { return dual[t][o]; };
    std::vector<Dual> of_figures;
    for (const auto& f : figures) {
      bool there = false;
      of_figures.push_back(figure_at<Dual>(f, study, hours, at, there));
    }
    for (std::size_t d = 0; d < part.size(); ++d) {
      const std::size_t j = part[d].input;
      result.by[j] = SlopeBy::dual_numbers;
      for (std::size_t t = 0; t < times; ++t)
        for (std::size_t o = 0; o < outputs; ++o)
          if (!meets(j, study.times[t]))
            result.slopes[j][o * times + t] = at(hours.times[t], study.outputs[o]).slope[d];
      for (std::size_t f = 0; f < figures.size(); ++f)
        if (reached[f]) result.figure_slopes[j][f] = of_figures[f].slope[d];
    }
  }
  return result;
}

}  // namespace serosa::study
