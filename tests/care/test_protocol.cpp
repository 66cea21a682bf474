// SPDX-License-Identifier: Apache-2.0
// A protocol looks, charts and acts exactly when its readings allow, for each baby by itself.
#include <cmath>
#include <cstring>
#include <set>

#include "care/carer.hpp"
#include "laws/reference_newborn.hpp"
#include "simulate/isa.hpp"

namespace serosa::care {
namespace {

using Catch::Matchers::WithinAbs;

constexpr double infinity = std::numeric_limits<double>::infinity();
const Fluid saline{"saline", 154, 154, 0, 0, 0};
const Bolus small{saline, 10, 0.25};

Rule rule(std::vector<Condition> when, Deed deed, int at_most = 1, double gap = 0) {
  Rule r;
  r.name = "rule";
  r.when = std::move(when);
  r.deed = std::move(deed);
  r.at_most = at_most;
  r.gap = gap;
  return r;
}

Condition above(double level, double lasting = 0, std::size_t reading = 0) {
  return {reading, level, infinity, lasting};
}
Condition below(double level, double lasting = 0, std::size_t reading = 0) {
  return {reading, -infinity, level, lasting};
}

/// A chart whose truth is written by hand: charted output is what the script says, mL/kg.
struct Scripted {
  Case c;
  Protocol p;
  baby::Subject<double> s{};
  baby::State<double> x{};

  explicit Scripted(double look_every = 0.5) {
    c = laws::read("exposed").c;
    c.timeline.clear();
    c.until = 24;
    p.look_every = p.look_from = look_every;
    p.readings = {{"out", Sign::charted_output}};
    s.parameters = laws::models().values();
    s.body = baby::prepare(c.baby, s.parameters);
  }

