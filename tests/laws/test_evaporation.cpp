// SPDX-License-Identifier: Apache-2.0
// Laws of evaporation from the bowel, with the surface temperature held and the wetness equal: more
// draught, drier air, a warmer surface, more area, less cover, a later cover, a leakier seal never
// give less. Without leak and permeance nothing passes the cover. Sources: Dalton's law,
// resistances in series and parallel.
#include <cmath>
#include <functional>
#include <random>

#include "baby/rates.hpp"
#include "reference_newborn.hpp"

namespace serosa::laws {
namespace {

using namespace simulate;

/// A bowel and what is around it.
struct Setting {
  double air_temperature, wall_temperature, humidity, air_speed, irradiance;
  double surface_temperature, area, spread;
  bool by_area;  ///< the area is given, else it follows from the spread
  bool covered;  ///< ever
  care::Cover cover;
  double layers, seal, from, over;  ///< of the cover; h
  bool wet;                         ///< never dries, or is dry from the start
};

Setting any_setting(std::mt19937_64& random) {
  const auto between = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  const auto chance = [&](double p) { return between(0, 1) < p; };
  Setting s;
  s.air_temperature = between(17, 31);
  s.wall_temperature = s.air_temperature + between(-3, 3);
  s.humidity = between(0.1, 0.85);
  s.air_speed = between(0, 0.5);
  s.irradiance = chance(0.5) ? between(0, 400) : 0.0;
  s.surface_temperature = between(31.5, 38.5);
  s.by_area = chance(0.5);
  s.area = between(0.005, 0.03);
  s.spread = between(0, 0.6);
  s.covered = chance(0.8);
  s.cover.film = chance(0.7);
  s.cover.dressing = !s.cover.film || chance(0.3);
  s.cover.permeance = chance(0.1) ? 0.0 : std::exp(between(std::log(0.05), std::log(30.0)));
  s.cover.gap = between(0.2e-3, 5e-3);
  s.cover.warmer_transmittance = between(0.3, 0.9);
  s.cover.warmer_absorptance = between(0.0, 1.0 - s.cover.warmer_transmittance);
  s.cover.longwave_transmittance = between(0, 0.8);
  s.cover.holds_fluid = chance(0.5);
  s.cover.dressing_resistance = between(0.001, 0.01);
  s.cover.dressing_capacity = 1e7;  // does not run dry: wetness is to be equal
  s.layers = std::floor(between(1, 5));
  s.seal = chance(0.2) ? 1.0 : between(0.4, 1.0);
  s.from = between(0.0, 1.2);
  s.over = between(0.02, 0.3);
  s.wet = chance(0.5);
  // A soaked dressing on a dry serosa is wetter than the serosa it is compared with.
  if (!s.wet) s.cover.film = true, s.cover.dressing = false;
  return s;
}

constexpr double end = 2.0;  // h
const std::vector<double> hours{0.1, 0.3, 0.6, 1.0, 1.5, 2.0};

/// The reference newborn with this bowel outside, heat held, nothing exuded; the serosa is under
/// fluid that never ends, or dry from the start.
Reference as_case(const Setting& s) {
  static const Reference reference = reference_newborn(end);
  Reference r = reference;
  std::erase_if(r.c.timeline, [](const care::Act& a) { return a.name == "hold exposed_fraction"; });
  r.c.exposed = true;
  r.c.room = {"any", s.air_temperature, s.wall_temperature, s.humidity, s.air_speed, 101.325};
  r.c.baby.bowel_temperature = s.surface_temperature;
  r.c.baby.spread = s.spread;
  if (s.by_area) r.c.baby.area = s.area;
  r.c.wet = s.wet;
  r.p.surface_fluid_at_birth = 1e6;
  r.p.surface_fluid_held = 1e12;
  r.p.serosal_conductance = 0.0;
  r.p.wall_water_fraction = 10.0;  // a wall that does not run dry
  r.p.dressing_temperature = s.surface_temperature;
  // The surface's physics holds beyond what the model can say of a newborn.
  r.p.model_sodium_lowest = r.p.model_tissue_water_lowest = 0.0;
  r.p.model_sodium_highest = r.p.model_protein_highest = 1e9;
  r.c.timeline.push_back({"warmer", 0.0, care::SetWarmer{{"any", s.irradiance, false, 36.5}}});
  if (s.covered)
    r.c.timeline.push_back(
        {"cover", s.from, care::CoverBowel{s.cover, s.layers, s.seal, 0.0, s.over, {}}});
  std::stable_sort(r.c.timeline.begin(), r.c.timeline.end(),
                   [](const auto& a, const auto& b) { return a.at < b.at; });
  return r;
}

/// Body and dressing water evaporated from the bowel by each of the hours.
std::vector<std::vector<double>> evaporated(const std::vector<Setting>& settings) {
  std::vector<Reference> cases;
  for (const auto& s : settings) cases.push_back(as_case(s));
  std::vector<Job> jobs;
  for (const auto& r : cases) jobs.push_back({&r.c, &r.p, hours});
  std::vector<Result> results(jobs.size());
  run(jobs, results);
  std::vector<std::vector<double>> sums;
  for (const auto& r : results) {
    REQUIRE(r.report.status == RunStatus::finished);
    auto& row = sums.emplace_back();
    for (std::size_t i = 0; i < hours.size(); ++i)
      row.push_back(r.at(i, output::bowel_evaporation) + r.at(i, output::dressing_evaporation));
  }
  return sums;
}

/// Evaporation, g/h, at `hour` when `wetness` of the serosa is wet.
double flow(const Setting& s, double hour, double wetness) {
  const Reference r = as_case(s);
  auto at = simulate::snapshots(r.c, r.p, std::span(&hour, 1)).at(0);
  auto& x = at.state;
  auto m = baby::moment(at.time, x, at.subject);
  const double temperature = m.temperature.bowel;
  const auto& b = at.subject.body;
  const double area = b.packed_area + (1 - m.air.wrapped) * (b.spread_area - b.packed_area);
  x[baby::state::surface_water] = -std::log(1.0 - wetness) * area * r.p.surface_wetness_scale;
  x[baby::state::bowel_heat] = temperature * baby::temperatures(x, at.subject).bowel_capacity;
  m = baby::moment(at.time, x, at.subject);
  return m.bowel.from_fluid + m.bowel.from_wall + m.bowel.from_dressing;
}

bool always(const Setting&) { return true; }
bool is_covered(const Setting& s) { return s.covered; }
/// A soaked dressing on a part-wet serosa is wetter than the serosa.
bool undressed(const Setting& s) { return !s.cover.dressing; }
bool has_film(const Setting& s) { return s.covered && s.cover.film; }

using Change = std::function<void(Setting&, double)>;

/// Few hundred random settings, each also with the change, whose strength is 0 to 1.
void never_less(const Change& change, const std::function<bool(const Setting&)>& applies,
                unsigned seed, const std::function<bool(const Setting&)>& at_a_moment = always) {
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> strength(0.02, 1.0);
  std::vector<Setting> less, more;
  while (less.size() < 320) {
    Setting s = any_setting(random);
    const double by = strength(random);
    if (!applies(s)) continue;
    less.push_back(s);
    change(s, by);
    more.push_back(s);
  }
  const auto before = evaporated(less), after = evaporated(more);
  int grew = 0;
  for (std::size_t n = 0; n < less.size(); ++n) {
    for (std::size_t i = 0; i < hours.size(); ++i) {
      INFO("setting " << n << " at " << hours[i] << " h: film " << less[n].cover.film << " covered "
                      << less[n].covered << " from " << less[n].from << " seal " << less[n].seal
                      << " permeance " << less[n].cover.permeance << " layers " << less[n].layers
                      << " dressing " << less[n].cover.dressing << " speed " << less[n].air_speed
                      << " to " << more[n].air_speed << " air " << less[n].air_temperature
                      << " surface " << less[n].surface_temperature << " wet " << less[n].wet);
      // Rounding of sums of some tens of steps.
      CHECK(after[n][i] >= before[n][i] * (1.0 - 1e-12) - 1e-12);
    }
    if (after[n].back() > before[n].back() * (1.0 + 1e-6)) ++grew;
  }
  CHECK(grew > 32);  // the change does something
  // Part wet: the flow at one moment, since wetness would not stay equal over time.
  for (std::size_t n = 0; n < less.size(); n += 4) {
    const double hour = std::uniform_real_distribution<double>(0.05, 1.9)(random);
    const double wetness = std::uniform_real_distribution<double>(0.05, 0.95)(random);
    if (!at_a_moment(less[n])) continue;
    INFO("setting " << n << " at " << hour << " h, wetness " << wetness);
    const double first = flow(less[n], hour, wetness);
    CHECK(flow(more[n], hour, wetness) >= first * (1.0 - 1e-12));
  }
}

TEST_CASE("more draught never gives less evaporation at a held surface temperature", "[laws]") {
  // A film is a surface too, and its temperature is not held: see the next test.
  never_less([](Setting& s, double by) { s.air_speed += 0.5 * by; }, always, 1,
             [](const Setting& s) { return !has_film(s); });
}
TEST_CASE("where a draught lowers what passes a film, it is because the film got colder",
          "[laws]") {
  std::mt19937_64 random(11);
  int lower = 0;
  for (int n = 0; n < 300; ++n) {
    Setting s = any_setting(random);
    s.covered = s.cover.film = true;
    s.cover.dressing = false;
    s.seal = 1.0;
    s.from = 0.0;
    s.over = 0.02;
    Setting more = s;
    more.air_speed += 0.3;
    const double calm = flow(s, 1.0, 0.5), windy = flow(more, 1.0, 0.5);
    if (windy >= calm) continue;
    ++lower;
    const double hour = 1.0;
    const auto film = [&](const Setting& at) {
      const Reference r = as_case(at);
      const auto kept = simulate::snapshots(r.c, r.p, std::span(&hour, 1)).at(0);
      return baby::moment(kept.time, kept.state, kept.subject).bowel.film_temperature;
    };
    CHECK(film(more) < film(s));
  }
  CHECK(lower > 0);
}
TEST_CASE("drier air never gives less evaporation at a held surface temperature", "[laws]") {
  never_less([](Setting& s, double by) { s.humidity *= 1.0 - 0.9 * by; }, always, 2);
}
TEST_CASE("a warmer surface never gives less evaporation", "[laws]") {
  never_less([](Setting& s, double by) { s.surface_temperature += 3.0 * by; }, always, 3);
}
TEST_CASE("more area never gives less evaporation", "[laws]") {
  never_less(
      [](Setting& s, double by) {
        s.area *= 1.0 + by;
        s.spread += (1.0 - s.spread) * 0.5 * by;
      },
      always, 4);
}
TEST_CASE("a more permeable film never gives less evaporation", "[laws]") {
  never_less([](Setting& s, double by) { s.cover.permeance += 10.0 * by * by; }, has_film, 5);
}
TEST_CASE("fewer layers of film never give less evaporation", "[laws]") {
  never_less([](Setting& s, double) { s.layers -= 1.0; },
             [](const Setting& s) { return has_film(s) && s.layers > 1.0; }, 6);
}
TEST_CASE("no cover never gives less evaporation than a cover", "[laws]") {
  never_less([](Setting& s, double) { s.covered = false; }, is_covered, 7, undressed);
}
TEST_CASE("a later cover never gives less evaporation", "[laws]") {
  never_less([](Setting& s, double by) { s.from += 0.7 * by; }, is_covered, 8, undressed);
}
TEST_CASE("a leakier seal never gives less evaporation at a held surface temperature", "[laws]") {
  never_less([](Setting& s, double by) { s.seal *= 1.0 - 0.8 * by; }, has_film, 9);
}

TEST_CASE("without leak and permeance nothing passes the cover", "[laws]") {
  std::mt19937_64 random(10);
  std::vector<Setting> settings;
  while (settings.size() < 200) {
    Setting s = any_setting(random);
    s.covered = s.cover.film = true;
    s.cover.permeance = 0.0;
    s.seal = 1.0;
    s.from = 0.25;
    s.over = 0.25;
    settings.push_back(s);
  }
  const auto sums = evaporated(settings);
  for (const auto& row : sums) {
    CHECK(row[0] > 0.0);
    // Complete at 0.5 h; not a drop from then on.
    for (std::size_t i = 3; i < hours.size(); ++i) CHECK(row[i] == row[2]);
  }
}

}  // namespace
}  // namespace serosa::laws
