// SPDX-License-Identifier: Apache-2.0
// Writes a results folder whose page has every kind of chart, of invented numbers.
// kinds FOLDER [WORDS]: WORDS stand for every title and label, to see that they stay text.
#include <cmath>
#include <iostream>

#include "runner/page_section.hpp"

namespace page = serosa::runner::page;

namespace {

constexpr double none = page::missing;

page::Bands courses(const std::string& w) {
  page::Bands chart;
  for (int i = 0; i <= 48; ++i) chart.times.push_back(i * 0.5);
  page::CoursePanel lost{w + "Water lost", "mL per kg of birth weight", {}};
  const char* names[] = {"Left exposed", "Wrapped at 3 min", "Wrapped at 20 min"};
  for (int a = 0; a < 3; ++a) {
    page::Course c{w + names[a], "case:" + std::to_string(a), {}};
    c.bands = {{w + "5 to 95 % of babies", {}, {}}, {w + "25 to 75 % of babies", {}, {}}};
    for (const double t : chart.times) {
      const double middle = (a == 0 ? 6.1 : 1.4 + 0.4 * a) * t / (1 + t / 30);
      c.middle.push_back(middle);
      c.bands[0].low.push_back(0.7 * middle);
      c.bands[0].high.push_back(1.4 * middle);
      c.bands[1].low.push_back(0.88 * middle);
      c.bands[1].high.push_back(1.15 * middle);
    }
    if (a == 2) c.middle.back() = none;  // the last runs did not come so far
    lost.courses.push_back(c);
  }
  lost.references = {{40, w + "40 mL/kg"}};
  chart.panels.push_back(lost);
  // Indices over time of many inputs, each with its interval; the second kind of use.
  page::CoursePanel indices{
      w + "What the spread comes from", "total index, share of the variance", {}};
  for (int k = 0; k < 9; ++k) {
    page::Course c{w + "Input number " + std::to_string(k + 1), "case:" + std::to_string(k), {}};
    c.bands = {{w + "95 % interval of the estimate", {}, {}}};
    for (const double t : chart.times) {
      const double middle = 0.5 * std::exp(-0.4 * k) * (1 + 0.4 * std::sin(0.2 * t + k));
      c.middle.push_back(middle);
      c.bands[0].low.push_back(middle - 0.02);
      c.bands[0].high.push_back(middle + 0.02);
    }
    indices.courses.push_back(c);
  }
  chart.panels.push_back(indices);
  page::CoursePanel warmth{w + "Core temperature", "°C", {}};
  page::Course core{w + "All babies", "case:0", {}};
  core.bands = {{w + "5 to 95 % of babies", {}, {}}};
  for (const double t : chart.times) {
    core.middle.push_back(37 - 0.9 * std::exp(-t / 3) * t);
    core.bands[0].low.push_back(core.middle.back() - 0.3);
    core.bands[0].high.push_back(core.middle.back() + 0.2);
  }
  warmth.courses = {core};
  warmth.ranges = {{none, 36.5, w + "cold"}, {36.5, 37.5, w + "normal"}};
  chart.panels.push_back(warmth);
  return chart;
}

page::Distribution spread(const std::string& w) {
  std::vector<double> a, b;
  for (int i = 0; i < 4000; ++i) {
    const double u = (i + 0.5) / 4000;
    a.push_back(20 + 4 * std::log(u / (1 - u)));
    b.push_back(9 + 2 * std::log(u / (1 - u)));
  }
  a[0] = -4000;  // one far out
  b[1] = none;
  page::Distribution chart;
  chart.counted = w + "babies";
  chart.panels.push_back({w + "Water lost by 6 h",
                          {w + "Water lost", "mL/kg"},
                          {{w + "Left exposed", "case:0"}, {w + "Wrapped", "case:1"}},
                          page::binned({a, b}),
                          {{30, w + "30 mL/kg"}}});
  chart.panels.push_back({w + "No run came so far",
                          {w + "Water lost", "mL/kg"},
                          {{w + "Left exposed", "case:0"}},
                          page::binned({{none, none}})});
  return chart;
}

page::Intervals dots(const std::string& w) {
  page::Intervals chart;
  page::IntervalPanel panel{w + "Against wrapped at 20 min",
                            {w + "Water lost by 6 h, difference", "mL/kg"},
                            {w + "Wrapped at 3 min", w + "Left exposed",
                             w + "Wrapped loosely, baby on its side and the bowel supported by a "
                                 "rolled towel at the right"}};
  panel.series = {{w + "Term", "case:0", {{-3.1, -4.2, -2.0}, {12, 9, 15.5}, {0.4, -0.6, 1.4}}},
                  {w + "Preterm", "case:1", {{-4.5, -6, -3.1}, {17, 13, 22}, {none, none, none}}}};
  panel.references = {{0, w + "no difference"}};
  chart.panels.push_back(panel);
  page::IntervalPanel index{w + "Indices",
                            {w + "Share of the variance", "%"},
                            {w + "Resistance of dried serosa", w + "Spread of the loops"}};
  index.series = {{w + "First order", "case:2", {{31, 25, 37}, {2, -1, 5}}}};
  index.references = {{0, w + "nought"}};
  chart.panels.push_back(index);
  return chart;
}

page::Map plane(const std::string& w) {
  page::Map chart;
  page::MapPanel panel{w + "Water lost by 6 h",
                       {w + "Time of wrapping", "min"},
                       {w + "Air speed", "m/s"},
                       {w + "Water lost", "mL/kg"},
                       {},
                       {},
                       {}};
  for (int i = 0; i < 9; ++i) panel.xs.push_back(3 + 5 * i);
  for (int j = 0; j < 7; ++j) panel.ys.push_back(0.05 + 0.05 * j);
  for (int j = 0; j < 7; ++j)
    for (int i = 0; i < 9; ++i)
      panel.values.push_back(5 + 0.35 * panel.xs[static_cast<std::size_t>(i)] *
                                     (1 + 3 * panel.ys[static_cast<std::size_t>(j)]));
  panel.values[20] = none;
  panel.levels = {{15, w + "15 mL/kg"}};
  chart.panels.push_back(panel);
  page::MapPanel second{w + "Balance",
                        {w + "Maintenance", "mL/kg/h"},
                        {w + "Bolus", "mL/kg"},
                        {w + "Circulating deficit", "mL/kg"},
                        {},
                        {},
                        {}};
  for (int i = 0; i < 20; ++i) second.xs.push_back(1 + 0.5 * i);
  for (int j = 0; j < 16; ++j) second.ys.push_back(2 * j);
  for (std::size_t j = 0; j < 16; ++j)
    for (std::size_t i = 0; i < 20; ++i) {
      const double value = 18 - 1.7 * second.xs[i] - 0.5 * second.ys[j];
      second.values.push_back(value);
      second.marked.push_back(std::abs(value) < 2);
    }
  second.marked_means = w + "every band held by at least 90 % of babies";
  second.levels = {{0, w + "nought"}};
  second.centre = 0;
  chart.panels.push_back(second);
  return chart;
}

page::Points plots(const std::string& w) {
  page::Points chart;
  chart.head = w + "Input";
  page::PointPanel effects{w + "Elementary effects",
                           {w + "Mean size of the effect", "mL/kg"},
                           {w + "Spread of the effect", "mL/kg"},
                           {}};
  page::PointSeries inputs{w + "Inputs", "case:0", {}};
  for (int k = 0; k < 12; ++k)
    inputs.points.push_back({10 * std::exp(-0.35 * k),
                             4 * std::exp(-0.3 * k) * (1 + 0.3 * std::sin(3.0 * k)),
                             w + "Input number " + std::to_string(k + 1), 9 * std::exp(-0.35 * k),
                             11 * std::exp(-0.35 * k), none, none, k > 8});
  effects.series = {inputs};
  effects.lines = {{1, 0, w + "spread = effect"}};
  effects.at_x = {{1, w + "1 mL/kg"}};
  chart.panels.push_back(effects);
  page::PointPanel work{w + "Work and precision",
                        {w + "Time for one baby and day", "ms", true},
                        {w + "Largest error", "mL/kg", true},
                        {}};
  for (int m = 0; m < 2; ++m) {
    page::PointSeries method{
        w + (m ? "Implicit" : "Explicit"), "case:" + std::to_string(m), {}, true};
    for (int k = 0; k < 6; ++k)
      method.points.push_back(
          {(m ? 2 : 0.8) * std::pow(1.6 + m * 0.2, k), std::pow(10, -k - m - 1), ""});
    work.series.push_back(method);
  }
  work.at_y = {{1e-3, w + "asked for"}};
  chart.panels.push_back(work);
  return chart;
}

page::Shares bars(const std::string& w) {
  page::Shares chart;
  page::SharePanel panel{
      w + "Filling by 6 h",
      {w + "Protocol A: 10 mL/kg at once",
       w + "Protocol B: 20 mL/kg over an hour, then 4 mL/kg/h of balanced crystalloid",
       w + "Protocol C: nothing"},
      {{w + "Under-filled", "under"},
       {w + "In the band", "inside"},
       {w + "Over-filled", "over"},
       {w + "Run failed", "failed"}},
      {{0.3, 0.6, 0.1, 0}, {0.05, 0.55, 0.397, 0.003}, {0.9994, 0, 0, 0.0006}}};
  chart.panels.push_back(panel);
  return chart;
}

}  // namespace

