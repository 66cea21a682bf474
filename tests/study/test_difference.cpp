// SPDX-License-Identifier: Apache-2.0
#include "study/difference.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "baby/parameters.hpp"
#include "files/parameter_file.hpp"
#include "simulate/run.hpp"

namespace {

using namespace serosa;
namespace out = simulate::output;
namespace part = study::part;
using Catch::Matchers::WithinAbs;

constexpr double minute = 1.0 / 60;
const std::vector<double> times{0, 0.5, 2, 6};

// Volumes here are a few hundred mL; what is left are roundings of their sums.
constexpr double rounding = 1e-9;

baby::Parameters<double> shipped_parameters() {
  std::vector<files::ParameterDeclaration> declared;
  for (const auto& p : baby::parameter_list) declared.push_back({p.name, p.unit});
  files::Problems problems;
  const auto entries =
      files::read_parameters(SEROSA_MODELS "/parameters", declared, nullptr, problems);
  problems.refuse_if_any();
  baby::Parameters<double> p;
  std::size_t i = 0;
#define SEROSA_TAKE(name, unit) p.name = entries[i++].model_value;
  SEROSA_PARAMETERS(SEROSA_TAKE)
#undef SEROSA_TAKE
  return p;
}

const baby::Parameters<double>& parameters() {
  static const auto p = shipped_parameters();
  return p;
}

/// An invented baby with its bowel outside.
care::Case exposed() {
  care::Case c;
  c.name = "exposed";
  c.baby.weight = 2560;
  c.baby.gestation = 36;
  c.room = {"delivery", 25, 24, 0.45, 0.05, 101.325};
  c.until = 6;
  c.timeline = {{"warmer", -20 * minute, care::SetWarmer{{"full", 300}}},
                {"dry", 1 * minute, care::DrySkin{}}};
  return c;
}

void add(care::Case& c, care::Act act) {
  c.timeline.push_back(std::move(act));
  std::stable_sort(c.timeline.begin(), c.timeline.end(),
                   [](const auto& a, const auto& b) { return a.at < b.at; });
}

care::Cover film() {
  care::Cover c;
  c.name = "film";
  c.film = true;
  c.permeance = 0.4;
  c.warmer_transmittance = 0.85;
  c.warmer_absorptance = 0.15;
  c.holds_fluid = true;
  return c;
}

/// Wrapped, drained, given fluids, bled: every route and store at work.
care::Case busy() {
  care::Case c = exposed();
  c.name = "busy";
  add(c, {"wrap", 3 * minute, care::CoverBowel{film(), 2, 0.9, 4, minute}});
  add(c, {"tube", 10 * minute, care::PassTube{}});
  add(c, {"drain", 12 * minute, care::FreeDrainage{}});
  add(c, {"maintenance", 0.5, care::Infuse{{"glucose", 0, 0, 100}, 2.5}});
  add(c, {"bolus", 1, care::Bolus{{"saline", 154, 154}, 10, 0.5}});
  add(c, {"albumin", 2, care::Bolus{{"albumin", 140, 120, 0, 45}, 5, 0.5}});
  add(c, {"sample", 1.5, care::LoseBlood{1, 0, 0.02}});
  add(c, {"blood", 3,
          care::Bolus{{"red cells", 100, 100, 0, 5, 0.6}, 5, 1, care::Purpose::blood_product}});
  return c;
}

simulate::Result run(const care::Case& c) {
  const simulate::Job job{&c, &parameters(), times};
  simulate::Result result;
  simulate::run_scalar({&job, 1}, {&result, 1});
  return result;
}

/// A result whose numbers are invented but whose accounts close as those of a run must.
simulate::Result invented(unsigned seed) {
  std::mt19937 generator(seed);
  std::uniform_real_distribution<double> some(0.5, 80);
  simulate::Result r;
  auto& b = r.body;
  b.clamped_blood_volume = 200 + some(generator);
  b.plasma_water = 110;
  b.red_cell_water = 60;
  b.interstitial_water = 800;
  b.cell_water = 900;
  b.wall_water = 20;
  b.stomach_water = 12;
  b.lumen_water = 15;
  const double surface_at_birth = 3;
  const double water_at_birth = 110 + 60 + 800 + 900 + 20 + 12 + 15 + surface_at_birth;
  r.values.assign(times.size() * out::count, 0.0);
  for (std::size_t i = 0; i < times.size(); ++i) {
    double* v = r.values.data() + i * out::count;
    double stores = 0;
    for (const auto o : {out::interstitial_water, out::cell_water, out::wall_water,
                         out::stomach_water, out::lumen_water, out::surface_water})
      stores += v[o] = 10 + some(generator);
    double lost = 0;
    for (const auto o : {out::skin_loss, out::bowel_evaporation, out::airway_loss, out::urine,
                         out::gastric_drainage, out::bowel_drip, out::blood_loss})
      lost += v[o] = some(generator);
    v[out::oxidation_water] = some(generator);
    v[out::given_total] = some(generator);
    v[out::external_deficit] = lost - v[out::oxidation_water] - v[out::given_total];
    const double blood_water = water_at_birth - v[out::external_deficit] - stores;
    v[out::plasma_water] = 0.6 * blood_water;
    v[out::red_cell_water] = 0.4 * blood_water;
    v[out::blood_volume] = blood_water + some(generator);
    v[out::circulating_deficit] = b.clamped_blood_volume - v[out::blood_volume];
    v[out::third_space] = v[out::wall_water] + v[out::lumen_water] + v[out::surface_water] -
                          b.wall_water - b.lumen_water - surface_at_birth;
  }
  return r;
}

void check_adds_up(const simulate::Result& a, const simulate::Result& b) {
  for (std::size_t i = 0; i < times.size(); ++i) {
    const auto d = study::difference(a, b, times, i);
    double routes = 0, all = 0;
    for (std::size_t p = 0; p < part::count; ++p) {
      const double gap = d.gap(static_cast<part::Index>(p));
      all += gap;
      if (study::part_list[p].group == part::Group::route) routes += gap;
    }
    CHECK_THAT(routes, WithinAbs(d.external(), rounding));
    CHECK_THAT(all, WithinAbs(d.circulating(), rounding));
    CHECK_THAT(d.first.sum_of_routes(), WithinAbs(d.first.external, rounding));
    CHECK_THAT(d.second.sum_of_parts(), WithinAbs(d.second.circulating, rounding));
  }
}

}  // namespace

