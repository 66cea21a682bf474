// SPDX-License-Identifier: Apache-2.0
// What a review found: verdicts per baby, figures per protocol and cover, ranks, the chart against
// the truth; as tables and as NetCDF.
#pragma once
#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "files/journal.hpp"
#include "files/results.hpp"
#include "files/review_file.hpp"

namespace serosa::files {

/// Stands on every table of a review.
inline constexpr std::string_view exploration =
    "Exploration of a model, not recommendation: invented babies, assumed parameters.";

struct ReviewResult {
  std::vector<std::vector<study::Judgement>> verdicts;  ///< arms × babies
  std::vector<std::array<study::Estimate, study::judgement::count>> arms;

  struct Rank {
    std::size_t protocol;
    study::Estimate utility;    ///< mean over covers and babies
    study::Estimate less_best;  ///< less that of the first in rank, baby by baby
  };
  std::vector<Rank> ranking;  ///< best first; empty for a corridor

  /// Over the babies, 5 %, 50 % and 95 % at each hour, mL/kg.
  struct Courses {
    std::vector<std::array<double, 3>> circulating, external, charted;
  };
  std::vector<Courses> courses;  ///< of each arm
  std::vector<double> times;     ///< h
  std::uint64_t failed = 0;      ///< runs that did not finish
};

ReviewResult evaluate(const ReviewFile& review, const Blocks& blocks);

/// One row per protocol, cover and verdict, with the interval and how it was made.
std::string review_csv(const ReviewFile& review, const ReviewResult& result);
/// Protocols by utility, best first, with the difference from the first.
std::string ranking_csv(const ReviewFile& review, const ReviewResult& result);
/// Chart, all routes and circulation over the hours.
std::string chart_csv(const ReviewFile& review, const ReviewResult& result);
/// One row per cell of the map.
std::string corridor_csv(const ReviewFile& review, const ReviewResult& result);
/// Every verdict of every baby; dimensions arm and run.
void write_review_nc(const std::filesystem::path& path, const ReviewFile& review,
                     const ReviewResult& result, const BuildInfo& build);

}  // namespace serosa::files
