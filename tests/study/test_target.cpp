// SPDX-License-Identifier: Apache-2.0
// How much fluid: what the search answers, and the laws it keeps.
#include "study/target.hpp"

#include <cmath>
#include <span>

#include "files/study_file.hpp"
#include "laws/shipped.hpp"
#include "study/batch.hpp"

namespace serosa::study {
namespace {

using Catch::Matchers::WithinAbs;
using laws::models;

TargetQuestion question(const care::Case& c) {
  TargetQuestion q;
  q.c = &c;
  q.fluid = {"balanced", 140, 98};
  q.at = 4;
  q.low = -1;
  q.high = 1;
  return q;
}

TargetAnswer answer(const TargetQuestion& q, const baby::Parameters<double>& p) {
  return targets(q, std::span(&p, 1)).front();
}

double deficit(const TargetAnswer& a) {
  return a.at_middle.at(1, simulate::output::circulating_deficit) / a.at_middle.body.weight;
}

TEST_CASE("what is found brings the deficit where it was asked to be", "[target]") {
  const auto f = laws::read("to-be-filled");
  const auto a = answer(question(f.c), f.parameters);
  REQUIRE(a.end == TargetEnd::found);
  CHECK(a.without > 1);
  CHECK(0 < a.least);
  CHECK(a.least < a.middle);
  CHECK(a.middle < a.most);
  // 0.01 mL/kg of fluid change the deficit by less than that.
  CHECK_THAT(deficit(a), WithinAbs(0, 0.01));
}

TEST_CASE("it says when none is needed, none does, or there is too much already", "[target]") {
  const auto f = laws::read("to-be-filled");
  auto q = question(f.c);
  q.high = 30;
  CHECK(answer(q, f.parameters).end == TargetEnd::none_needed);
  CHECK(answer(q, f.parameters).least == 0);
  q = question(f.c);
  q.most = 0.5;
  CHECK(answer(q, f.parameters).end == TargetEnd::no_fluid_does);
  q = question(f.c);
  q.low = 20, q.high = 30;
  CHECK(answer(q, f.parameters).end == TargetEnd::over_filled);
  auto bled = f;
  bled.c.timeline.push_back({"bleed", 0.5, care::LoseBlood{0, 0.85, 0.2}});
  CHECK(answer(question(bled.c), bled.parameters).end == TargetEnd::failed);
}

TEST_CASE("answers side by side are answers alone", "[target]") {
  const auto f = laws::read("to-be-filled");
  std::vector<baby::Parameters<double>> sets;
  for (const double factor : {0.5, 1.0, 1.5, 3.0}) {
    sets.push_back(f.parameters);
    sets.back().body_filtration_coefficient *= factor;
  }
  const auto q = question(f.c);
  const auto together = targets(q, sets);
  for (std::size_t i = 0; i < sets.size(); ++i) {
    const auto alone = answer(q, sets[i]);
    CHECK(alone.end == together[i].end);
    CHECK(alone.least == together[i].least);
    CHECK(alone.middle == together[i].middle);
    CHECK(alone.most == together[i].most);
  }
}

/// Some babies, drawn as the shipped cohort's, by their parameters and bowels.
std::vector<files::CaseFile> some_babies(const std::string& name) {
  std::vector<files::CaseFile> all;
  for (int i = 0; i < 8; ++i) {
    auto f = laws::read(name);
    f.c.baby.weight = 1600 + 300 * i;
    f.c.baby.gestation = 33 + i;
    f.c.baby.herniated = 0.55 + 0.05 * i;
    f.c.baby.spread = 0.05 * i;
    f.c.baby.thickening = 1 + 0.1 * i;
    all.push_back(f);
  }
  return all;
}

care::CoverBowel& wrap_of(care::Case& c) {
  for (auto& act : c.timeline)
    if (auto* d = std::get_if<care::CoverBowel>(&act.deed)) return *d;
  throw std::logic_error("no wrap");
}
void wrap_at(care::Case& c, double hour) {
  for (auto& act : c.timeline)
    if (std::holds_alternative<care::CoverBowel>(act.deed)) act.at = hour;
  put_in_order(c);
}

void hold_temperatures(care::Case& c) {
  std::size_t heat = 0;
  for (const auto& info : baby::control_list) {
    if (info.name == std::string_view("heat_flows")) break;
    ++heat;
  }
  c.timeline.insert(c.timeline.begin(),
                    {"held", c.timeline.front().at, care::SetControl{heat, 0.0}});
}

struct Wrap {
  double seal, at;
};
constexpr Wrap leakier[] = {{0.99, 0.05}, {0.95, 0.05}, {0.8, 0.05}, {0.5, 0.05}, {0.1, 0.05}};
constexpr Wrap later[] = {{0.95, 0.02}, {0.95, 0.1}, {0.95, 0.25}, {0.95, 0.5}, {0.95, 1.5}};

TEST_CASE(
    "law: a leakier or later wrap never lowers any baby's bowel evaporation, fluids fixed, "
    "temperatures held",
    "[target][laws]") {
  for (const auto& list : {leakier, later}) {
    for (auto baby : some_babies("with-fluid")) {
      hold_temperatures(baby.c);
      double before = -1;
      for (const Wrap& w : std::vector<Wrap>(list, list + 5)) {
        care::Case c = baby.c;
        wrap_of(c).seal = w.seal;
        wrap_at(c, w.at);
        const std::vector<double> times{24};
        const simulate::Job job{&c, &baby.parameters, times};
        simulate::Result r;
        simulate::run({&job, 1}, {&r, 1});
        const double lost = r.at(0, simulate::output::bowel_evaporation);
        INFO("weight " << c.baby.weight << ", seal " << w.seal << ", at " << w.at);
        // A thousandth is what the solver's tolerance leaves open.
        CHECK(lost > before - 1e-3 * std::abs(before));
        before = lost;
      }
    }
  }
}

TEST_CASE(
    "law: the fluid asked for is never smaller when the wrap leaks more at equal tension or comes "
    "later at no tension, temperatures held",
    "[target][laws]") {
  struct Kind {
    std::span<const Wrap> list;
    double tension;  // mmHg
  };
  // Under tension from a seal of 95 % on; what happens in a tighter wrap is the next test.
  for (const auto& [list, tension] :
       {Kind{leakier, 0}, Kind{std::span(leakier).subspan(1), 3}, Kind{later, 0}}) {
    for (auto& baby : some_babies("to-be-filled")) {
      hold_temperatures(baby.c);
      double before = 0;
      for (const Wrap& w : list) {
        care::Case c = baby.c;
        wrap_of(c).seal = w.seal;
        wrap_of(c).tension = tension;
        wrap_at(c, w.at);
        auto q = question(c);
        q.from = 2;
        const auto a = answer(q, baby.parameters);
        INFO("weight " << c.baby.weight << ", seal " << w.seal << ", at " << w.at << ", tension "
                       << tension);
        REQUIRE((a.end == TargetEnd::found || a.end == TargetEnd::none_needed));
        // Twice the tolerance of the search.
        CHECK(a.least > before - 0.02);
        before = a.least;
      }
    }
  }
}

// The law has an exception, which is the model's own and not the solver's: it is the same at a
// tolerance of 1e-8. What oozes and stays under the tightest wrap is plasma's water with its salt
// and comes from the extracellular space alone; water that evaporates instead leaves the salt
// behind and draws on the cells as well. So little is exchanged between these seals that the
// circulation misses a little less with the leak.
TEST_CASE("exception: under tension a seal of 95 % may ask for a trace less than one of 99 %",
          "[target][laws]") {
  double most = 0;
  for (auto& baby : some_babies("to-be-filled")) {
    hold_temperatures(baby.c);
    std::vector<double> least, cells, surface;
    for (const Wrap& w : {leakier[0], leakier[1]}) {
      care::Case c = baby.c;
      wrap_of(c).seal = w.seal;
      wrap_of(c).tension = 3;
      wrap_at(c, w.at);
      auto q = question(c);
      q.from = 2;
      const auto a = answer(q, baby.parameters);
      least.push_back(a.least);
      cells.push_back(a.at_middle.at(1, simulate::output::cell_water));
      surface.push_back(a.at_middle.at(1, simulate::output::surface_water));
    }
    INFO("weight " << baby.c.baby.weight);
    CHECK(least[0] - least[1] < 0.05);  // mL/kg, of about 13
    CHECK(cells[0] > cells[1]);
    CHECK(surface[0] > surface[1]);
    most = std::max(most, least[0] - least[1]);
  }
  // The day it is gone, this text and the documentation must say so.
  CHECK(most > 0.02);
}

}  // namespace
}  // namespace serosa::study
