// SPDX-License-Identifier: Apache-2.0
// Every deed changes exactly what it should; what is given sums up exactly.
#include <set>

#include "care/carer.hpp"
#include "laws/reference_newborn.hpp"

namespace serosa::care {
namespace {

using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;
using Names = std::set<std::string_view>;

/// A carer at the bedside: one case, one baby, no time but that of the acts.
struct Bedside {
  Case c;
  baby::Subject<double> s{};
  baby::State<double> x{};
  Carer<double> carer;

  explicit Bedside(std::vector<Act> timeline, bool exposed = true) {
    c = laws::read("exposed").c;
    c.exposed = exposed;
    c.timeline = std::move(timeline);
    s.parameters = laws::models().values();
    s.body = baby::prepare(c.baby, s.parameters);
    Carer<double>::at_rest(c, s.parameters, s.controls);
    x = baby::birth_state(s);
    carer.start(c);
  }

  /// Does everything up to `t`, as the solver does: stop by stop.
  void until(double t) {
    while (carer.next() <= t) carer.act(carer.next(), x, s);
  }
};

struct Changed {
  Names controls, states;
};

/// What the last of these acts changes, at hour 2. What comes before is at hour 1.
Changed changed_by(std::vector<Deed> before, Deed deed, bool exposed = true) {
  std::vector<Act> timeline;
  for (auto& d : before) timeline.push_back({"before", 1.0, std::move(d)});
  timeline.push_back({"deed", 2.0, std::move(deed)});
  Bedside b(std::move(timeline), exposed);
  b.until(1.999);
  auto controls = b.s.controls;
  const auto x = b.x;
  b.until(2.0);
  Changed changed;
  std::size_t i = 0;
  for (const auto& info : baby::control_list) {
    if (baby::control(controls, i) != baby::control(b.s.controls, i))
      changed.controls.insert(info.name);
    ++i;
  }
  for (i = 0; i < x.size(); ++i)
    if (x[i] != b.x[i]) changed.states.insert(baby::state_list[i].name);
  return changed;
}

void check(const Changed& changed, const Names& controls, const Names& states = {}) {
  const auto list = [](const Names& names) {
    std::string text;
    for (const auto n : names) text += std::string(n) + ' ';
    return text;
  };
  CHECK(list(changed.controls) == list(controls));
  CHECK(list(changed.states) == list(states));
}

const Fluid saline{"saline", 154, 154, 0, 0, 0};
const Fluid plasma{"plasma", 150, 100, 5, 50, 0};
const Fluid red_cells{"red cells", 60, 50, 0, 10, 0.6};

Cover film() {
  Cover f;
  f.film = true;
  f.permeance = 0.4;
  f.gap = 0.002;
  f.warmer_transmittance = 0.85;
  f.warmer_absorptance = 0.15;
  f.longwave_transmittance = 0.3;
  f.holds_fluid = true;
  return f;
}
Cover gauze() {
  Cover g;
  g.dressing = true;
  g.dressing_resistance = 0.006;
  g.dressing_capacity = 1500;
  return g;
}

TEST_CASE("birth happens at hour 0 and changes nothing else", "[care]") {
  Bedside b({});
  CHECK(b.carer.next() == 0.0);
  CHECK(b.s.controls.born == 0.0);
  b.until(0.0);
  CHECK(b.s.controls.born == 1.0);
  CHECK(std::isinf(b.carer.next()));
}

TEST_CASE("warmer, room and clothing", "[care]") {
  check(changed_by({}, SetWarmer{{"full", 325, false, 36.5}}), {"irradiance"});
  check(changed_by({}, SetWarmer{{"servo", 400, true, 36.7}}),
        {"irradiance", "servo", "servo_set_point"});
  check(changed_by({SetWarmer{{"servo", 400, true, 36.5}}}, MoveTo{{"x", 20, 19, 0.3, 0.2, 95}}),
        {"air_temperature", "wall_temperature", "humidity", "air_speed", "air_pressure",
         "irradiance", "servo"});
  check(changed_by({}, PutOnHat{}), {"hat"});
  check(changed_by({PutOnHat{}}, PutOnHat{false}), {"hat"});
  check(changed_by({}, BeActive{1.4}), {"activity"});
  check(changed_by({}, LayOutFilm{}), {});
  check(changed_by({}, ClampCord{}), {});
  check(changed_by({}, PassTube{}), {});
}

TEST_CASE("drying takes fluid off the skin and keeps count", "[care]") {
  check(changed_by({}, DrySkin{}), {}, {"head_wetness", "upper_wetness", "lower_wetness"});
  check(changed_by({}, DrySkin{0.9, true, false}), {}, {"head_wetness"});
  check(changed_by({}, DrySkin{0.9, false, true}), {}, {"upper_wetness", "lower_wetness"});
  Bedside b({{"dry", 1.0, DrySkin{0.9}}});
  const double wet = simulate::account::wetness(b.x);
  b.until(1.0);
  CHECK_THAT(b.carer.given(1.0).towelled, WithinRel(0.9 * wet, 1e-14));
  CHECK_THAT(simulate::account::wetness(b.x), WithinRel(0.1 * wet, 1e-13));
}

TEST_CASE("the bowel: lie, covers, dressing", "[care]") {
  check(changed_by({}, Place{Position::lateral_supported}), {"position_congestion"});
  check(changed_by({}, CoverBowel{film(), 2, 0.9, 5.0, 0.1, {}}),
        {"cover_from", "cover_until", "film", "permeance", "layers", "gap", "leak",
         "warmer_transmittance", "warmer_absorptance", "longwave_transmittance", "tension",
         "holds_fluid", "dressing_capacity"});
  check(changed_by({CoverBowel{film(), 2, 0.9, 5.0, 0.1, {}}}, UncoverBowel{}),
        {"cover_from", "cover_until", "film", "tension", "holds_fluid"});
  check(changed_by({}, CoverBowel{gauze(), 1, 1.0, 0.0, 0.1, saline}),
        {"cover_from", "cover_until", "dressing", "dressing_resistance", "dressing_capacity"},
        {"dressing_water", "dressing_sodium", "dressing_chloride", "bowel_heat"});
}

TEST_CASE("the cover's controls are those of the cover", "[care]") {
  Bedside b({{"cover", 1.0, CoverBowel{film(), 3, 0.85, 7.0, 0.2, {}}}});
  b.until(1.0);
  const auto& c = b.s.controls;
  CHECK(c.cover_from == 1.0);
  CHECK(c.cover_until == 1.2);
  CHECK(c.permeance == 0.4);
  CHECK(c.layers == 3.0);
  CHECK_THAT(c.leak, WithinAbs(0.15, 1e-15));
  CHECK(c.tension == 7.0);
  CHECK(b.carer.next() == 1.2);  // the last fold is a stop
  b.until(1.2);
  CHECK(std::isinf(b.carer.next()));
}

TEST_CASE("a dressing holds what was put on until it is taken off", "[care]") {
  Bedside b({{"gauze", 1.0, CoverBowel{gauze(), 1, 1.0, 0.0, 0.1, saline}},
             {"again", 2.0, Rewet{saline}},
             {"off", 3.0, UncoverBowel{}}});
  using namespace baby::state;
  b.until(1.5);
  const double full = 1500 * b.s.body.packed_area;
  CHECK_THAT(b.x[dressing_water], WithinRel(full, 1e-14));
  CHECK_THAT(b.x[dressing_sodium], WithinRel(full * 0.154, 1e-14));
  CHECK(b.carer.given(1.5).dressing_water == b.x[dressing_water]);
  b.x[dressing_water] *= 0.25;  // dried; the salt stayed
  b.until(2.0);
  CHECK_THAT(b.x[dressing_water], WithinRel(full, 1e-14));
  CHECK_THAT(b.x[dressing_sodium], WithinRel(1.75 * full * 0.154, 1e-13));
  b.until(3.0);
  CHECK(b.x[dressing_water] == 0.0);
  CHECK(b.x[dressing_sodium] == 0.0);
  // 0.75 of a filling evaporated: on balance that was put on.
  CHECK_THAT(b.carer.given(3.0).dressing_water, WithinRel(0.75 * full, 1e-12));
  CHECK_THAT(b.carer.given(3.0).dressing_sodium, WithinAbs(0.0, 1e-12));
}

TEST_CASE("taking a film off leaves the temperature as it is", "[care]") {
  Bedside b({{"gauze", 1.0, CoverBowel{gauze(), 1, 1.0, 0.0, 0.1, saline}},
             {"off", 2.0, UncoverBowel{}}});
  b.until(1.5);
  const double before = baby::temperatures(b.x, b.s).bowel;
  b.until(2.0);
  CHECK_THAT(baby::temperatures(b.x, b.s).bowel, WithinRel(before, 1e-12));
}

TEST_CASE("stomach, breath and gas", "[care]") {
  check(changed_by({}, FreeDrainage{}), {"free_drainage"});
  check(changed_by({FreeDrainage{}}, FreeDrainage{false}), {"free_drainage"});
  check(changed_by({}, Breathe{Breathing::mask}), {"gas_entry"});
  check(changed_by({}, Breathe{Breathing::tube}), {"gas_entry", "humidified_gas"});
  check(changed_by({}, Breathe{Breathing::spontaneous}), {});
  Bedside b({{"aspirate", 1.0, Aspirate{}}});
  using namespace baby::state;
  b.until(0.5);
  b.x[bowel_gas] = 0.5;
  const auto before = b.x;
  const double core = baby::temperatures(b.x, b.s).core;
  b.until(1.0);
  const double taken = before[stomach_water] - b.x[stomach_water];
  CHECK_THAT(taken, WithinRel(b.s.parameters.aspirated_share * before[stomach_water], 1e-14));
  CHECK(b.x[gastric_drainage] == taken);
  CHECK_THAT(b.x[gastric_drainage_sodium],
             WithinRel(before[stomach_sodium] - b.x[stomach_sodium], 1e-13));
  CHECK_THAT(b.x[bowel_gas], WithinRel(0.5 * (1 - b.s.parameters.aspirated_share), 1e-14));
  CHECK_THAT(baby::temperatures(b.x, b.s).core, WithinRel(core, 1e-12));
}

TEST_CASE("putting the bowel back and closing", "[care]") {
  check(changed_by({}, ReduceBowel{0.5}), {"exposed_fraction", "abdominal_pressure"});
  check(changed_by({CoverBowel{film(), 2, 0.9, 5.0, 0.1, {}}}, CloseAbdomen{}),
        {"exposed_fraction", "abdominal_pressure", "position_congestion", "cover_from",
         "cover_until", "film", "tension", "holds_fluid"});
  Bedside b({{"half", 1.0, ReduceBowel{0.5}},
             {"half again", 2.0, ReduceBowel{0.5}},
             {"close", 3.0, CloseAbdomen{}}});
  b.until(2.0);
  CHECK(b.s.controls.exposed_fraction == 0.25);
  CHECK_THAT(b.s.controls.abdominal_pressure,
             WithinRel(b.s.parameters.closure_abdominal_pressure * 0.75 * 0.75, 1e-14));
  b.until(3.0);
  CHECK(b.s.controls.exposed_fraction == 0.0);
  CHECK(b.s.controls.abdominal_pressure == b.s.parameters.closure_abdominal_pressure);
}

TEST_CASE("what is held is held", "[care]") {
  check(changed_by({}, SetControl{laws::control_named("kidney_works"), 0.0}), {"kidney_works"});
}

TEST_CASE("maintenance runs until it is changed or stopped, and sums up exactly", "[care]") {
  Bedside b({{"line", 1.0, Infuse{saline, 4.0}},
             {"more", 3.0, Infuse{plasma, 8.0}},
             {"stop", 4.0, StopInfusion{}}});
  const double kg = b.s.body.weight;
  b.until(2.0);
  CHECK_THAT(b.s.controls.given_water, WithinRel(4.0 * kg, 1e-14));
  CHECK_THAT(b.s.controls.given_sodium, WithinRel(4.0 * kg * 0.154, 1e-14));
  CHECK_THAT(b.carer.given(2.0).water, WithinRel(4.0 * kg, 1e-14));
  b.until(3.0);
  CHECK_THAT(b.s.controls.given_protein, WithinRel(8.0 * kg * 0.050, 1e-14));
  CHECK_THAT(b.carer.glucose_rate(), WithinRel(8.0 * kg * 0.005, 1e-14));
  b.until(10.0);
  CHECK(b.s.controls.given_water == 0.0);
  CHECK(b.carer.glucose_rate() == 0.0);
  const auto g = b.carer.given(10.0);
  CHECK_THAT(g.volume[0], WithinRel((2 * 4.0 + 8.0) * kg, 1e-14));
  CHECK_THAT(g.sodium, WithinRel((2 * 4.0 * 0.154 + 8.0 * 0.150) * kg, 1e-14));
  CHECK_THAT(g.chloride, WithinRel((2 * 4.0 * 0.154 + 8.0 * 0.100) * kg, 1e-14));
  CHECK_THAT(g.protein, WithinRel(8.0 * 0.050 * kg, 1e-14));
  CHECK_THAT(g.heat, WithinRel(b.s.parameters.specific_heat_water *
                                   b.s.parameters.infusion_temperature * g.water,
                               1e-13));
}

TEST_CASE("a bolus ends when it should, whatever else happens, and has run in to the drop",
          "[care]") {
  std::vector<Act> timeline{{"bolus", 1.0, Bolus{saline, 10.0, 0.7}},
                            {"second", 1.3, Bolus{saline, 5.0, 0.1}}};
  for (int i = 0; i < 50; ++i) timeline.push_back({"hat", 1.31 + 0.01 * i, PutOnHat{i % 2 == 0}});
  Bedside b(std::move(timeline));
  const double kg = b.s.body.weight;
  b.until(1.3);
  CHECK_THAT(b.s.controls.given_water, WithinRel((10.0 / 0.7 + 5.0 / 0.1) * kg, 1e-14));
  b.until(1.5);
  CHECK_THAT(b.s.controls.given_water, WithinRel(10.0 / 0.7 * kg, 1e-14));
  b.until(5.0);
  CHECK(b.s.controls.given_water == 0.0);
  CHECK_THAT(b.carer.given(5.0).volume[1], WithinRel(15.0 * kg, 1e-13));
  CHECK(b.carer.given(5.0).volume[0] == 0.0);
}

TEST_CASE("red cells bring their own water", "[care]") {
  Bedside b({{"blood", 1.0, Bolus{red_cells, 10.0, 2.0, Purpose::blood_product}}});
  b.until(1.0);
  const double rate = 5.0 * b.s.body.weight;
  CHECK_THAT(b.s.controls.given_water, WithinRel(rate * 0.4, 1e-14));
  CHECK_THAT(b.s.controls.given_red_cell_water,
             WithinRel(rate * 0.6 * b.s.parameters.red_cell_water_fraction, 1e-14));
  b.until(3.0);
  CHECK_THAT(b.carer.given(3.0).volume[3], WithinRel(2.0 * rate, 1e-14));
}

TEST_CASE("blood is lost by volume, by share, or both, and stops", "[care]") {
  Bedside b({{"sample", 1.0, LoseBlood{2.0, 0.0, 0.1}}, {"tear", 2.0, LoseBlood{0.0, 0.1, 0.5}}});
  b.until(1.0);
  CHECK_THAT(b.s.controls.bleeding, WithinRel(2.0 * b.s.body.weight / 0.1, 1e-14));
  b.until(1.5);
  CHECK(b.s.controls.bleeding == 0.0);
  b.until(2.0);
  CHECK_THAT(b.s.controls.bleeding, WithinRel(0.1 * b.s.body.clamped_blood_volume / 0.5, 1e-12));
  b.until(3.0);
  CHECK(b.s.controls.bleeding == 0.0);
}

TEST_CASE("what was drained in one period runs in over the next", "[care]") {
  Bedside b({{"replace", 1.0, ReplaceGastricLoss{saline, 4.0, 0.5}}});
  using namespace baby::state;
  b.until(1.0);
  CHECK(b.s.controls.given_water == 0.0);
  CHECK(b.carer.next() == 5.0);
  b.x[gastric_drainage] += 12.0;
  b.until(5.0);
  CHECK_THAT(b.s.controls.given_water, WithinRel(0.5 * 12.0 / 4.0, 1e-14));
  b.x[gastric_drainage] += 20.0;
  b.until(9.0);
  CHECK_THAT(b.s.controls.given_water, WithinRel(0.5 * 20.0 / 4.0, 1e-14));
  CHECK_THAT(b.carer.given(9.0).volume[2], WithinRel(6.0, 1e-14));
  b.until(13.0);
  CHECK(b.s.controls.given_water == 0.0);
  CHECK_THAT(b.carer.given(13.0).volume[2], WithinRel(16.0, 1e-14));
}

TEST_CASE("acts of the same hour are done in the order of the timeline", "[care]") {
  Bedside b({{"on", 1.0, PutOnHat{true}}, {"off", 1.0, PutOnHat{false}}});
  b.until(1.0);
  CHECK(b.s.controls.hat == 0.0);
}

TEST_CASE("the times of acts may carry derivatives", "[care]") {
  using Dual = physics::Dual<1>;
  Case c = laws::read("exposed").c;
  c.timeline = {{"bolus", 1.0, Bolus{saline, 10.0, 0.5}}};
  Carer<Dual> carer;
  carer.start(c, {Dual::variable(1.0, 0)});
  const Dual next = carer.next();
  CHECK(next.value == 0.0);  // the birth first
  CHECK(next.slope[0] == 0.0);
}

}  // namespace
}  // namespace serosa::care
