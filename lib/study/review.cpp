// SPDX-License-Identifier: Apache-2.0
#include "study/review.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace serosa::study {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

bool complete(const Course& c) {
  const auto finite = [](double x) { return std::isfinite(x); };
  return std::all_of(c.series.begin(), c.series.end(),
                     [&](const auto& s) { return std::all_of(s.begin(), s.end(), finite); }) &&
         std::all_of(c.end.begin(), c.end.end(), finite);
}

/// Mean with Student's interval; a sample of one or none has no interval.
Estimate mean_of(std::vector<double> values, double confidence) {
  std::erase_if(values, [](double x) { return std::isnan(x); });
  if (values.empty()) return {nan, nan, nan};
  const Pieces column = [&](const std::function<void(std::span<const double>)>& see) {
    see(values);
  };
  return describe(column, {}, confidence).mean;
}

}  // namespace

Judgement judge(const Course& c, const ReviewBands& bands, const Utility& utility) {
  Judgement v;
  v.fill(nan);
  if (!complete(c)) return v;
  v.fill(0.0);
  const auto at = [&](Followed which, std::size_t t) { return c.series[place(which)][t]; };
  double hours = 0;
  for (std::size_t t = 1; t < c.times.size(); ++t) {
    if (c.times[t] <= bands.from) continue;
    const double duration = c.times[t] - std::max(c.times[t - 1], bands.from);
    hours += duration;
    const auto count = [&](judgement::Index which, bool holds) {
      if (holds) v[which] += duration;
      return holds;
    };
    const double deficit = at(Followed::circulating_deficit, t) / c.weight;
    const double gained =
        (at(Followed::interstitial_water, t) - at(Followed::interstitial_water, 0)) / c.weight;
    const double diluted = 1.0 - at(Followed::haematocrit, t) / at(Followed::haematocrit, 0);
    const double weight = at(Followed::weight_change, t) / (1000.0 * c.weight);
    const double sodium = at(Followed::plasma_sodium, t);
    const double urine = (at(Followed::urine, t) - at(Followed::urine, t - 1)) /
                         (c.times[t] - c.times[t - 1]) / c.weight;
    const double core = at(Followed::core_temperature, t);
    const bool under = count(judgement::hours_under, deficit > bands.deficit_high);
    const bool volume = count(judgement::hours_over_volume, deficit < bands.deficit_low);
    const bool oedema = count(judgement::hours_oedema, gained > bands.oedema);
    const bool dilution = count(judgement::hours_dilution, diluted > bands.dilution);
    const bool heavy = count(judgement::hours_weight, weight > bands.weight_gain);
    const bool over = count(judgement::hours_over, volume || oedema || dilution || heavy);
    count(judgement::hours_in_band, !under && !over);
    count(judgement::hours_sodium_low, sodium < bands.sodium_low);
    count(judgement::hours_sodium_high, sodium > bands.sodium_high);
    count(judgement::hours_urine_half, urine < 0.5);
    count(judgement::hours_urine_one, urine < 1.0);
    count(judgement::hours_cold, core < bands.core_low);
    count(judgement::hours_warm, core > bands.core_high);
  }
  for (std::size_t i = judgement::hours_under; i <= judgement::hours_warm; ++i) v[i] /= hours;
  v[judgement::under] = v[judgement::hours_under] > bands.allowed;
  v[judgement::over] = v[judgement::hours_over] > bands.allowed;
  v[judgement::in_band] = v[judgement::under] == 0 && v[judgement::over] == 0;
  v[judgement::sodium_out] = v[judgement::hours_sodium_low] + v[judgement::hours_sodium_high] > 0;
  v[judgement::cold] = v[judgement::hours_cold] > 0;
  v[judgement::warm] = v[judgement::hours_warm] > 0;

  const auto end = [&](AtEnd which) { return c.end[place(which)]; };
  const auto per_kg = [&](double millilitres) { return millilitres / c.weight; };
  v[judgement::fluid] = per_kg(end(AtEnd::given_maintenance) + end(AtEnd::given_boluses) +
                             end(AtEnd::given_replacement) + end(AtEnd::given_blood));
  v[judgement::boluses] = end(AtEnd::boluses);
  v[judgement::bolus_fluid] = per_kg(end(AtEnd::given_boluses));
  v[judgement::weight_gain] = end(AtEnd::weight_change) / (1000.0 * c.weight);
  v[judgement::circulating] = per_kg(end(AtEnd::circulating_deficit));
  v[judgement::external] = per_kg(end(AtEnd::external_deficit));
  v[judgement::charted] = per_kg(end(AtEnd::charted_deficit));
  v[judgement::chart_misses] = v[judgement::external] - v[judgement::charted];
  const double uncharted = end(AtEnd::skin_loss) + end(AtEnd::bowel_evaporation) +
                           end(AtEnd::airway_loss) + end(AtEnd::bowel_drip);
  const double charted = end(AtEnd::urine) + end(AtEnd::gastric_drainage) + end(AtEnd::blood_loss);
  v[judgement::uncharted_loss] = uncharted / (uncharted + charted);
  v[judgement::third_space] = per_kg(end(AtEnd::third_space));
  v[judgement::utility] =
      utility.in_band * v[judgement::hours_in_band] + utility.under * v[judgement::hours_under] +
      utility.over * v[judgement::hours_over] +
      utility.sodium * (v[judgement::hours_sodium_low] + v[judgement::hours_sodium_high]) +
      utility.little_urine * v[judgement::hours_urine_half] + utility.cold * v[judgement::hours_cold] +
      utility.warm * v[judgement::hours_warm] + utility.bolus * v[judgement::boluses];
  return v;
}

std::array<Estimate, judgement::count> summarise(std::span<const Judgement> babies, double confidence) {
  std::array<Estimate, judgement::count> all;
  for (std::size_t i = 0; i < judgement::count; ++i) {
    std::vector<double> values;
    for (const Judgement& v : babies)
      if (!std::isnan(v[i])) values.push_back(v[i]);
    if (judgement_list[i].is_share)
      all[i] = share(static_cast<std::uint64_t>(std::count(values.begin(), values.end(), 1.0)),
                     values.size(), confidence);
    else
      all[i] = mean_of(std::move(values), confidence);
    // A share of hours has nothing to do beyond 0 and 1.
    if (i <= judgement::hours_warm) {
      all[i].low = std::max(all[i].low, 0.0);
      all[i].high = std::min(all[i].high, 1.0);
    }
  }
  return all;
}

Estimate paired_difference(std::span<const Judgement> first, std::span<const Judgement> second,
                           judgement::Index which, double confidence) {
  std::vector<double> differences;
  for (std::size_t i = 0; i < std::min(first.size(), second.size()); ++i)
    differences.push_back(first[i][which] - second[i][which]);
  return mean_of(std::move(differences), confidence);
}

}  // namespace serosa::study