TEST_CASE("the parts of a difference add up on invented results") {
  for (unsigned seed = 0; seed < 50; ++seed) check_adds_up(invented(seed), invented(seed + 1000));
}

TEST_CASE("the parts of a difference add up on real runs") {
  const auto bare = run(exposed());
  const auto wrapped = run(busy());
  REQUIRE(bare.report.status == simulate::RunStatus::finished);
  REQUIRE(wrapped.report.status == simulate::RunStatus::finished);
  check_adds_up(bare, wrapped);
  CHECK(study::difference(bare, wrapped, times, 3).same_start);
}

TEST_CASE("positive makes the second deficit larger") {
  auto c = exposed();
  auto d = exposed();
  add(d, {"wrap", 3 * minute, care::CoverBowel{film(), 2, 0.95, 0, minute}});
  const auto bare = run(c), wrapped = run(d);
  // From wrapped to bare, more evaporates, and that alone raises the deficit.
  const auto gap = study::difference(wrapped, bare, times, 2);
  CHECK(gap.gap(part::bowel_evaporation) > 0);
  CHECK_THAT(gap.gap(part::bowel_evaporation),
             WithinAbs(bare.at(2, out::bowel_evaporation) - wrapped.at(2, out::bowel_evaporation),
                       rounding));
  // Turned round, every sign turns.
  const auto back = study::difference(bare, wrapped, times, 2);
  for (std::size_t p = 0; p < part::count; ++p)
    CHECK(back.gap(static_cast<part::Index>(p)) == -gap.gap(static_cast<part::Index>(p)));

  // Fluid that is given makes the external deficit smaller.
  auto e = exposed();
  add(e, {"bolus", 0.6, care::Bolus{{"saline", 154, 154}, 10, 0.5}});
  const auto filled = study::difference(bare, run(e), times, 2);
  CHECK_THAT(filled.gap(part::given), WithinAbs(-25.6, rounding));
  CHECK(filled.external() < 0);
}

TEST_CASE("a case differs from itself by nothing") {
  const auto bare = run(exposed());
  const auto d = study::difference(bare, bare, times, 3);
  for (std::size_t p = 0; p < part::count; ++p) CHECK(d.gap(static_cast<part::Index>(p)) == 0);
}

TEST_CASE("another start is said and the parts still add up") {
  auto early = exposed(), late = exposed();
  late.baby.cord_clamped_at = 3 * minute;
  const auto a = run(early), b = run(late);
  CHECK_FALSE(study::difference(a, b, times, 2).same_start);
  check_adds_up(a, b);
}

TEST_CASE("runs that can't be compared are refused by name") {
  const auto a = invented(1), b = invented(2);
  const auto reason = [&](auto&& call) {
    try {
      call();
    } catch (const study::NotComparable& refusal) {
      return refusal.reason();
    }
    FAIL("was not refused");
    return study::NotComparable::Reason::other_times;
  };
  using Reason = study::NotComparable::Reason;
  auto shorter = b;
  shorter.values.resize(2 * out::count);
  CHECK(reason([&] { study::difference(a, shorter, times, 0); }) == Reason::other_times);
  auto failed = b;
  std::fill(failed.values.begin() + 2 * out::count, failed.values.end(),
            std::numeric_limits<double>::quiet_NaN());
  CHECK(reason([&] { study::difference(a, failed, times, 2); }) == Reason::not_reached);
  CHECK(reason([&] { study::deficit_against_twin(a, failed, 3); }) == Reason::not_reached);
  const std::vector<double> before{-0.2, 0, 1, 2};
  CHECK(reason([&] { study::difference(a, b, before, 0); }) == Reason::before_birth);
  CHECK_THROWS_AS(study::difference(a, b, times, 4), std::out_of_range);
}

TEST_CASE("a deficit against a twin is the volume that the twin has more") {
  auto inside = exposed();
  inside.exposed = false;
  const auto twin = run(inside), bare = run(exposed());
  CHECK(study::deficit_against_twin(twin, twin, 3) == 0);
  CHECK(study::deficit_against_twin(bare, twin, 3) > 0);
  // Both count from the same volume at clamping, so it cancels.
  CHECK_THAT(study::deficit_against_twin(bare, twin, 3),
             WithinAbs(bare.at(3, out::circulating_deficit) - twin.at(3, out::circulating_deficit),
                       rounding));
}
