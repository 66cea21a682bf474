// SPDX-License-Identifier: Apache-2.0
#include "study/case_numbers.hpp"

#include <algorithm>
#include <stdexcept>

#include "care/protocol.hpp"

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

/// How long a deed takes; null when it is done at once.
const double* duration(const Deed& deed) {
  return std::visit(
      [](const auto& d) -> const double* {
        if constexpr (requires { d.over; })
          return &d.over;
        else
          return nullptr;
      },
      deed);
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

const double& number(const Case& c, const Place& place) {
  std::size_t here = 0;
  const double* found = nullptr;
  const auto find = [&](double& x) {
    if (here++ == place.number) found = &x;
  };
  auto& looked_at = const_cast<Case&>(c);  // see_numbers serves writers, too; nothing is written
  if (place.act == Place::of_case)
    see_numbers(looked_at, find);
  else
    see_numbers(looked_at.timeline.at(place.act), find);
  if (!found) throw std::out_of_range("a case has no such number");
  return *found;
}

void set_number(Case& c, const Place& place, double value) {
  const_cast<double&>(number(c, place)) = value * place.factor;
}

void put_in_order(Case& c) {
  const auto earlier = [](const Act& a, const Act& b) { return a.at < b.at; };
  // Insertion keeps equal times in their order and copies nothing when the order stands.
  for (auto act = c.timeline.begin(); act != c.timeline.end(); ++act)
    std::rotate(std::upper_bound(c.timeline.begin(), act, *act, earlier), act, std::next(act));
  for (const Act& act : c.timeline)
    if (std::holds_alternative<ClampCord>(act.deed)) c.baby.cord_clamped_at = act.at;
}

std::vector<Stop> stops(const Case& c, std::span<const Place> places) {
  const auto moves = [&](const double& x) {
    double sum = 0;
    for (const Place& place : places)
      if (&number(c, place) == &x) sum += place.factor;
    return sum;
  };
  std::vector<Stop> all{{0, 0}};
  for (const Act& act : c.timeline) {
    const double moved = moves(act.at);
    all.push_back({act.at, moved});
    if (const double* const over = duration(act.deed))
      all.push_back({act.at + *over, moved + moves(*over)});
    if (const auto* const d = std::get_if<ReplaceGastricLoss>(&act.deed))
      for (double n = 1, each = moves(d->every); act.at + n * d->every <= c.until; ++n)
        all.push_back({act.at + n * d->every, moved + n * each});
  }
  if (c.protocol)
    for (double n = 0; c.protocol->look_from + n * c.protocol->look_every <= c.until; ++n)
      all.push_back({c.protocol->look_from + n * c.protocol->look_every, 0});
  return all;
}

bool torn_apart(std::vector<Stop> stops) {
  std::sort(stops.begin(), stops.end(),
            [](const Stop& a, const Stop& b) { return a.hour < b.hour; });
  return std::adjacent_find(stops.begin(), stops.end(), [](const Stop& a, const Stop& b) {
           return b.hour - a.hour < same_hour && a.moves != b.moves;
         }) != stops.end();
}

}  // namespace serosa::study
