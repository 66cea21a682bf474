// SPDX-License-Identifier: Apache-2.0
// Law: derivatives by dual numbers equal central differences on a frozen sequence of steps, for
// every parameter and for the times of the acts.
#include <cmath>

#include "dual_runs.hpp"
#include "shipped.hpp"

namespace serosa::laws {
namespace {

using namespace simulate;
constexpr int width = 16;  // directions at once

constexpr output::Index watched[] = {output::bowel_evaporation,    output::skin_loss,
                                     output::airway_loss,          output::urine,
                                     output::blood_volume,         output::wall_water,
                                     output::lumen_water,          output::interstitial_water,
                                     output::cell_water,           output::plasma_sodium,
                                     output::plasma_protein,       output::heart_rate,
                                     output::arterial_pressure,    output::core_temperature,
                                     output::skin_temperature,     output::bowel_temperature,
                                     output::mattress_temperature, output::warmer_heat};

/// Every parameter, and every hour at which something is done. An act at the birth itself is left
/// out: moved, it would come before or after what the birth changes.
std::vector<Direction> directions(const files::CaseFile& file) {
  std::vector<Direction> all;
  auto p = file.parameters;
  for (std::size_t i = 0; i < baby::parameter::count; ++i) {
    const double value = parameter_of(p, i);
    // A temperature's size says nothing about what is a small change of it.
    const bool small = value == 0.0 || baby::parameter_list[i].unit == "degC";
    all.push_back({i,
                   {},
                   std::string(baby::parameter_list[i].name),
                   1e-4 * (small ? 2.0 : std::fabs(value))});
  }
  const auto& timeline = file.c.timeline;
  for (std::size_t a = 0; a < timeline.size(); ++a) {
    if (timeline[a].at == 0.0) continue;
    if (a > 0 && timeline[a].at == timeline[a - 1].at)
      all.back().acts.push_back(a);
    else
      all.push_back({baby::parameter::count, {a}, "hour of " + timeline[a].name, 1e-5});
  }
  return all;
}

/// The case with one direction moved.
struct Moved {
  care::Case c;
  baby::Parameters<double> p;
};
Moved moved(const files::CaseFile& file, const Direction& along, double by) {
  Moved m{file.c, file.parameters};
  if (along.parameter < baby::parameter::count) parameter_of(m.p, along.parameter) += by;
  for (const auto a : along.acts) {
    m.c.timeline[a].at += by;
    if (std::holds_alternative<care::ClampCord>(m.c.timeline[a].deed))
      m.c.baby.cord_clamped_at += by;
  }
  return m;
}

/// Plain runs on the given steps, eight abreast.
std::vector<Result> replayed(const std::vector<Moved>& cases, std::span<const double> times,
                             const StepSequence& steps, const Settings& settings) {
  using Pack = physics::Pack<8>;
  std::vector<Job> jobs;
  for (const auto& m : cases) jobs.push_back({&m.c, &m.p, times});
  std::vector<Result> results(jobs.size());
  auto journeys = std::make_unique<Journeys<Pack>>(jobs, results);
  auto integrator = std::make_unique<Integrator<Pack, baby::state::count>>(step_control(settings));
  for (int lane = 0; lane < 8; ++lane) integrator->replay(lane, &steps);
  integrator->run(*journeys, *journeys);
  return results;
}

struct Tally {
  long taken = 0, other_course = 0;  ///< directions
  long compared = 0, sharp = 0;      ///< figures; sharp: known to a tenth or better
  std::string left_out;
};

bool met(const care::Case& c, const Direction& along, double hour) {
  return std::any_of(along.acts.begin(), along.acts.end(),
                     [&](std::size_t a) { return std::fabs(c.timeline[a].at - hour) < 1e-9; });
}

void compare(const files::CaseFile& file, Violations& violations, Tally& tally) {
  const Settings settings;
  const auto& times = file.c.report_at;
  const Job job{&file.c, &file.parameters, times};
  StepSequence steps;
  std::vector<Result> plain(1);
  {
    Journeys<double> journeys({&job, 1}, plain);
    auto integrator =
        std::make_unique<Integrator<double, baby::state::count>>(step_control(settings));
    integrator->record(0, &steps);
    integrator->run(journeys, journeys);
  }
  REQUIRE(plain[0].report.status == RunStatus::finished);

  const auto all = directions(file);
  std::vector<Moved> cases;
  for (const auto& d : all)
    for (const double by : {d.step, -d.step, d.step / 2, -d.step / 2})
      cases.push_back(moved(file, d, by));
  const auto differences = replayed(cases, times, steps, settings);

  for (std::size_t first = 0; first < all.size(); first += width) {
    const auto along =
        std::span(all).subspan(first, std::min<std::size_t>(width, all.size() - first));
    Result result;
    const auto dual = run_dual<width>(job, along, steps, settings, result);
    if (result.report.status != RunStatus::finished || dual.size() != times.size()) {
      violations.add("the run with derivatives ended with ", message(result.report.status), " at ",
                     result.report.time, " h, state ", result.report.state);
      continue;
    }
    for (std::size_t d = 0; d < along.size(); ++d) {
      const Result* r = &differences[4 * (first + d)];
      const double step = along[d].step;
      // Where a moved act meets another stop, or a store dries up a step earlier, the moved runs
      // take another course and there is no difference to take.
      bool same_course = true;
      for (int k = 0; k < 4; ++k)
        same_course = same_course && r[k].report.status == RunStatus::finished &&
                      r[k].report.effort.restarts == plain[0].report.effort.restarts &&
                      r[k].report.effort.accepted_steps == plain[0].report.effort.accepted_steps;
      ++tally.taken;
      if (!same_course) {
        tally.left_out += " " + file.c.name + ": " + along[d].name + ";";
        ++tally.other_course;
        continue;
      }
      for (std::size_t i = 0; i < times.size(); ++i) {
        // At the very hour of an act that moves, a figure is that before or that after it.
        if (met(file.c, along[d], times[i])) continue;
        for (const auto o : watched) {
          const double wide = (r[0].at(i, o) - r[1].at(i, o)) / (2 * step);
          const double narrow = (r[2].at(i, o) - r[3].at(i, o)) / step;
          const double expected = (4 * narrow - wide) / 3;
          const double found = dual[i][o].slope[d];
          // 1e-6 of the derivative; what the two differences disagree by (a corner of the second
          // derivative, as where the cold response begins, is not of the series that they are
          // combined by); and rounding, 1e-11 of the figure: bowel and mattress follow
          // within minutes and rock at the limit of stability, which amplifies it.
          const double allowed = 1e-6 * std::fabs(expected) + std::fabs(narrow - wide) +
                                 1e-11 * std::fabs(plain[0].at(i, o)) / step;
          if (std::fabs(expected) > 10 * allowed) ++tally.sharp;
          ++tally.compared;
          if (!(std::fabs(found - expected) <= allowed))
            violations.add(output_list[o].name, " at ", times[i], " h by ", along[d].name, ": ",
                           found, " by dual numbers, ", expected, " by differences, allowed ",
                           allowed);
          if (dual[i][o].value != plain[0].at(i, o))
            violations.add(output_list[o].name, " has another value with derivatives");
        }
      }
    }
  }
}

void every_nth_case(std::size_t part, std::size_t parts) {
  const auto& cases = shipped_cases();
  Tally tally;
  for (std::size_t i = part; i < cases.size(); i += parts) {
    Violations violations;
    compare(cases[i], violations, tally);
    judge(cases[i].c.name, "derivatives", violations);
  }
  INFO("left out:" << tally.left_out);
  CHECK(static_cast<double>(tally.other_course) < 0.01 * static_cast<double>(tally.taken));
  // The comparison has teeth: of the figures that depend on anything, most are known well.
  INFO(tally.sharp << " of " << tally.compared << " derivatives known to a tenth or better");
  CHECK(static_cast<double>(tally.sharp) > 0.5 * static_cast<double>(tally.compared));
}

TEST_CASE("derivatives equal differences on frozen steps, first quarter of the cases", "[laws]") {
  every_nth_case(0, 4);
}
TEST_CASE("derivatives equal differences on frozen steps, second quarter of the cases", "[laws]") {
  every_nth_case(1, 4);
}
TEST_CASE("derivatives equal differences on frozen steps, third quarter of the cases", "[laws]") {
  every_nth_case(2, 4);
}
TEST_CASE("derivatives equal differences on frozen steps, last quarter of the cases", "[laws]") {
  every_nth_case(3, 4);
}

}  // namespace
}  // namespace serosa::laws