int main(int count, char** words) {
  const std::string folder = words[1], w = count > 2 ? words[2] : "";
  auto out = serosa::files::ResultsFolder::claim(folder);
  auto made = page::document(w + "Every kind of chart", w + "Can each be read?");
  auto& list = made["sections"];
  list.push_back(page::section(
      {"courses", w + "Over time", w + "Wrapped at 3 min: half is lost", {w + "Medians."}},
      courses(w)));
  list.push_back(page::section(
      {"spread", w + "Distributions", w + "Wrapped babies lose less and differ less"}, spread(w)));
  list.push_back(page::section(
      {"dots", w + "Differences", w + "Left exposed: " + page::said({12, 9, 15.5}) + " mL/kg more"},
      dots(w)));
  list.push_back(
      page::section({"plane", w + "Over two inputs", w + "Late and draughty is worst"}, plane(w)));
  list.push_back(
      page::section({"plots", w + "Inputs and solvers", w + "Few inputs matter"}, plots(w)));
  list.push_back(
      page::section({"bars", w + "In the band", w + "Protocol B over-fills two in five"}, bars(w)));
  list.push_back(
      page::section({"words", w + "Words", w + "Words"},
                    page::Table{{w + "Word", w + "Meaning"}, {{w + "mL", w + "millilitre"}}}));
  list.push_back(page::section({"limits", w + "Limits", w + "Invented numbers"},
                               page::List{{w + "Nothing here is real."}}));
  page::write(out, made);
  out.keep();
}
