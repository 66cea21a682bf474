// SPDX-License-Identifier: Apache-2.0
// The page of `sensitivity`.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "files/results.hpp"
#include "runner/page_section.hpp"
#include "runner/page_words.hpp"
#include "runner/sensitivity.hpp"
#include "runner/text_table.hpp"
#include "units/units.hpp"

namespace serosa::runner {

using study::Estimate;
using study::SensitivityMethod;
using study::SensitivityResult;

std::string input_label(const std::string& path) { return varied_in_words(path); }

namespace {

/// So many inputs are drawn; all are in the tables.
constexpr std::size_t most_drawn = 12, most_courses = 5;

class SensitivityPage {
 public:
  SensitivityPage(const study::Study& s, const SensitivityResult& r, const PageData& described)
      : s_(s), r_(r), described_(described) {}

  PageData page() {
    PageData page = page::document(s_.title.empty() ? s_.name : s_.title, s_.note);
    auto& sections = page["sections"];
    for (std::size_t arm = 0; arm < r_.arms.size(); ++arm) {
      switch (r_.method) {
        case SensitivityMethod::indices:
        case SensitivityMethod::rank_correlations:
          sections.push_back(intervals(arm));
          break;
        case SensitivityMethod::elementary_effects:
          sections.push_back(plane(arm));
          break;
        case SensitivityMethod::elasticities:
          sections.push_back(slopes(arm));
          break;
      }
      if (r_.measures[ranking_measure(r_)].interval && r_.times.size() > 1)
        sections.push_back(over_time(arm));
      if (!r_.pairs.empty()) sections.push_back(pairs(arm));
    }
    if (!r_.sizes.empty()) sections.push_back(convergence(r_.arms.size() - 1));
    sections.push_back(what_varied());
    return page;
  }

 private:
  std::size_t last(std::size_t answer) const {
    return r_.answers[answer].timed ? r_.times.size() - 1 : 0;
  }
  std::string when(std::size_t answer) const {
    return r_.answers[answer].timed ? ", " + files::time_label(r_.times.back()) : std::string();
  }
  std::string of_arm(std::size_t arm) const {
    return r_.arms.size() > 1 ? ", " + r_.arms[arm] : std::string();
  }
  std::string panel_title(std::size_t answer) const {
    return r_.answers[answer].meaning + when(answer);
  }
  std::vector<std::size_t> drawn(std::size_t arm, std::size_t answer,
                                 std::size_t most = most_drawn) const {
    auto order = ranked_inputs(r_, arm, answer, last(answer));
    order.resize(std::min(order.size(), most));
    return order;
  }
  /// The unit of a change of an answer: of temperatures a difference.
  std::string effect_unit(std::size_t answer) const {
    const std::string& unit = r_.answers[answer].unit;
    return unit == "degC" ? "°C difference" : shown_unit(unit);
  }
  std::string behind_effect(std::size_t answer) const {
    const std::string unit = effect_unit(answer);
    return unit.empty() ? unit : " " + unit;
  }
  static page::Interval interval(const Estimate& e) {
    return {e.value, std::isnan(e.low) ? e.value : e.low, std::isnan(e.high) ? e.value : e.high};
  }
  /// True when at least one input changes the answer.
  bool answers_to_something(std::size_t arm, std::size_t answer) const {
    const auto order = drawn(arm, answer, 1);
    return std::fabs(r_.at(ranking_measure(r_), arm, answer, last(answer), order[0]).value) > 0;
  }

  /// The sentence that a section's title is: what carries the first answer.
  std::string finding(std::size_t arm) const {
    for (std::size_t a = 0; a < r_.answers.size(); ++a) {
      if (!answers_to_something(arm, a)) continue;
      const std::size_t j = drawn(arm, a, 1)[0];
      const Estimate& e = r_.at(ranking_measure(r_), arm, a, last(a), j);
      const std::string name = input_label(r_.inputs[j]);
      switch (r_.method) {
        case SensitivityMethod::indices:
          return fmt::format("{}: {} carries most, {} % of the variance in all ({} to {} %)",
                             panel_title(a), name, page::said(100 * e.value),
                             page::said(100 * e.low), page::said(100 * e.high));
        case SensitivityMethod::elementary_effects:
          return fmt::format("{}: {} moves it most, by {}{} over the width of its law",
                             panel_title(a), name, page::said(e.value), behind_effect(a));
        case SensitivityMethod::rank_correlations:
          return fmt::format(
              "{}: goes most closely with {}, partial rank correlation {} ({} to {})",
              panel_title(a), name, page::said(e.value), page::said(e.low), page::said(e.high));
        case SensitivityMethod::elasticities:
          return fmt::format("{}: {} moves it most, by {}{} over the middle 95 % of its law",
                             panel_title(a), name, page::said(e.value), behind_effect(a));
      }
    }
    return "Nothing that varies changes any answer";
  }