  /// What the rules do, with hours.
  template <class Script>
  std::vector<Done> acts(Script output, std::uint64_t seed = 1, std::uint64_t run = 0) {
    c.protocol = std::make_shared<const Protocol>(p);
    c.chart_seed = seed;
    c.chart_run = run;
    Carer<double>::at_rest(c, s.parameters, s.controls);
    x = baby::birth_state(s);
    Carer<double> carer;
    carer.start(c);
    while (carer.next() <= c.until) {
      const double t = carer.next();
      x[baby::state::urine] = output(t) * s.body.weight;
      carer.act(t, x, s);
    }
    return carer.done();
  }
  template <class Script>
  std::vector<double> hours(Script output) {
    std::vector<double> all;
    for (const auto& done : acts(output)) all.push_back(done.at);
    return all;
  }
};

double slope(double t) { return t; }  // mL/kg: as much as hours have passed

TEST_CASE("a rule acts at the first look whose value allows it", "[protocol]") {
  Scripted b;
  b.p.rules = {rule({above(5.2)}, small)};
  CHECK(b.hours(slope) == std::vector{5.5});
  // Strictly above: a value on the level does not count.
  b.p.rules = {rule({above(5.0)}, small)};
  CHECK(b.hours(slope) == std::vector{5.5});
  b.p.rules = {rule({below(0.4)}, small)};
  CHECK(b.hours(slope).empty());
}

TEST_CASE("a delay puts off the value, not only the look", "[protocol]") {
  Scripted b;
  b.p.rules = {rule({above(5.2)}, small)};
  // Taken at 5.5 h, known at 6.7 h, looked at at 7 h: and then it shows what was seen, 5.5.
  b.p.readings[0].delay = 1.2;
  const auto acts = b.acts(slope);
  REQUIRE(acts.size() == 1);
  CHECK(acts[0].at == 7.0);
  CHECK_THAT(acts[0].seen[0], WithinAbs(5.5, 1e-12));  // rounding of g to mL/kg and back
}

TEST_CASE("values that are taken seldom are acted on seldom", "[protocol]") {
  Scripted b;
  b.p.rules = {rule({above(5.2)}, small)};
  b.p.readings[0].every = 2;  // looks 1, 5, 9 …: 0.5 h, 2.5 h, 4.5 h, 6.5 h
  CHECK(b.hours(slope) == std::vector{6.5});
}

TEST_CASE("a level that must last is unbroken, from value to value", "[protocol]") {
  Scripted b;
  b.p.rules = {rule({above(5.2, 1.5)}, small)};
  CHECK(b.hours(slope) == std::vector{7.0});  // 5.5 to 7.0
  // It falls below once, at 6.5 h, and must last anew: 7.0 to 8.5.
  CHECK(b.hours([](double t) { return t == 6.5 ? 0.0 : t; }) == std::vector{8.5});
  // Two values far apart are as unbroken as a chart can tell.
  b.p.readings[0].every = 2;
  CHECK(b.hours(slope) == std::vector{8.5});  // 6.5 and 8.5
}

TEST_CASE("limits: how often, how soon again, from when, until when, unless", "[protocol]") {
  Scripted b;
  b.p.rules = {rule({above(5.2)}, small, 3, 2)};
  CHECK(b.hours(slope) == std::vector{5.5, 7.5, 9.5});
  b.p.rules[0].from = 8;
  CHECK(b.hours(slope) == std::vector{8.0, 10.0, 12.0});
  b.p.rules[0].until = 11;
  CHECK(b.hours(slope) == std::vector{8.0, 10.0});
  b.p.rules[0].unless = {above(9.8)};
  CHECK(b.hours(slope) == std::vector{8.0});
  // By the clock alone.
  b.p.rules = {rule({}, small, 3, 6)};
  CHECK(b.hours(slope) == std::vector{0.5, 6.5, 12.5});
}

TEST_CASE("a rule does not act twice on one value", "[protocol]") {
  Scripted b;
  b.p.readings[0].every = 4;  // 0.5, 4.5, 8.5, 12.5 …
  b.p.rules = {rule({above(4)}, small, 3, 0.5)};
  CHECK(b.hours(slope) == std::vector{4.5, 8.5, 12.5});
  // The value of 5.5 h is known at 7.5 h; what was taken before that act does not count again.
  Scripted late;
  late.p.readings[0].delay = 2;
  late.p.rules = {rule({above(5.2)}, small, 2, 0.5)};
  CHECK(late.hours(slope) == std::vector{7.5, 10.0});  // taken at 8.0
}

TEST_CASE("what adds up is read over hours, urine as a flow", "[protocol]") {
  Scripted b;
  b.p.readings = {{"out", Sign::charted_output, 0, 3}, {"urine", Sign::urine, 0, 2}};
  b.p.rules = {rule({above(2.9), above(0.9, 0, 1)}, small)};
  // Nothing is known of the three hours before 3.5 h.
  const auto acts = b.acts(slope);
  REQUIRE(acts.size() == 1);
  CHECK(acts[0].at == 3.5);
  CHECK_THAT(acts[0].seen[0], WithinAbs(3, 1e-12));
  CHECK_THAT(acts[0].seen[1], WithinAbs(1, 1e-12));  // mL/kg/h
}

TEST_CASE("laboratory values are those of samples", "[protocol]") {
  Scripted b;
  b.p.readings.push_back({"sodium", Sign::sodium, 0, 0, 0.75});
  b.c.timeline = {{"sample", 3.1, LoseBlood{0.5, 0, 1.0 / 60, true}},
                  {"bleed", 1.0, LoseBlood{0.5, 0, 1.0 / 60}}};
  std::swap(b.c.timeline[0], b.c.timeline[1]);
  b.p.rules = {rule({above(0, 0, 1)}, small, 9, 0.5)};
  CHECK(b.hours(slope) == std::vector{4.0});  // known at 3.85 h; a bleeding tells nothing
}

TEST_CASE("errors are added to the truth, and decide", "[protocol]") {
  Scripted b;
  b.p.readings[0].error = 2;
  b.p.rules = {rule({above(8)}, small)};
  for (const std::uint64_t seed : {1u, 2u})
    for (std::uint64_t run = 0; run < 20; ++run) {
      double expected = 0;
      for (double t = 0.5; expected == 0; t += 0.5)
        if (t + 2 * reading_error(seed, run, Sign::charted_output, t) > 8) expected = t;
      const auto acts = b.acts(slope, seed, run);
      REQUIRE(acts.size() == 1);
      CHECK(acts[0].at == expected);
      CHECK_THAT(acts[0].seen[0],
                 WithinAbs(expected + 2 * reading_error(seed, run, Sign::charted_output, expected),
                           1e-12));
    }
}

TEST_CASE("a delay puts off a value with its error, both as they are without the other",
          "[protocol]") {
  // Looks every half hour; what is known 1.2 h late is acted on 1.5 h later.
  for (const double error : {0.0, 2.0})
    for (std::uint64_t run = 0; run < 20; ++run) {
      Scripted prompt, late;
      prompt.p.readings[0].error = late.p.readings[0].error = error;
      late.p.readings[0].delay = 1.2;
      prompt.p.rules = late.p.rules = {rule({above(8)}, small)};
      const auto at_once = prompt.acts(slope, 3, run), put_off = late.acts(slope, 3, run);
      REQUIRE(at_once.size() == 1);
      REQUIRE(put_off.size() == 1);
      CHECK(put_off[0].at == at_once[0].at + 1.5);
      CHECK(put_off[0].seen[0] == at_once[0].seen[0]);
      if (error == 0) CHECK(at_once[0].at == 8.5);
    }
}

TEST_CASE("errors depend on seed, run, sign and hour alone", "[protocol]") {
  const double one = reading_error(1, 2, Sign::sodium, 3);
  CHECK(reading_error(1, 2, Sign::sodium, 3) == one);
  CHECK(reading_error(2, 2, Sign::sodium, 3) != one);
  CHECK(reading_error(1, 3, Sign::sodium, 3) != one);
  CHECK(reading_error(1, 2, Sign::haematocrit, 3) != one);
  CHECK(reading_error(1, 2, Sign::sodium, 3.5) != one);
  // Of 40 000 standard normal numbers the mean lies within 4/200 of 0, the mean square within
  // 4 · sqrt(2)/200 of 1, the share beyond 1.96 within 4 · 0.22/200 of 5 %: four standard errors.
  constexpr int n = 40000;
  double sum = 0, squares = 0, beyond = 0;
  for (int i = 0; i < n; ++i) {
    const double e = reading_error(7, static_cast<std::uint64_t>(i), Sign::urine, 6);
    sum += e, squares += e * e, beyond += std::abs(e) > 1.959964;
  }
  CHECK_THAT(sum / n, WithinAbs(0, 0.02));
  CHECK_THAT(squares / n, WithinAbs(1, 0.0283));
  CHECK_THAT(beyond / n, WithinAbs(0.05, 0.0044));
}

/// Deeds by rule that need something to be there.
TEST_CASE("a rule does only what is possible, and says only what it did", "[protocol]") {
  Scripted b;
  b.p.rules = {rule({}, AdjustInfusion{1, 0, 5}, 9, 1)};
  CHECK(b.acts(slope).empty());  // nothing runs
  b.c.timeline = {{"line", 0.25, Infuse{saline, 3.5}}};
  CHECK(b.hours(slope) == std::vector{0.5, 1.5});  // 4.5, then 5; more would change nothing
  b.p.rules = {rule({}, Rewrap{0.9, 0, 0.1}, 9, 1)};
  CHECK(b.acts(slope).empty());  // no cover
  b.p.rules = {rule({}, SetWarmer{{"full", 300}}, 9, 1)};
  CHECK(b.hours(slope) == std::vector{0.5});  // then it is full already
}

TEST_CASE("maintenance is changed within its limits", "[protocol]") {
  Scripted b;
  b.c.timeline = {{"line", 0.25, Infuse{saline, 3.0}}};
  b.p.rules = {rule({}, AdjustInfusion{-2, 0.5, 9}, 9, 1)};
  b.acts(slope);
  CHECK_THAT(b.s.controls.given_water, WithinAbs(0.5 * b.s.body.weight, 1e-9));
}

// ---- Contradictions -----------------------------------------------------------------------

std::vector<ProtocolFault> faults_of(std::vector<Rule> rules, std::vector<Reading> readings = {},
                                     bool sampled = false) {
  Protocol p;
  p.readings = readings.empty() ? std::vector<Reading>{{"out", Sign::charted_output}} : readings;
  p.rules = std::move(rules);
  return faults(p, sampled);
}

void refused(const std::vector<ProtocolFault>& found, const std::string& word) {
  REQUIRE(found.size() == 1);
  CHECK_THAT(found[0].message, Catch::Contains(word));
}

TEST_CASE("protocols that contradict themselves or go in circles are refused", "[protocol]") {
  const AdjustInfusion up{1, 0, 9}, down{-1, 0, 9};
  CHECK(faults_of({rule({above(5)}, small, 3, 1)}).empty());
  refused(faults_of({rule({{0, 5, 4}}, small)}), "above and below at once");
  refused(faults_of({rule({above(5)}, small, 2, 0.3)}), "every look");
  refused(faults_of({rule({above(5)}, Bolus{saline, 10, 2}, 2, 1)}), "has run in");
  // Levels with room between them, without, and crossed.
  CHECK(faults_of({rule({above(5)}, down, 2, 1), rule({below(4)}, up, 2, 1)}).empty());
  refused(faults_of({rule({above(5)}, down, 2, 1), rule({below(5)}, up, 2, 1)}), "contradicts");
  refused(faults_of({rule({above(4)}, down, 2, 1), rule({below(5)}, up, 2, 1)}), "contradicts");
  // Both raise: no contradiction. At different times: none either.
  CHECK(faults_of({rule({above(4)}, up, 2, 1), rule({below(5)}, up, 2, 1)}).empty());
  Rule early = rule({above(4)}, down, 2, 1), late = rule({below(5)}, up, 2, 1);
  early.until = 3, late.from = 4;
  CHECK(faults_of({early, late}).empty());
  const SetWarmer full{{"full", 300}}, low{{"low", 100}};
  refused(faults_of({rule({above(4)}, full), rule({above(5)}, low)}), "contradicts");
  Rule never = rule({above(5)}, small);
  never.unless = {above(4)};
  refused(faults_of({never}), "unless");
  never.unless = {above(6)};
  CHECK(faults_of({never}).empty());
  never.from = 3, never.until = 2;
  refused(faults_of({never}), "after its end");
}

TEST_CASE("readings that nothing feeds are refused", "[protocol]") {
  const std::vector<Reading> sodium{{"sodium", Sign::sodium}};
  const LoseBlood sample{0.5, 0, 1.0 / 60, true};
  refused(faults_of({rule({above(145)}, small)}, sodium), "sampled");
  CHECK(faults_of({rule({above(145)}, small)}, sodium, true).empty());
  CHECK(faults_of({rule({above(145)}, small), rule({}, sample, 3, 6)}, sodium).empty());
  // A sample that waits for a sample.
  refused(faults_of({rule({above(145)}, sample, 3, 6)}, sodium), "sampled");
  refused(faults_of({}, {{"out", Sign::charted_output, 0.7}}), "every");
  refused(faults_of({}, {{"out", Sign::charted_output, 0, 0.7}}), "over");
}

// ---- Runs ---------------------------------------------------------------------------------

struct Babies {
  std::vector<Case> cases;
  baby::Parameters<double> parameters = laws::models().values();
  std::vector<double> times = simulate::grid(0, 12, 1);
  std::vector<simulate::Job> jobs;

