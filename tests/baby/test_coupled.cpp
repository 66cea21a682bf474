// SPDX-License-Identifier: Apache-2.0
// Whole runs against what the field knows, and inputs that nobody should survive.
#include <array>

#include "newborn.hpp"

namespace serosa::baby::test {
namespace {

using namespace simulate;
using Catch::Matchers::WithinAbs;

// Direction only: bowel and wrap behave as hands know them to (common practice, no source for
// size).
TEST_CASE("an over-tight wrap evaporates less, swells the wall and starves the bowel", "[runs]") {
  const std::vector<double> hours{1.0, 3.0, 6.0};
  const auto normal = run_case("wrapped", hours, {"timeline.wrap.seal=90 %"});
  const auto tight =
      run_case("wrapped", hours, {"timeline.wrap.seal=99 %", "timeline.wrap.tension=20 mmHg"});
  for (const double t : hours) {
    CHECK(tight.at(t, output::bowel_evaporation) < normal.at(t, output::bowel_evaporation));
    CHECK(tight.at(t, output::wall_water) > normal.at(t, output::wall_water));
    CHECK(tight.at(t, output::mesenteric_flow) < normal.at(t, output::mesenteric_flow));
  }
}

TEST_CASE("soaked gauze is colder than film and loses water between film and bare", "[runs]") {
  const std::vector<double> hours{0.5, 1.0, 2.0};
  const auto bare = run_case("exposed", hours), film = run_case("wrapped", hours),
             gauze = run_case("soaked-gauze", hours);
  const auto total = [](const Run& r, double t) {
    return r.at(t, output::bowel_evaporation) + r.at(t, output::dressing_evaporation);
  };
  for (const double t : hours) {
    INFO("at " << t << " h: evaporated bare " << total(bare, t) << ", gauze " << total(gauze, t)
               << ", film " << total(film, t) << "; bowel " << bare.at(t, output::bowel_temperature)
               << ' ' << gauze.at(t, output::bowel_temperature) << ' '
               << film.at(t, output::bowel_temperature));
    CHECK(gauze.at(t, output::bowel_temperature) < film.at(t, output::bowel_temperature));
    CHECK(total(gauze, t) > total(film, t));
    CHECK(total(gauze, t) < total(bare, t));
  }
  // Own water while the gauze is wet: what it adds after it lies, against the gauze's.
  const double own =
      gauze.at(2.0, output::bowel_evaporation) - gauze.at(0.5, output::bowel_evaporation);
  const double its =
      gauze.at(2.0, output::dressing_evaporation) - gauze.at(0.5, output::dressing_evaporation);
  INFO("between 0.5 and 2 h: own " << own << ", of the gauze " << its);
  CHECK(own < 0.05 * its);
  // Dried out, the bowel pays again, towards what bare bowel does.
  const auto dry = run_case("gauze-dried-out", {10.0, 12.0});
  const double rate =
      (dry.at(12.0, output::bowel_evaporation) - dry.at(10.0, output::bowel_evaporation)) / 2.0;
  const auto exposed = run_case("exposed", {4.0, 6.0});
  const double bare_rate =
      (exposed.at(6.0, output::bowel_evaporation) - exposed.at(4.0, output::bowel_evaporation)) /
      2.0;
  INFO("own loss " << rate << " g/h under dry gauze, " << bare_rate << " bare");
  CHECK(rate > 0.5 * bare_rate);
  CHECK(rate < bare_rate);
}

// Classes of the World Health Organization: above 37.5 °C too warm, 36.5-37.5 normal, 36.0-36.4
// mild, 32.0-35.9 moderate, below severe hypothermia.
TEST_CASE("exposed under a low warmer in a draught the core falls through the classes", "[runs]") {
  std::vector<double> hours;
  for (int i = 0; i <= 72; ++i) hours.push_back(i / 12.0);
  const auto r = run_case("draught", hours);
  bool normal = false, mild = false, moderate = false;
  double before = 100;
  for (const double t : hours) {
    const double core = r.at(t, output::core_temperature);
    normal = normal || (core >= 36.5 && core <= 37.5);
    mild = mild || (normal && core >= 36.0 && core < 36.5);
    moderate = moderate || (mild && core >= 32.0 && core < 36.0);
    if (t > 0.1 && t < 3.0) CHECK(core < before + 1e-3);
    before = core;
  }
  INFO("core after 6 h " << before);
  CHECK(normal);
  CHECK(mild);
  CHECK(moderate);
}

TEST_CASE("wrapped, dried and with the warmer following the skin the core stays normal", "[runs]") {
  for (const double end : {6.0, 24.0}) {
    std::vector<double> hours;
    for (double t = 1.0; t <= end; t += 0.5) hours.push_back(t);
    const auto r = run_case("wrapped", hours, {"until=24 h"});
    for (const double t : hours) {
      INFO("core " << r.at(t, output::core_temperature) << " at " << t << " h");
      CHECK(r.at(t, output::core_temperature) >= 36.5);
      CHECK(r.at(t, output::core_temperature) <= 37.5);
    }
  }
}

// 38-40 °C after hours under a warmer left on full (common practice, no source).
TEST_CASE("a full warmer left on by hand overheats a wrapped newborn", "[runs]") {
  const auto r = run_case("wrapped", {2.0, 6.0}, {"timeline.servo.to=full"});
  INFO("core " << r.at(2.0, output::core_temperature) << " at 2 h, "
               << r.at(6.0, output::core_temperature) << " at 6 h");
  CHECK(r.at(2.0, output::core_temperature) > 37.5);
  CHECK(r.at(6.0, output::core_temperature) > 38.0);
  CHECK(r.at(6.0, output::core_temperature) < 41.0);
}

/// Either all the way with every figure finite, or an end with a name, a time and a state, figures
/// finite up to it and none after.
void ends_well_or_by_name(const std::string& what, const care::Case& c,
                          const Parameters<double>& p) {
  const auto times = grid(care::Carer<double>::first_hour(c), c.until, 0.1);
  const Job job{&c, &p, times};
  std::array<Job, 3> jobs{job, job, job};
  std::array<Result, 3> results;
  run(jobs, results);
  const Result& r = results[2];
  INFO(what << ": " << name(r.report.status) << " at " << r.report.time << " h, state "
            << (r.report.state < 0 ? "none"
                                   : state_list[static_cast<std::size_t>(r.report.state)].name));
  if (r.report.status != RunStatus::finished) {
    CHECK(r.report.status != RunStatus::rates_not_finite);
    CHECK(r.report.state >= 0);
    CHECK(r.report.time < c.until);
  }
  for (std::size_t i = 0; i < times.size(); ++i) {
    const bool reached = r.report.status == RunStatus::finished || times[i] < r.report.time - 1e-9;
    const bool beyond = r.report.status != RunStatus::finished && times[i] > r.report.time + 1e-9;
    for (std::size_t o = 0; o < output::count; ++o) {
      const double value = r.at(i, static_cast<output::Index>(o));
      if (reached != std::isfinite(value) && (reached || beyond)) {
        INFO(output_list[o].name << " is " << value << " at " << times[i] << " h");
        CHECK(reached == std::isfinite(value));
        return;
      }
    }
  }
  SUCCEED();
}

TEST_CASE("absurd but possible inputs end well or by name, never in a figure that is none",
          "[runs]") {
  struct Absurd {
    std::string what, based_on;
    std::vector<std::string> changes;
  };
  const std::vector<Absurd> list{
      {"nine tenths of the blood lost",
       "exposed",
       {"timeline.tear.act=bleed", "timeline.tear.at=30 min", "timeline.tear.share=90 %"}},
      {"walls of 45 degrees, warmer full",
       "warmer-left-on",
       {"air.walls=45 degC", "air.temperature=41 degC"}},
      {"200 mL/kg in a second",
       "wrapped",
       {"timeline.flood.act=bolus", "timeline.flood.at=1 h", "timeline.flood.fluid=saline-0.9",
        "timeline.flood.volume=200 mL/kg", "timeline.flood.over=1 s"}},
      {"200 mL/kg of albumin 20 %",
       "wrapped",
       {"timeline.flood.act=bolus", "timeline.flood.at=1 h", "timeline.flood.fluid=albumin-20",
        "timeline.flood.volume=200 mL/kg", "timeline.flood.over=10 min"}},
      {"loops all apart, dried, for a day",
       "exposed",
       {"bowel.spread=1", "until=24 h", "air.speed=0.6 m/s", "air.humidity=10 %"}},
      {"half a square metre of bowel", "exposed", {"bowel.area=0.5 m^2"}},
      {"400 g at 22 weeks, cold room, wet",
       "draught",
       {"baby.weight=400 g", "baby.gestation=22 wk", "air.temperature=15 degC"}},
      {"born at 28 degrees", "warmer-off", {"baby.temperature=28 degC"}},
      {"born at 41 degrees under a full warmer", "warmer-left-on", {"baby.temperature=41 degC"}},
      {"haematocrit of 80 %", "exposed", {"baby.haematocrit=80 %"}},
      {"protein of 15 g/L", "exposed", {"baby.protein=15 g/L"}},
      {"sodium of 110 mmol/L", "exposed", {"baby.sodium=110 mmol/L"}},
      {"a wrap of 60 mmHg", "wrapped", {"timeline.wrap.tension=60 mmHg", "until=24 h"}},
      {"60 mL/kg/h of glucose water",
       "day-one",
       {"timeline.line.fluid=glucose-10", "timeline.line.rate=60 mL/kg/h"}},
      {"nothing done for three days", "exposed", {"until=72 h"}},
      {"dry air, 2 m/s", "exposed", {"air.humidity=0 %", "air.speed=2 m/s"}},
      {"air at 5 degrees", "exposed", {"air.temperature=5 degC", "air.walls=2 degC"}},
  };
  for (const auto& absurd : list) {
    const auto file = laws::read(absurd.based_on, absurd.changes);
    ends_well_or_by_name(absurd.what, file.c, file.parameters);
  }
}

TEST_CASE("nine tenths of the blood lost is not survived", "[runs]") {
  const auto file = laws::read("exposed", {"timeline.tear.act=bleed", "timeline.tear.at=30 min",
                                           "timeline.tear.share=90 %"});
  const std::vector<double> times{6.0};
  const Job job{&file.c, &file.parameters, times};
  Result r;
  run_scalar({&job, 1}, {&r, 1});
  CHECK(r.report.status == RunStatus::left_the_model);
  CHECK(r.report.time > 0.5);
  CHECK(r.report.time < 0.7);
}

}  // namespace
}  // namespace serosa::baby::test