  PageData intervals(std::size_t arm) const {
    page::Intervals chart;
    const bool shares = r_.method == SensitivityMethod::indices;
    for (std::size_t a = 0; a < r_.answers.size(); ++a) {
      if (!answers_to_something(arm, a)) continue;
      page::IntervalPanel panel;
      panel.title = panel_title(a);
      panel.axis = {shares ? "Share of the variance" : "Rank correlation", shares ? "%" : ""};
      const auto inputs = drawn(arm, a);
      for (const auto j : inputs) panel.categories.push_back(input_label(r_.inputs[j]));
      const char* const names[] = {shares ? "first order: the input alone" : "rank correlation",
                                   shares ? "total: with all it does together with others"
                                          : "partial: other inputs taken away"};
      for (std::size_t m = 0; m < 2; ++m) {
        page::IntervalSeries series{names[m], fmt::format("case:{}", m), {}};
        for (const auto j : inputs) {
          page::Interval i = interval(r_.at(m, arm, a, last(a), j));
          if (shares) i = {100 * i.value, 100 * i.low, 100 * i.high};
          series.points.push_back(i);
        }
        panel.series.push_back(std::move(series));
      }
      panel.references = {{0, "nothing"}};
      chart.panels.push_back(std::move(panel));
    }
    return page::section({fmt::format("carries-{}", arm), "What carries the answer" + of_arm(arm),
                          finding(arm), explained(arm)},
                         chart);
  }

  std::vector<std::string> explained(std::size_t arm) const {
    std::string method = sensitivity_method(r_);
    if (const auto brackets = method.find(" Brackets:"); brackets != std::string::npos)
      method.resize(brackets);
    std::vector<std::string> text{method};
    if (r_.measures[0].interval)
      text.back() +=
          " Lines are intervals; where one reaches nought the dot is hollow: the input "
          "can't be told from one that does nothing.";
    if (arm >= s_.arms.size())
      text.push_back("A difference is taken run by run: both arms have the same inputs.");
    if (r_.inputs.size() > most_drawn)
      text.push_back(
          fmt::format("The {} of {} inputs that carry most of each answer; all are in "
                      "sensitivity.csv.",
                      most_drawn, r_.inputs.size()));
    for (std::size_t a = 0; a < r_.answers.size(); ++a)
      if (const double never = r_.never[arm * r_.answers.size() + a]; never > 0)
        text.push_back(
            fmt::format("{}: {} % of the runs never get there and count as the last hour.",
                        r_.answers[a].meaning, percent(never)));
    return text;
  }

  PageData over_time(std::size_t arm) {
    const std::size_t m = ranking_measure(r_);
    const bool shares = r_.method == SensitivityMethod::indices;
    const double scale = shares ? 100 : 1;
    page::Bands chart;
    chart.times = r_.times;
    chart.zero = true;
    for (std::size_t a = 0; a < r_.answers.size(); ++a) {
      if (!r_.answers[a].timed || !answers_to_something(arm, a)) continue;
      page::CoursePanel panel;
      panel.title = r_.answers[a].meaning;
      panel.unit =
          shares ? "% of the variance, total index"
          : r_.method == SensitivityMethod::elementary_effects
              ? effect_unit(a) + (effect_unit(a).empty() ? "" : ", ") + "mean size of the effect"
              : "partial rank correlation";
      for (const auto j : drawn(arm, a, most_courses)) {
        page::Course course{input_label(r_.inputs[j]), style_of(j), {}, {{"interval", {}, {}}}};
        for (std::size_t t = 0; t < r_.times.size(); ++t) {
          const Estimate& e = r_.at(m, arm, a, t, j);
          course.middle.push_back(scale * e.value);
          course.bands[0].low.push_back(scale * e.low);
          course.bands[0].high.push_back(scale * e.high);
        }
        panel.courses.push_back(std::move(course));
      }
      chart.panels.push_back(std::move(panel));
    }
    return page::section(
        {fmt::format("time-{}", arm),
         "Over time" + of_arm(arm),
         fmt::format("What carries each output from {} to {}", files::time_label(r_.times.front()),
                     files::time_label(r_.times.back())),
         {fmt::format("The {} inputs that carry most at the end.",
                      std::min(most_courses, r_.inputs.size()))}},
        chart);
  }

