// SPDX-License-Identifier: Apache-2.0
// A review of protocols: how each baby fared under each, judged by stated bands, and how a cohort
// did. Exploration, not recommendation.
#pragma once
#include <array>
#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

#include "study/statistics.hpp"

// X(name, unit, share, what it is): `share` is 1 where a number is 0 or 1 for each baby.
// The first three lines of hours exclude nothing: an hour may be under-filled and oedematous.
#define SEROSA_JUDGEMENTS(X)                                                                 \
  X(hours_under, "1", 0, "Hours with a circulating deficit beyond the band")               \
  X(hours_in_band, "1", 0, "Hours neither under-filled nor over-filled")                   \
  X(hours_over, "1", 0, "Hours over-filled in any of the four ways")                       \
  X(hours_over_volume, "1", 0, "Hours with blood volume beyond the band")                  \
  X(hours_oedema, "1", 0, "Hours with more water between the cells than the limit")        \
  X(hours_dilution, "1", 0, "Hours with the haematocrit fallen beyond the limit")          \
  X(hours_weight, "1", 0, "Hours with more weight gained than the limit")                  \
  X(hours_sodium_low, "1", 0, "Hours with plasma sodium below its band")                   \
  X(hours_sodium_high, "1", 0, "Hours with plasma sodium above its band")                  \
  X(hours_urine_half, "1", 0, "Hours with less than 0.5 mL/kg/h of urine")                 \
  X(hours_urine_one, "1", 0, "Hours with less than 1 mL/kg/h of urine")                    \
  X(hours_cold, "1", 0, "Hours with a core temperature below normal")                      \
  X(hours_warm, "1", 0, "Hours with a core temperature above normal")                      \
  X(under, "1", 1, "Babies under-filled for more than the hours allowed")                  \
  X(in_band, "1", 1, "Babies neither under-filled nor over-filled for more than that")     \
  X(over, "1", 1, "Babies over-filled for more than the hours allowed")                    \
  X(sodium_out, "1", 1, "Babies with sodium outside its band at any time")                 \
  X(cold, "1", 1, "Babies with a core temperature below normal at any time")               \
  X(warm, "1", 1, "Babies with a core temperature above normal at any time")               \
  X(fluid, "mL/kg", 0, "Fluid given")                                                      \
  X(boluses, "1", 0, "Boluses")                                                            \
  X(bolus_fluid, "mL/kg", 0, "Fluid given as boluses")                                     \
  X(weight_gain, "1", 0, "Weight gained at the end, as a share of birth weight")           \
  X(circulating, "mL/kg", 0, "Circulating deficit at the end")                             \
  X(external, "mL/kg", 0, "Deficit by every route at the end")                             \
  X(charted, "mL/kg", 0, "Deficit that the chart shows at the end")                        \
  X(chart_misses, "mL/kg", 0, "Deficit by every route less that of the chart, at the end") \
  X(uncharted_loss, "1", 0, "Share of all water lost that no chart shows")                 \
  X(third_space, "mL/kg", 0, "Water in bowel wall, lumen and on the surface, at the end")  \
  X(utility, "1", 0, "Utility as the study states it")

namespace serosa::study {

namespace judgement {
enum Index : std::size_t {
#define SEROSA_INDEX(name, unit, share, text) name,
  SEROSA_JUDGEMENTS(SEROSA_INDEX)
#undef SEROSA_INDEX
      count
};
}  // namespace judgement

struct JudgementInfo {
  std::string_view name, unit;
  bool is_share;  ///< 0 or 1 for each baby
  std::string_view meaning;
};
inline constexpr std::array<JudgementInfo, judgement::count> judgement_list{{
#define SEROSA_INFO(name, unit, share, text) {#name, unit, share != 0, text},
    SEROSA_JUDGEMENTS(SEROSA_INFO)
#undef SEROSA_INFO
}};

/// What counts as under-filled, over-filled and the rest.
struct ReviewBands {
  double deficit_low, deficit_high;  ///< mL/kg of circulating deficit; between them: in band
  double oedema;                     ///< mL/kg gained between the cells since birth
  double dilution;                   ///< share by which the haematocrit fell since birth
  double weight_gain;                ///< share of birth weight
  double sodium_low, sodium_high;    ///< mmol/L
  double core_low, core_high;        ///< degC
  double from;                       ///< h; earlier hours are not judged
  double allowed;                    ///< share of hours that a baby may be out of band
};

/// What an hour, or a bolus, is worth. Hours count as shares of all hours judged.
struct Utility {
  double in_band, under, over, sodium, little_urine, cold, warm;
  double bolus;  ///< of each
};

/// The outputs that a review reads, in this order.
enum class Followed : std::size_t {
  circulating_deficit,
  interstitial_water,
  haematocrit,
  weight_change,
  plasma_sodium,
  urine,
  core_temperature,
  charted_deficit,
  external_deficit,
  count
};
/// The same at the end of the run.
enum class AtEnd : std::size_t {
  given_maintenance,
  given_boluses,
  given_replacement,
  given_blood,
  boluses,
  weight_change,
  circulating_deficit,
  external_deficit,
  charted_deficit,
  third_space,
  skin_loss,
  bowel_evaporation,
  airway_loss,
  bowel_drip,
  urine,
  gastric_drainage,
  blood_loss,
  count
};
template <class Enum>
constexpr std::size_t place(Enum e) {
  return static_cast<std::size_t>(e);
}

/// One baby under one protocol: its course over the hours, the first at birth, and its end.
struct Course {
  std::span<const double> times;  ///< h, rising, from 0
  std::array<std::span<const double>, place(Followed::count)> series;
  std::array<double, place(AtEnd::count)> end;
  double weight;  ///< kg
};

using Judgement = std::array<double, judgement::count>;

/// Judges one course. NaN in all places for a course that is not complete. An hour of the grid
/// stands for the time since the one before.
Judgement judge(const Course& course, const ReviewBands& bands, const Utility& utility);

/// A cohort under one protocol: a figure with its interval for each verdict, shares by Wilson's
/// method, means by Student's (see study/statistics.hpp).
std::array<Estimate, judgement::count> summarise(std::span<const Judgement> babies, double confidence);

/// Mean over babies of the difference of one verdict, each baby with itself. Babies that did not
/// finish under both are left out.
Estimate paired_difference(std::span<const Judgement> first, std::span<const Judgement> second,
                           judgement::Index which, double confidence);

}  // namespace serosa::study
