// SPDX-License-Identifier: Apache-2.0
#include "runner/page_spread.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "files/netcdf.hpp"
#include "files/results.hpp"
#include "files/spread_results.hpp"
#include "runner/page_folder.hpp"
#include "runner/page_section.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;

namespace {

constexpr const char* drawn_outputs[] = {"bowel_evaporation", "external_deficit",
                                         "third_space",       "circulating_deficit",
                                         "plasma_sodium",     "core_temperature"};

/// Words of a unit as people say it: a gram of water is a millilitre.
std::string unit_of(const std::string& unit) {
  return unit == "g" ? "mL" : unit == "degC" ? "°C" : unit == "1" ? "fraction" : unit;
}

class SpreadPage {
 public:
  explicit SpreadPage(const files::SpreadCourses& s) : s_(s) {}

  PageData bands() const {
    page::Bands chart;
    chart.times = s_.times;
    for (const char* name : drawn_outputs) {
      const std::size_t o = output(name);
      if (o == s_.outputs.size()) continue;
      page::CoursePanel panel{s_.meanings[o], unit_of(s_.units[o]), {}};
      for (std::size_t c = 0; c < cases(); ++c) {
        page::Course course{
            s_.cases[c], fmt::format("case:{}", c), {}, {{"5 to 95 % of the draws", {}, {}}}};
        for (std::size_t t = 0; t < s_.times.size(); ++t) {
          course.middle.push_back(at(c, o, t, 1));
          course.bands[0].low.push_back(at(c, o, t, 0));
          course.bands[0].high.push_back(at(c, o, t, 2));
        }
        panel.courses.push_back(std::move(course));
      }
      chart.panels.push_back(std::move(panel));
    }
    const std::size_t o = output("external_deficit"), last = s_.times.size() - 1;
    return page::section(
        {"spread",
         "How sure is this?",
         fmt::format("All routes together by {}: {} to {} mL in 90 of 100 draws{}",
                     files::time_label(s_.times.back()), page::said(at(0, o, last, 0)),
                     page::said(at(0, o, last, 2)), cases() > 1 ? " of " + s_.cases[0] : ""),
         {s_.about +
          ". Lines are middles of the draws, bands hold 5 to 95 % of them. Babies differ "
          "beyond what the parameters' ranges say."}},
        chart);
  }

  PageData owed() const {
    page::Intervals chart;
    const std::size_t last = s_.times.size() - 1;
    std::string title = "Nothing varies";
    for (std::size_t c = 0; c < s_.cases.size(); ++c) {
      page::IntervalPanel panel;
      panel.title = s_.cases[c];
      panel.axis = {"Share of the variance at " + files::time_label(s_.times.back()), "%"};
      page::IntervalSeries assumed{"owed to assumptions", "case:1", {}},
          published{"owed to published parameters", "case:2", {}};
      for (const char* name : drawn_outputs) {
        const std::size_t o = output(name);
        if (o == s_.outputs.size() || std::isnan(share(s_.assumed, c, o, last, 0))) continue;
        panel.categories.push_back(s_.meanings[o]);
        const auto interval = [&](const std::vector<double>& of) {
          return page::Interval{100 * share(of, c, o, last, 0), 100 * share(of, c, o, last, 1),
                                100 * share(of, c, o, last, 2)};
        };
        assumed.points.push_back(interval(s_.assumed));
        published.points.push_back(interval(s_.published));
        if (c == 0 && std::string_view(name) == "external_deficit")
          title = fmt::format("{}: {} % of the variance is owed to assumptions", s_.meanings[o],
                              page::said(interval(s_.assumed)));
      }
      if (panel.categories.empty()) continue;
      panel.series = {std::move(assumed), std::move(published)};
      panel.references = {{0, "nothing"}};
      chart.panels.push_back(std::move(panel));
    }
    return page::section({"owed",
                          "Who owes the spread?",
                          title,
                          {"What would go if all assumptions were known, or all published "
                           "parameters; what is left the two make together. Lines are 95 % "
                           "intervals."}},
                         chart);
  }

 private:
  /// Cases without their differences.
  std::size_t cases() const { return (s_.cases.size() + 1) / 2; }
  std::size_t output(const std::string& name) const {
    return static_cast<std::size_t>(std::find(s_.outputs.begin(), s_.outputs.end(), name) -
                                    s_.outputs.begin());
  }
  std::size_t place(std::size_t c, std::size_t o, std::size_t t) const {
    return (c * s_.outputs.size() + o) * s_.times.size() + t;
  }
  double at(std::size_t c, std::size_t o, std::size_t t, std::size_t level) const {
    return s_.values[place(c, o, t) * s_.levels.size() + level];
  }
  double share(const std::vector<double>& of, std::size_t c, std::size_t o, std::size_t t,
               std::size_t part) const {
    return of[place(c, o, t) * 3 + part];
  }

  const files::SpreadCourses& s_;
};

}  // namespace

void add_spread(PageData& page, const fs::path& folder) {
  const fs::path file = folder / "spread.nc";
  std::error_code failure;
  if (!fs::exists(file, failure)) return;
  files::SpreadCourses spread;
  try {
    spread = files::read_spread_nc(file);
  } catch (const files::NetcdfError& error) {
    refuse_folder(file, error.what());
  }
  if (spread.levels.size() != 3 || spread.times.empty())
    refuse_folder(file, "is not the spread of this program");
  const SpreadPage sections(spread);
  // Before what the page can't tell.
  PageData all = PageData::array();
  for (auto& section : page["sections"]) {
    if (section.value("id", "") == "limits") {
      all.push_back(sections.bands());
      all.push_back(sections.owed());
    }
    all.push_back(std::move(section));
  }
  page["sections"] = std::move(all);
}

}  // namespace serosa::runner