  PageData plane(std::size_t arm) const {
    page::Points chart;
    chart.head = "Input";
    for (std::size_t a = 0; a < r_.answers.size(); ++a) {
      if (!answers_to_something(arm, a)) continue;
      const std::string unit = effect_unit(a);
      page::PointPanel panel;
      panel.title = panel_title(a);
      panel.x = {"Mean size of the effect, mu*", unit};
      panel.y = {"How much it differs, sigma", unit};
      page::PointSeries series{"inputs", "case:0", {}, false};
      std::size_t named = 0;
      for (const auto j : ranked_inputs(r_, arm, a, last(a))) {
        const Estimate& e = r_.at(0, arm, a, last(a), j);
        const double sigma = r_.at(2, arm, a, last(a), j).value;
        if (std::isnan(sigma) || !(e.value > 0)) continue;
        page::Point point{e.value, sigma};
        if (named++ < most_drawn) point.label = input_label(r_.inputs[j]);
        point.x_low = e.low, point.x_high = e.high;
        point.hollow = study::not_distinguishable_from_zero(e);
        series.points.push_back(std::move(point));
      }
      if (series.points.empty()) continue;
      panel.series.push_back(std::move(series));
      panel.lines = {{1, 0, "sigma = mu*"}};
      chart.panels.push_back(std::move(panel));
    }
    auto text = explained(arm);
    text.push_back(
        "To the right: the input moves the answer far. High up: by how much depends on "
        "where it starts, or on other inputs. Groups have no sigma and are not drawn.");
    return page::section(
        {fmt::format("plane-{}", arm), "Elementary effects" + of_arm(arm), finding(arm), text},
        chart);
  }

  /// What one unit of an input is, in a slope: of a temperature a degree of difference.
  std::string per_input(std::size_t j) const {
    const std::string& unit = s_.inputs[j].unit;
    return unit == "1" ? " per 1" : " per " + (unit == "degC" ? "°C" : shown_unit(unit));
  }

  PageData slopes(std::size_t arm) const {
    page::Intervals chart;
    page::Table table;
    table.head = {"Answer", "Input", "Over the range", "Elasticity", "Slope", "Found by"};
    table.text = true;
    for (std::size_t a = 0; a < r_.answers.size(); ++a) {
      if (!answers_to_something(arm, a)) continue;
      page::IntervalPanel panel;
      panel.title = panel_title(a);
      panel.axis = {"Change over the range", effect_unit(a)};
      panel.hollow = false;  // slopes are exact: a dot is not an estimate
      page::IntervalSeries series{"change over the range", "case:0", {}};
      for (const auto j : drawn(arm, a)) {
        const auto at = [&](std::size_t m) { return r_.at(m, arm, a, last(a), j).value; };
        if (!(std::fabs(at(2)) > 0)) continue;
        panel.categories.push_back(input_label(r_.inputs[j]));
        series.points.push_back({at(2), at(2), at(2)});
        table.rows.push_back({panel.categories.size() == 1 ? panel_title(a) : "",
                              input_label(r_.inputs[j]), page::said(at(2)) + behind_effect(a),
                              page::said(at(1)),
                              page::said(at(0)) + behind_effect(a) + per_input(j), r_.found_by[j]});
      }
      panel.series.push_back(std::move(series));
      panel.references = {{0, "no change"}};
      chart.panels.push_back(std::move(panel));
    }
    auto text = explained(arm);
    text.push_back(
        "A slope is what the middle of all laws tells; far from it, a bend or other inputs may "
        "make it another. Inputs that change nothing here are left out.");
    const page::About about{fmt::format("slopes-{}", arm), "Slopes" + of_arm(arm), finding(arm),
                            text};
    PageData section = page::section(about, chart);
    section["below"] = page::section(about, table)["data"];
    return section;
  }

