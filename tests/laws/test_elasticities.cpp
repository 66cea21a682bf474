// SPDX-License-Identifier: Apache-2.0
// Law: local slopes of a study equal central differences on the run's own frozen steps, for every
// parameter, every number of the baby, of the room and of the acts, and every hour of an act.
#include "study/sensitivity_local.hpp"

#include <cmath>

#include "files/models.hpp"
#include "shipped.hpp"
#include "simulate/journey.hpp"

namespace serosa::laws {
namespace {

using namespace simulate;
using study::Place;

/// A study whose inputs are all parameters, the numbers of baby, room and acts that are given, and
/// the hours of the acts, each at its own value.
struct Everything {
  study::Study study;
  std::vector<double> step;
  std::size_t numbers_of_acts = 0;

  explicit Everything(const files::CaseFile& file) {
    study.times = file.c.report_at;
    study.outputs = {output::bowel_evaporation, output::skin_loss,          output::urine,
                     output::blood_volume,      output::wall_water,         output::plasma_sodium,
                     output::core_temperature,  output::circulating_deficit};
    study::Scene scene{file.c, file.parameters, {}};
    auto p = file.parameters;
    for (std::size_t i = 0; i < baby::parameter::count; ++i) {
      const double value = files::parameter(p, i);
      const bool small = value == 0 || baby::parameter_list[i].unit == "degC";
      add(scene, std::string(baby::parameter_list[i].name), value,
          1e-4 * (small ? 2.0 : std::fabs(value)), {});
      study.inputs.back().parameter = i;
    }
    care::Case c = file.c;
    const auto own = study::numbers(c);
    for (std::size_t i = 0; i < own.size(); ++i)
      if (std::isfinite(*own[i]) && *own[i] != 0 && own[i] != &c.baby.cord_clamped_at)
        add(scene, "number " + std::to_string(i) + " of baby and room", *own[i],
            1e-5 * std::fabs(*own[i]), {{Place::of_case, i, 1}});
    for (std::size_t a = 0; a < c.timeline.size(); ++a) {
      if (c.timeline[a].at == 0) continue;
      const Place hour{a, 0, 1};
      const bool tied = study::torn_apart(study::stops(c, {&hour, 1}));
      if (!tied) add(scene, "hour of " + c.timeline[a].name, c.timeline[a].at, 1e-5, {hour});
    }
    for (std::size_t a = 0; a < c.timeline.size(); ++a) {
      const auto of_act = study::numbers(c.timeline[a]);
      for (std::size_t i = 1; i < of_act.size(); ++i) {
        const Place place{a, i, 1};
        if (*of_act[i] == 0 || study::torn_apart(study::stops(c, {&place, 1}))) continue;
        add(scene, "number " + std::to_string(i) + " of " + c.timeline[a].name, *of_act[i],
            1e-5 * std::fabs(*of_act[i]), {place});
        ++numbers_of_acts;
      }
    }
    study.arms.push_back({"arm", "", {scene}});
  }

