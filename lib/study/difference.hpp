// SPDX-License-Identifier: Apache-2.0
// Where a deficit comes from, and what makes the deficits of two cases differ.
#pragma once
#include <array>
#include <cstddef>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>

#include "simulate/run.hpp"

// X(name, group, what it is)
// Routes cross the baby's border; stores hold water inside it, away from the blood.
#define SEROSA_DEFICIT_PARTS(X)                                 \
  X(skin, route, "Loss through the skin")                       \
  X(bowel_evaporation, route, "Evaporation from the bowel")     \
  X(airway, route, "Loss with the breath")                      \
  X(urine, route, "Urine")                                      \
  X(gastric_drainage, route, "Drained from the stomach")        \
  X(bowel_drip, route, "Dripped from the bowel")                \
  X(blood_loss, route, "Water of blood lost or sampled")        \
  X(oxidation_water, route, "Water made by oxidation (a gain)") \
  X(given, route, "Water of fluids given (a gain)")             \
  X(interstitium, store, "Held between the cells of the body")  \
  X(cells, store, "Held by the cells")                          \
  X(wall, store, "Held by the bowel wall")                      \
  X(stomach, store, "Held by the stomach")                      \
  X(lumen, store, "Held by the bowel's lumen")                  \
  X(surface, store, "Held on the bowel, in wrap or bag")        \
  X(solids, solid, "Volume of protein and red cell solids")

namespace serosa::study {

namespace part {
enum Index : std::size_t {
#define SEROSA_INDEX(name, group, text) name,
  SEROSA_DEFICIT_PARTS(SEROSA_INDEX)
#undef SEROSA_INDEX
      count
};
enum class Group { route, store, solid };
}  // namespace part

struct PartInfo {
  std::string_view name;
  part::Group group;
  std::string_view meaning;
};

inline constexpr std::array<PartInfo, part::count> part_list{{
#define SEROSA_INFO(name, group, text) {#name, part::Group::group, text},
    SEROSA_DEFICIT_PARTS(SEROSA_INFO)
#undef SEROSA_INFO
}};

/// Where the deficits of one run at one time come from. Every part counts positive when it makes a
/// deficit larger: water lost, water moved from the blood into a store, solids lost.
///
/// The account is an identity. With B the water of the body, V the blood volume, P its water and S
/// the water of the six stores: B = P + S, and B falls by the external deficit. The circulating
/// deficit V0 − V is therefore the external deficit, plus what the stores gained, plus what V − P
/// (solids) fell.
struct DeficitAccount {
  std::array<double, part::count> parts;  ///< g or mL
  double external;                        ///< g, all routes
  double circulating;                     ///< mL, against the volume when the cord was clamped

  /// Sum of the parts that make up the external deficit.
  double sum_of_routes() const;
  /// Sum of all parts: the circulating deficit.
  double sum_of_parts() const;
};

/// Two runs can't be compared.
class NotComparable : public std::runtime_error {
 public:
  enum class Reason {
    other_times,   ///< the runs were not observed at the same times
    not_reached,   ///< a run failed before that time
    before_birth,  ///< the time lies before birth
  };
  NotComparable(Reason reason, const std::string& message)
      : std::runtime_error(message), reason_(reason) {}
  Reason reason() const { return reason_; }

 private:
  Reason reason_;
};

/// The account of one run at its `time`-th time. Throws NotComparable (not_reached) where the run
/// has no values, std::out_of_range beyond the last time.
DeficitAccount deficit_account(const simulate::Result& result, std::size_t time);

/// What makes the second run's deficits larger than the first's.
struct Difference {
  DeficitAccount first, second;

  /// Positive: makes the second deficit larger.
  double gap(part::Index p) const { return second.parts[p] - first.parts[p]; }
  /// Gap of the external deficit, g: the gaps of all routes add up to it.
  double external() const { return second.external - first.external; }
  /// Gap of the circulating deficit, mL: all gaps add up to it.
  double circulating() const { return second.circulating - first.circulating; }
  /// False when the two had different blood volumes at clamping or other water at birth: each
  /// deficit then counts against its own start, and tables must say so.
  bool same_start;
};

/// The difference at the `time`-th time of `times`, at which both runs were observed. Throws
/// NotComparable.
Difference difference(const simulate::Result& first, const simulate::Result& second,
                      std::span<const double> times, std::size_t time);

/// Blood volume that is missing against the same baby under ordinary care, mL: the twin's volume
/// less the run's. Throws NotComparable where either has no values.
double deficit_against_twin(const simulate::Result& run, const simulate::Result& twin,
                            std::size_t time);

}  // namespace serosa::study
