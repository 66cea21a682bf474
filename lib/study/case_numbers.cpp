// SPDX-License-Identifier: Apache-2.0
#include "study/case_numbers.hpp"

#include <algorithm>
#include <stdexcept>

namespace serosa::study {

namespace {

using namespace care;

/// Calls `see` for every number of a deed.
template <class See>
struct DeedNumbers {
  See see;

  void operator()(SetWarmer& d) { all(d.warmer.irradiance, d.warmer.set_point); }
  void operator()(DrySkin& d) { all(d.share); }
  void operator()(MoveTo& d) { room(d.room); }
  void operator()(CoverBowel& d) {
    all(d.layers, d.seal, d.tension, d.over, d.cover.permeance, d.cover.gap,
        d.cover.warmer_transmittance, d.cover.warmer_absorptance, d.cover.longwave_transmittance,
        d.cover.dressing_resistance, d.cover.dressing_capacity);
    fluid(d.wetting);
  }
  void operator()(Rewrap& d) { all(d.seal, d.tension, d.over); }
  void operator()(Rewet& d) { fluid(d.fluid); }
  void operator()(Infuse& d) { all(d.rate), fluid(d.fluid); }
  void operator()(AdjustInfusion& d) { all(d.by, d.least, d.most); }
  void operator()(Bolus& d) { all(d.volume, d.over), fluid(d.fluid); }
  void operator()(ReplaceGastricLoss& d) { all(d.every, d.share), fluid(d.fluid); }
  void operator()(LoseBlood& d) { all(d.volume, d.share, d.over); }
  void operator()(BeActive& d) { all(d.factor); }
  void operator()(ReduceBowel& d) { all(d.share); }
  void operator()(SetControl& d) { all(d.value); }
  // Deeds without numbers. One that is added with numbers must be named above: a study that varies
  // them is refused until it is.
  template <class Other>
  void operator()(Other&) {}

  void room(Room& r) {
    all(r.air_temperature, r.wall_temperature, r.humidity, r.air_speed, r.air_pressure);
  }
  void fluid(Fluid& f) { all(f.sodium, f.chloride, f.glucose, f.protein, f.red_cell_fraction); }
  template <class... Numbers>
  void all(Numbers&... numbers) {
    (see(numbers), ...);
  }
};

template <class See>
void see_numbers(Act& act, See see) {
  see(act.at);
  std::visit(DeedNumbers<See>{see}, act.deed);
}

template <class See>
void see_numbers(Case& c, See see) {
  auto& b = c.baby;
  for (double* const number :
       {&b.weight, &b.gestation, &b.length, &b.protein, &b.haematocrit, &b.sodium,
        &b.cord_clamped_at, &b.blood_volume, &b.temperature, &b.skin_temperature,
        &b.bowel_temperature, &b.herniated, &b.spread, &b.loop_diameter, &b.bowel_length,
        &b.thickening, &b.matting, &b.area})
    see(*number);
  DeedNumbers<See>{see}.room(c.room);
}

}  // namespace

std::vector<double*> numbers(Case& c) {
  std::vector<double*> all;
  see_numbers(c, [&](double& x) { all.push_back(&x); });
  return all;
}

std::vector<double*> numbers(Act& act) {
  std::vector<double*> all;
  see_numbers(act, [&](double& x) { all.push_back(&x); });
  return all;
}

void set_number(Case& c, const Place& place, double value) {
  std::size_t here = 0;
  bool found = false;
  const auto set = [&](double& x) {
    if (here++ != place.number) return;
    x = value * place.factor;
    found = true;
  };
  if (place.act == Place::of_case)
    see_numbers(c, set);
  else
    see_numbers(c.timeline.at(place.act), set);
  if (!found) throw std::out_of_range("a case has no such number");
}

void put_in_order(Case& c) {
  const auto earlier = [](const Act& a, const Act& b) { return a.at < b.at; };
  // Insertion keeps equal times in their order and copies nothing when the order stands.
  for (auto act = c.timeline.begin(); act != c.timeline.end(); ++act)
    std::rotate(std::upper_bound(c.timeline.begin(), act, *act, earlier), act, std::next(act));
  for (const Act& act : c.timeline)
    if (std::holds_alternative<ClampCord>(act.deed)) c.baby.cord_clamped_at = act.at;
}

}  // namespace serosa::study
