// SPDX-License-Identifier: Apache-2.0
#include "files/side_by_side.hpp"

#include <algorithm>
#include <cmath>

#include "study/difference.hpp"

namespace serosa::files {

SharedTimes shared_times(std::span<const care::Case* const> cases) {
  SharedTimes times;
  double until = cases.front()->until, every = cases.front()->every;
  std::vector<double> report;
  bool other_ends = false;
  for (const auto* c : cases) {
    other_ends = other_ends || c->until != cases.front()->until;
    until = std::min(until, c->until);
    every = std::min(every, c->every);
    report.insert(report.end(), c->report_at.begin(), c->report_at.end());
  }
  if (other_ends)
    times.notes.push_back("the cases end at different times; all are shown to the earliest end");
  if (std::erase_if(report, [](double t) { return t < 0; }) > 0)
    times.notes.push_back("times before birth are left out of the table");
  std::erase_if(report, [&](double t) { return t > until + 1e-9; });
  if (report.empty()) report = {until};
  times.all = simulate::grid(0, until, every, report);
  for (double& t : times.all) t += 0.0;  // takes the sign off zero
  for (std::size_t i = 0; i < times.all.size(); ++i)
    if (std::any_of(report.begin(), report.end(),
                    [&](double t) { return std::abs(t - times.all[i]) < 2e-9; }))
      times.report.push_back(i);
  return times;
}

std::vector<ExtraSeries> extra_series(std::span<const RunAndTwin> runs, std::size_t times) {
  std::vector<ExtraSeries> list{{"circulating_deficit_against_ordinary_care",
                                 "mL",
                                 "Blood volume missing against the same baby under ordinary care",
                                 {}}};
  for (const auto& p : study::part_list)
    list.push_back({"part_" + std::string(p.name),
                    "mL",
                    "Part of the circulating deficit: " + std::string(p.meaning),
                    {}});
  for (const auto& [run, twin] : runs)
    for (std::size_t t = 0; t < times; ++t) {
      const double volume = run->at(t, simulate::output::blood_volume);
      const bool reached = !std::isnan(volume);
      list.front().values.push_back(twin->at(t, simulate::output::blood_volume) - volume);
      const auto account = reached ? study::deficit_account(*run, t) : study::DeficitAccount{};
      for (std::size_t p = 0; p < study::part::count; ++p)
        list[p + 1].values.push_back(reached ? account.parts[p] : std::nan(""));
    }
  return list;
}

}  // namespace serosa::files