  PageData pairs(std::size_t arm) const {
    page::Table table;
    table.head = {"Answer", "Inputs", "Only together, % of the variance"};
    for (std::size_t a = 0; a < r_.answers.size(); ++a)
      for (std::size_t p = 0; p < r_.pairs.size(); ++p) {
        const Estimate& e = r_.at(2, arm, a, last(a), p);
        if (std::isnan(e.value)) continue;
        const auto [one, other] = s_.design.radial->pairs[p];
        table.rows.push_back(
            {panel_title(a), input_label(r_.inputs[one]) + " and " + input_label(r_.inputs[other]),
             page::said(page::Interval{100 * e.value, 100 * e.low, 100 * e.high}) +
                 (study::not_distinguishable_from_zero(e) ? ", can't be told from nought" : "")});
      }
    return page::section({fmt::format("pairs-{}", arm), "Interactions" + of_arm(arm),
                          "What two inputs do only together"},
                         table);
  }

  PageData convergence(std::size_t arm) {
    page::Points chart;
    chart.head = "Input";
    for (std::size_t a = 0; a < r_.answers.size(); ++a) {
      if (!answers_to_something(arm, a)) continue;
      page::PointPanel panel;
      panel.title = panel_title(a);
      panel.x = {"Base points", "", true};
      panel.y = {"Total index", "% of the variance"};
      for (const auto j : drawn(arm, a, 4)) {
        page::PointSeries series{input_label(r_.inputs[j]), style_of(j), {}, true};
        const auto add = [&](std::uint64_t size, const Estimate& e) {
          page::Point p{static_cast<double>(size), 100 * e.value};
          p.y_low = 100 * e.low, p.y_high = 100 * e.high;
          series.points.push_back(std::move(p));
        };
        for (std::size_t s = 0; s < r_.sizes.size(); ++s)
          add(r_.sizes[s], r_.at_size(s, 1, arm, a, j));
        add(r_.all_points, r_.at(1, arm, a, last(a), j));
        panel.series.push_back(std::move(series));
      }
      chart.panels.push_back(std::move(panel));
    }
    return page::section(
        {"settled",
         "Has it settled?" + of_arm(arm),
         fmt::format("Total indices with {} to {} base points", r_.sizes.front(), r_.all_points),
         {"The same runs, fewer of them. What still moves at the right end needs a "
          "larger sample."}},
        chart);
  }

  PageData what_varied() const {
    page::Table table;
    table.head = {"Input", "Law", "Source", "How well known"};
    for (const auto& input : s_.inputs) {
      const std::string law = law_in_words(input.law_text, !input.is_number());
      std::string source = input.source, grade;
      for (const auto& one : described_.at("inputs"))
        if (one.value("path", "") == input.path) {
          source = one.value("work", "");
          if (source.empty()) source = one.value("source", "");
          grade = one.value("grade", "");
        }
      table.rows.push_back(
          {input_label(input.path), law, source.empty() ? "none given: assumed" : source, grade});
    }
    PageData section = page::section(
        {"inputs",
         "What was varied",
         fmt::format("{} inputs and the laws they were drawn by", s_.inputs.size()),
         {"Shares of the variance are shares of what these laws make; another range "
          "gives other shares. Nothing is measured here: it is what the model says."}},
        table);
    section["data"]["prose"] = true;
    return section;
  }

  /// One look for an input on all charts of the page, in the order in which they first appear.
  std::string style_of(std::size_t input) {
    const auto there = std::find(styled_.begin(), styled_.end(), input);
    const auto place = there - styled_.begin();
    if (there == styled_.end()) styled_.push_back(input);
    return fmt::format("case:{}", place);
  }

  std::vector<std::size_t> styled_;
  const study::Study& s_;
  const SensitivityResult& r_;
  const PageData& described_;
};

}  // namespace

PageData page_of_sensitivity(const study::Study& study, const SensitivityResult& result,
                             const PageData& described) {
  return SensitivityPage(study, result, described).page();
}

}  // namespace serosa::runner