  void add(study::Scene& scene, const std::string& name, double value, double by,
           std::vector<Place> places) {
    study::Input input;
    input.path = name;
    input.law = study::Law::levels({value});
    study.inputs.push_back(input);
    scene.places.push_back(std::move(places));
    step.push_back(by);
  }
};

Result replayed(const study::Study& s, const std::vector<double>& values, StepSequence& steps,
                bool record) {
  care::Case c;
  baby::Parameters<double> p;
  REQUIRE(study::make_run(s, 0, values, c, p) == RunStatus::finished);
  const Job job{&c, &p, s.times};
  Result result;
  const auto journey =
      std::make_unique<Journeys<double>>(std::span(&job, 1), std::span(&result, 1));
  const auto integrator =
      std::make_unique<Integrator<double, baby::state::count>>(step_control(s.settings));
  if (record)
    integrator->record(0, &steps);
  else
    integrator->replay(0, &steps);
  integrator->run(*journey, *journey);
  return result;
}

/// @param numbers_of_acts  so many must be compared at least
void compare(const std::string& name, std::size_t numbers_of_acts) {
  const auto file = read(name);
  const Everything all(file);
  CHECK(all.numbers_of_acts >= numbers_of_acts);
  const auto& s = all.study;
  const auto local = study::local_slopes(s, 0);
  REQUIRE(local.report.status == RunStatus::finished);
  StepSequence steps;
  const Result plain = replayed(s, local.middle, steps, true);
  Violations violations;
  long compared = 0, sharp = 0, other_course = 0;
  for (std::size_t j = 0; j < s.inputs.size(); ++j) {
    INFO(s.inputs[j].path);
    REQUIRE(local.by[j] == study::SlopeBy::dual_numbers);
    std::vector<Result> side;
    for (const double by : {1.0, -1.0, 0.5, -0.5}) {
      auto values = local.middle;
      values[j] += by * all.step[j];
      side.push_back(replayed(s, values, steps, false));
    }
    bool same_course = true;
    for (const auto& r : side)
      same_course = same_course && r.report.effort.restarts == plain.report.effort.restarts &&
                    r.report.effort.accepted_steps == plain.report.effort.accepted_steps;
    if (!same_course) {
      ++other_course;
      continue;
    }
    for (std::size_t o = 0; o < s.outputs.size(); ++o)
      for (std::size_t t = 0; t < s.times.size(); ++t) {
        const double found = local.slopes[j][o * s.times.size() + t];
        if (std::isnan(found)) continue;  // at the very hour of a moved act
        const auto at = [&](std::size_t k) { return side[k].at(t, s.outputs[o]); };
        const double wide = (at(0) - at(1)) / (2 * all.step[j]),
                     narrow = (at(2) - at(3)) / all.step[j];
        const double expected = (4 * narrow - wide) / 3;
        // As in test_derivatives.cpp: 1e-6, what the two differences disagree by, and rounding.
        const double allowed = 1e-6 * std::fabs(expected) + std::fabs(narrow - wide) +
                               1e-11 * std::fabs(plain.at(t, s.outputs[o])) / all.step[j];
        ++compared;
        if (std::fabs(expected) > 10 * allowed) ++sharp;
        if (!(std::fabs(found - expected) <= allowed))
          violations.add(output_list[s.outputs[o]].name, " at ", s.times[t], " h by ",
                         s.inputs[j].path, ": ", found, " by dual numbers, ", expected,
                         " by differences, allowed ", allowed);
        if (local.values[o * s.times.size() + t] != plain.at(t, s.outputs[o]))
          violations.add(output_list[s.outputs[o]].name, " has another value with derivatives");
      }
  }
  judge(name, "elasticities", violations);
  INFO(sharp << " of " << compared << " known to a tenth, " << other_course
             << " took another course");
  CHECK(static_cast<double>(sharp) > 0.4 * static_cast<double>(compared));
  CHECK(static_cast<double>(other_course) < 0.02 * static_cast<double>(s.inputs.size()));
}

TEST_CASE("local slopes of a study equal differences, exposed bowel", "[laws]") {
  compare("exposed", 4);
}
TEST_CASE("local slopes of a study equal differences, wrapped bowel", "[laws]") {
  compare("wrapped", 10);
}
TEST_CASE("local slopes of a study equal differences, fluids and gastric replacement", "[laws]") {
  compare("day-one", 30);
}
TEST_CASE("local slopes of a study equal differences, blood lost and given", "[laws]") {
  compare("bleeding", 25);
}
TEST_CASE("local slopes of a study equal differences, a soaked dressing", "[laws]") {
  compare("gauze-under-film", 10);
}

TEST_CASE("slopes of numbers that acts hold, and of hours at which a level is reached", "[laws]") {
  // The leak of the wrap is 1 - seal, so more seal, less evaporation.
  const auto file = read("wrapped");
  study::Study s;
  s.times = {1, 6};
  s.outputs = {output::bowel_evaporation};
  s.series_times = grid(0, 6, 1.0 / 12);
  study::Input seal, spread;
  seal.path = "timeline.wrap.seal";
  seal.unit = "1";
  seal.law = study::Law::uniform(0.85, 0.95);
  spread.path = "baby.spread";
  spread.unit = "1";
  spread.law = study::Law::uniform(0.1, 0.3);
  s.inputs = {seal, spread};
  study::Scene scene{file.c, file.parameters, {{}, {}}};
  for (std::size_t a = 0; a < file.c.timeline.size(); ++a)
    if (std::holds_alternative<care::CoverBowel>(file.c.timeline[a].deed))
      scene.places[0].push_back({a, 2, 1});  // at, layers, seal
  REQUIRE(scene.places[0].size() == 1);
  scene.places[1].push_back({Place::of_case, 12, 1});
  s.arms.push_back({"wrapped", "", {scene}});
  study::RunFigure reaches;
  reaches.output = output::bowel_evaporation;
  {
    const auto first = study::local_slopes(s, 0);
    reaches.level = 0.5 * (first.values[0] + first.values[1]);
  }
  const auto local = study::local_slopes(s, 0, {reaches});
  CHECK(local.by[0] == study::SlopeBy::dual_numbers);
  CHECK(local.by[1] == study::SlopeBy::dual_numbers);
  CHECK(local.slopes[0][1] < 0);
  CHECK(local.slopes[1][1] > 0);
  // The hour at which a level is reached moves by - (dy/dp) / (dy/dt): later when the seal is
  // better, sooner when more bowel lies open.
  CHECK(local.figure_values[0] > 1);
  CHECK(local.figure_values[0] < 6);
  CHECK(local.figure_slopes[0][0] > 0);
  CHECK(local.figure_slopes[1][0] < 0);
  // Against the whole model with other steps: another seal, run afresh; the solver's tolerance is
  // 1e-4 of a step, the difference of two runs is good to about a hundredth here.
  const auto run_with = [&](double value) {
    care::Case c;
    baby::Parameters<double> p;
    REQUIRE(study::make_run(s, 0, {value, local.middle[1]}, c, p) == RunStatus::finished);
    const Job job{&c, &p, s.times};
    std::vector<Result> r(1);
    run_scalar({&job, 1}, r, {1e-8, 1e-4});
    return r[0].at(1, output::bowel_evaporation);
  };
  const double difference = (run_with(0.91) - run_with(0.89)) / 0.02;
  CHECK(std::fabs(local.slopes[0][1] - difference) < 0.02 * std::fabs(difference));
}

}  // namespace
}  // namespace serosa::laws