  explicit Babies(const Protocol& p, int n = 13) {
    const auto protocol = std::make_shared<const Protocol>(p);
    for (int i = 0; i < n; ++i) {
      Case c = laws::read("wrapped").c;
      c.until = 12;
      c.baby.weight = 1500 + 170 * i;
      c.protocol = protocol;
      c.chart_run = static_cast<std::uint64_t>(i);
      cases.push_back(c);
    }
    for (const auto& c : cases) jobs.push_back({&c, &parameters, times});
  }
};

Protocol lively() {
  Protocol p;
  p.readings = {{"pressure", Sign::mean_pressure, 0, 0, 0, 3},
                {"urine", Sign::urine, 1, 2},
                {"temperature", Sign::core_temperature, 0, 0, 0, 0.2},
                {"sodium", Sign::sodium, 0, 0, 1, 1}};
  p.rules = {rule({below(40)}, Bolus{saline, 10, 0.5}, 3, 2),
             rule({below(0.9, 0, 1)}, AdjustInfusion{1, 0, 6}, 4, 2),
             rule({}, LoseBlood{0.5, 0, 1.0 / 60, true}, 4, 3),
             rule({below(141, 0, 3)}, Bolus{saline, 5, 0.5}, 3, 2),
             rule({below(37.0, 0, 2)}, Rewrap{0.98, 0, 1.0 / 60}, 2, 3),
             rule({}, Infuse{saline, 2.5})};
  return p;
}

bool same(const simulate::Result& a, const simulate::Result& b) {
  // Bytes: NaN of a reading that no condition has is equal to itself here.
  const auto bytes = [](const auto& one, const auto& other) {
    return one.size() == other.size() &&
           std::memcmp(one.data(), other.data(), one.size() * sizeof one[0]) == 0;
  };
  return a.report == b.report && bytes(a.values, b.values) && bytes(a.done, b.done);
}

TEST_CASE("each lane has its own acts, equal to the run alone", "[protocol]") {
  const Babies all(lively());
  std::vector<simulate::Result> alone(all.jobs.size()), abreast(all.jobs.size());
  simulate::run_scalar(all.jobs, alone);
  for (const auto set : simulate::available_instruction_sets()) {
    simulate::force_instruction_set(simulate::name(set));
    simulate::run(all.jobs, abreast);
    for (std::size_t i = 0; i < all.jobs.size(); ++i) {
      INFO("baby " << i);
      CHECK(alone[i].report.status == simulate::RunStatus::finished);
      CHECK(same(alone[i], abreast[i]));
    }
  }
  simulate::force_instruction_set("");
  // Not all babies are treated alike, and all rules have acted on somebody.
  std::set<std::vector<double>> ways;
  std::set<std::size_t> rules;
  for (const auto& r : alone) {
    std::vector<double> way;
    for (const auto& done : r.done) way.push_back(done.at), rules.insert(done.rule);
    ways.insert(way);
  }
  CHECK(ways.size() > 5);
  CHECK(rules.size() == 6);
}

TEST_CASE("a look alone changes nothing that a look alone would not", "[protocol]") {
  // A rule that never holds: the same bits as no rule, whatever it reads.
  Protocol silent, idle;
  idle.readings = lively().readings;
  idle.rules = {rule({below(-1)}, small, 9, 1)};
  const Babies a(silent, 3), b(idle, 3);
  std::vector<simulate::Result> one(3), other(3);
  simulate::run(a.jobs, one);
  simulate::run(b.jobs, other);
  for (std::size_t i = 0; i < 3; ++i) CHECK(same(one[i], other[i]));
}

TEST_CASE("a deed by rule is the deed of the timeline", "[protocol]") {
  Protocol by_rule, by_clock;
  by_rule.rules = {rule({}, small)};
  by_rule.rules[0].from = 2;
  const Babies a(by_rule, 2);
  Babies b(by_clock, 2);
  for (auto& c : b.cases) c.timeline.push_back({"bolus", 2.0, small});
  std::vector<simulate::Result> one(2), other(2);
  simulate::run(a.jobs, one);
  simulate::run(b.jobs, other);
  for (std::size_t i = 0; i < 2; ++i) {
    REQUIRE(one[i].done.size() == 1);
    CHECK(one[i].done[0].at == 2.0);
    one[i].done.clear();
    CHECK(same(one[i], other[i]));
  }
}

}  // namespace
}  // namespace serosa::care
