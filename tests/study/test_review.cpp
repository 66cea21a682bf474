// SPDX-License-Identifier: Apache-2.0
// Verdicts of courses written by hand, their figures by other routes, and pairs of babies.
#include "study/review.hpp"

#include <catch2/catch.hpp>
#include <cmath>

namespace serosa::study {
namespace {

using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

constexpr ReviewBands bands{-5, 5, 30, 0.1, 0.03, 135, 145, 36.5, 37.5, 2, 0.1};
constexpr Utility worth{1, -1, -2, -3, -0.5, -0.25, -0.125, -0.01};

/// A baby of 2 kg in whom nothing happens for ten hours.
struct Written {
  std::vector<double> times;
  std::array<std::vector<double>, place(Followed::count)> series;
  Course course;

  Written() {
    for (int t = 0; t <= 10; ++t) times.push_back(t);
    for (auto& s : series) s.assign(times.size(), 0.0);
    (*this)[Followed::interstitial_water].assign(times.size(), 1000);
    (*this)[Followed::haematocrit].assign(times.size(), 0.5);
    (*this)[Followed::plasma_sodium].assign(times.size(), 140);
    (*this)[Followed::core_temperature].assign(times.size(), 37);
    for (std::size_t t = 0; t < times.size(); ++t)
      (*this)[Followed::urine][t] = 3 * times[t];  // 1.5 mL/kg/h
    course.end.fill(1.0);
    course.weight = 2;
  }
  std::vector<double>& operator[](Followed f) { return series[place(f)]; }
  Judgement verdict() {
    course.times = times;
    for (std::size_t o = 0; o < series.size(); ++o) course.series[o] = series[o];
    return judge(course, bands, worth);
  }
};

TEST_CASE("a quiet baby is in band all the time", "[review]") {
  const Judgement v = Written().verdict();
  CHECK(v[judgement::hours_in_band] == 1);
  CHECK(v[judgement::in_band] == 1);
  for (std::size_t i = judgement::hours_over; i <= judgement::hours_warm; ++i) CHECK(v[i] == 0);
  CHECK_THAT(v[judgement::utility], WithinAbs(1 - 0.01, 1e-12));  // one bolus at the end
}

TEST_CASE("hours are counted from where they are judged, by what lies beyond which limit",
          "[review]") {
  const auto share = [](Followed which, double value, judgement::Index hours) {
    Written w;
    // Hours 1 and 2 are not judged; 7 and 8 of the eight that are.
    for (const std::size_t t : {1u, 2u, 7u, 8u}) w[which][t] = value;
    if (which == Followed::urine)
      for (const std::size_t t : {1u, 2u, 7u, 8u}) w[which][t] = w[which][t - 1] + value;
    return w.verdict()[hours];
  };
  constexpr double two_of_eight = 0.25;
  CHECK(share(Followed::circulating_deficit, 10.1, judgement::hours_under) == two_of_eight);
  CHECK(share(Followed::circulating_deficit, 9.9, judgement::hours_under) == 0);
  CHECK(share(Followed::circulating_deficit, -10.1, judgement::hours_over_volume) == two_of_eight);
  CHECK(share(Followed::circulating_deficit, -10.1, judgement::hours_over) == two_of_eight);
  CHECK(share(Followed::interstitial_water, 1060.1, judgement::hours_oedema) == two_of_eight);
  CHECK(share(Followed::interstitial_water, 1060.1, judgement::hours_over) == two_of_eight);
  CHECK(share(Followed::interstitial_water, 1059.9, judgement::hours_oedema) == 0);
  CHECK(share(Followed::haematocrit, 0.449, judgement::hours_dilution) == two_of_eight);
  CHECK(share(Followed::haematocrit, 0.451, judgement::hours_dilution) == 0);
  CHECK(share(Followed::weight_change, 60.1, judgement::hours_weight) == two_of_eight);
  CHECK(share(Followed::plasma_sodium, 134.9, judgement::hours_sodium_low) == two_of_eight);
  CHECK(share(Followed::plasma_sodium, 145.1, judgement::hours_sodium_high) == two_of_eight);
  CHECK(share(Followed::core_temperature, 36.4, judgement::hours_cold) == two_of_eight);
  CHECK(share(Followed::core_temperature, 37.6, judgement::hours_warm) == two_of_eight);
  CHECK(share(Followed::urine, 0.9, judgement::hours_urine_half) == two_of_eight);
  CHECK(share(Followed::urine, 1.1, judgement::hours_urine_half) == 0);
  CHECK(share(Followed::urine, 1.9, judgement::hours_urine_one) == two_of_eight);
}

TEST_CASE("a baby may be under-filled and over-filled at once, and is then in neither band",
          "[review]") {
  Written w;
  w[Followed::circulating_deficit].assign(11, 20);
  w[Followed::interstitial_water].assign(11, 1100);
  w[Followed::interstitial_water][0] = 1000;
  const Judgement v = w.verdict();
  CHECK(v[judgement::under] == 1);
  CHECK(v[judgement::over] == 1);
  CHECK(v[judgement::hours_in_band] == 0);
  CHECK(v[judgement::in_band] == 0);
  CHECK_THAT(v[judgement::utility], WithinAbs(-1 - 2 - 0.01, 1e-12));
}

TEST_CASE("losses on no chart are those of skin, breath, bowel surface and drip", "[review]") {
  Written w;
  const auto set = [&](AtEnd which, double value) { w.course.end[place(which)] = value; };
  for (const AtEnd route :
       {AtEnd::skin_loss, AtEnd::bowel_evaporation, AtEnd::airway_loss, AtEnd::bowel_drip})
    set(route, 10);
  for (const AtEnd route : {AtEnd::urine, AtEnd::gastric_drainage, AtEnd::blood_loss})
    set(route, 20);
  set(AtEnd::external_deficit, 30);
  set(AtEnd::charted_deficit, -10);
  set(AtEnd::weight_change, -50);
  const Judgement v = w.verdict();
  CHECK(v[judgement::uncharted_loss] == 0.4);
  CHECK(v[judgement::chart_misses] == 20);  // 40 g in 2 kg
  CHECK(v[judgement::fluid] == 2);          // four of 1 mL in 2 kg
  CHECK(v[judgement::weight_gain] == -0.025);
}

TEST_CASE("a run that did not finish has no verdict and is left out", "[review]") {
  Written w;
  w[Followed::urine].back() = std::nan("");
  std::vector<Judgement> babies{w.verdict(), Written().verdict(), Written().verdict()};
  CHECK(std::isnan(babies[0][judgement::in_band]));
  const auto all = summarise(babies, 0.95);
  CHECK(all[judgement::in_band].value == 1);
  // Wilson's interval of 2 in 2: from 1 / (1 + z²/2).
  CHECK_THAT(all[judgement::in_band].low, WithinRel(1 / (1 + 1.959964 * 1.959964 / 2), 1e-6));
  CHECK(all[judgement::hours_in_band].value == 1);
}

TEST_CASE("differences are taken baby by baby", "[review]") {
  std::vector<Judgement> one(4), other(4);
  for (std::size_t i = 0; i < 4; ++i) {
    one[i].fill(10.0 * static_cast<double>(i));
    other[i].fill(10.0 * static_cast<double>(i) - 1);
  }
  other[3].fill(std::nan(""));
  const auto d = paired_difference(one, other, judgement::fluid, 0.95);
  CHECK(d.value == 1);
  CHECK(d.low == 1);  // no spread between the pairs, however wide the babies differ
  CHECK(d.high == 1);
}

}  // namespace
}  // namespace serosa::study
