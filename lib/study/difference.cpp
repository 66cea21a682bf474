// SPDX-License-Identifier: Apache-2.0
#include "study/difference.hpp"

#include <cmath>
#include <numeric>

namespace serosa::study {

namespace {

namespace out = simulate::output;
using simulate::Result;

std::size_t number_of_times(const Result& r) { return r.values.size() / out::count; }

void require_reached(const Result& r, std::size_t time) {
  if (time >= number_of_times(r)) throw std::out_of_range("no such time in the result");
  if (std::isnan(r.at(time, out::blood_volume)))
    throw NotComparable(NotComparable::Reason::not_reached,
                        "a run did not get to the time at which it is to be compared");
}

/// Free fluid on the bowel at birth: what the third space says it has gained is not it.
double surface_water_at_birth(const Result& r, std::size_t time) {
  return r.at(time, out::wall_water) + r.at(time, out::lumen_water) +
         r.at(time, out::surface_water) - r.at(time, out::third_space) - r.body.wall_water -
         r.body.lumen_water;
}

/// Both come from the same arithmetic, so the same baby has the same bits; only the fluid on the
/// bowel is taken back from differences, which leaves rounding.
bool same_start(const Result& first, const Result& second, std::size_t time) {
  const auto& a = first.body;
  const auto& b = second.body;
  const double surface = surface_water_at_birth(first, time) - surface_water_at_birth(second, time);
  return a.clamped_blood_volume == b.clamped_blood_volume && a.plasma_water == b.plasma_water &&
         a.red_cell_water == b.red_cell_water && a.interstitial_water == b.interstitial_water &&
         a.cell_water == b.cell_water && a.wall_water == b.wall_water &&
         a.stomach_water == b.stomach_water && a.lumen_water == b.lumen_water &&
         std::abs(surface) < 1e-9;
}

}  // namespace

double DeficitAccount::sum_of_routes() const {
  double sum = 0;
  for (std::size_t i = 0; i < part::count; ++i)
    if (part_list[i].group == part::Group::route) sum += parts[i];
  return sum;
}

double DeficitAccount::sum_of_parts() const {
  return std::accumulate(parts.begin(), parts.end(), 0.0);
}

DeficitAccount deficit_account(const Result& r, std::size_t time) {
  require_reached(r, time);
  const auto now = [&](out::Index o) { return r.at(time, o); };
  const auto& b = r.body;
  DeficitAccount a{};
  a.external = now(out::external_deficit);
  a.circulating = now(out::circulating_deficit);

  auto& p = a.parts;
  p[part::skin] = now(out::skin_loss);
  p[part::bowel_evaporation] = now(out::bowel_evaporation);
  p[part::airway] = now(out::airway_loss);
  p[part::urine] = now(out::urine);
  p[part::gastric_drainage] = now(out::gastric_drainage);
  p[part::bowel_drip] = now(out::bowel_drip);
  p[part::blood_loss] = now(out::blood_loss);
  p[part::oxidation_water] = -now(out::oxidation_water);
  p[part::given] = -now(out::given_total);

  p[part::interstitium] = now(out::interstitial_water) - b.interstitial_water;
  p[part::cells] = now(out::cell_water) - b.cell_water;
  p[part::wall] = now(out::wall_water) - b.wall_water;
  p[part::stomach] = now(out::stomach_water) - b.stomach_water;
  p[part::lumen] = now(out::lumen_water) - b.lumen_water;
  p[part::surface] = now(out::surface_water) - surface_water_at_birth(r, time);

  const double solids_at_birth = b.clamped_blood_volume - b.plasma_water - b.red_cell_water;
  const double solids = now(out::blood_volume) - now(out::plasma_water) - now(out::red_cell_water);
  p[part::solids] = solids_at_birth - solids;
  return a;
}

Difference difference(const Result& first, const Result& second, std::span<const double> times,
                      std::size_t time) {
  if (number_of_times(first) != times.size() || number_of_times(second) != times.size())
    throw NotComparable(NotComparable::Reason::other_times,
                        "two runs that were observed at different times cannot be compared");
  if (time >= times.size()) throw std::out_of_range("no such time in the result");
  if (times[time] < 0)
    throw NotComparable(NotComparable::Reason::before_birth,
                        "there is no deficit to compare before birth");
  return {deficit_account(first, time), deficit_account(second, time),
          same_start(first, second, time)};
}

double deficit_against_twin(const Result& run, const Result& twin, std::size_t time) {
  require_reached(run, time);
  require_reached(twin, time);
  return twin.at(time, out::blood_volume) - run.at(time, out::blood_volume);
}

}  // namespace serosa::study
