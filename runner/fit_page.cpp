// SPDX-License-Identifier: Apache-2.0
#include "runner/fit_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "runner/page_section.hpp"
#include "runner/page_words.hpp"
#include "runner/text_table.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

using files::FitResult;

std::string unit_of(const std::string& unit) {
  std::string shown = units::shown(unit);
  if (shown == "1") return {};
  for (const auto& [from, to] :
       {std::pair<std::string, std::string>{"degC", "°C"}, {"m2", "m²"}, {"wk", "week"}})
    for (auto at = shown.find(from); at != std::string::npos; at = shown.find(from, at + to.size()))
      shown.replace(at, from.size(), to);
  return shown;
}

std::string capital(std::string text) {
  if (!text.empty() && text.front() >= 'a' && text.front() <= 'z')
    text.front() = static_cast<char>(text.front() - 'a' + 'A');
  return text;
}

const std::vector<study::Input>& inputs_of(const FitResult& r) {
  return r.file->problem.study.inputs;
}

/// What people call an input; of an act with the act's name, for several acts have a time.
std::string name_of(const study::Input& input) {
  constexpr std::string_view parameters = "parameters.", timeline = "timeline.";
  if (input.path.starts_with(parameters))
    return capital(input_in_words(input.path.substr(parameters.size())));
  if (!input.path.starts_with(timeline)) return capital(input.meaning);
  const std::string act = input.path.substr(timeline.size());
  return capital(plain_name(act.substr(0, act.find('.')))) + ": " + input.meaning;
}

std::string number(double x, const std::string& unit) {
  const std::string shown = unit_of(unit);
  return shown.empty() ? fit_figure(x) : fit_figure(x) + " " + shown;
}

std::string confidence_of(const FitResult& r) {
  return fmt::format("{:.6g} %", 100 * r.file->settings.confidence);
}

std::string told_title(std::size_t told, std::size_t of) {
  if (of == 1)
    return told == 1 ? "The data tell the fitted input" : "The data do not tell the fitted input";
  if (told == of) return fmt::format("The data tell all {} fitted inputs", of);
  return fmt::format("The data tell {} of {} fitted inputs",
                     told == 0 ? "none" : std::to_string(told), of);
}

/// `open`, `0.15 to 0.23 mmol/kg/h`, `0.15 mmol/kg/h to open`.
std::string interval_of(const study::FittedInput& in, const std::string& unit) {
  if (in.low_open && in.high_open) return "open";
  if (in.high_open) return number(in.low, unit) + " to open";
  return (in.low_open ? "open" : fit_figure(in.low)) + " to " + number(in.high, unit);
}

/// A sentence about inputs by their paths, with what people call them instead.
std::string in_words(std::string sentence, const FitResult& r) {
  std::vector<const study::Input*> inputs;
  for (const auto& input : inputs_of(r)) inputs.push_back(&input);
  // A path may begin another one.
  std::sort(inputs.begin(), inputs.end(),
            [](const auto* a, const auto* b) { return a->path.size() > b->path.size(); });
  for (const auto* input : inputs)
    for (std::size_t at; (at = sentence.find(input->path)) != std::string::npos;)
      sentence.replace(at, input->path.size(), "“" + name_of(*input) + "”");
  return sentence;
}

PageData fitted_section(const FitResult& r) {
  page::Table table;
  table.head = {"Input", "Fitted", confidence_of(r) + " interval", "Bounds", "What the data say"};
  std::size_t told = 0;
  for (std::size_t j = 0; j < inputs_of(r).size(); ++j) {
    const auto& input = inputs_of(r)[j];
    const auto& in = r.fit->inputs[j];
    const auto& range = r.file->problem.ranges[j];
    if (in.verdict == study::FitVerdict::told) ++told;
    table.rows.push_back(
        {name_of(input), number(in.value, input.unit), interval_of(in, input.unit),
         fmt::format("{} to {}", fit_figure(range.low), number(range.high, input.unit)),
         std::string(sentence_of(in.verdict))});
  }
  const auto& fit = *r.fit;
  return page::section(
      {"fitted",
       "What was fitted",
       told_title(told, inputs_of(r).size()),
       {fmt::format("{} measured figures. {} of {} searches from different starts came to the same "
                    "best fit.",
                    r.file->problem.measurements.size(), fit.agreeing, fit.starts.size()),
        fit.freedom > 0
            ? fmt::format("Chi-square, the sum of the squares of all residuals in units of their "
                          "errors, is {} on {:.0f} degrees of freedom: by chance it would be as "
                          "large or larger in {} % of repetitions.",
                          figure(fit.chi_square), fit.freedom, percent(fit.p))
            : std::string("As many inputs as figures: nothing is left to judge the fit by.")}},
      table);
}

PageData intervals_section(const FitResult& r) {
  page::IntervalPanel panel{
      "Fitted values and their intervals", {"Place within the bounds", "%"}, {}};
  page::IntervalSeries series{confidence_of(r) + " interval", "case:0", {}};
  for (std::size_t j = 0; j < inputs_of(r).size(); ++j) {
    const auto& in = r.fit->inputs[j];
    const auto& range = r.file->problem.ranges[j];
    const auto place = [&](double x) { return 100 * range.share_of(x); };
    panel.categories.push_back(fmt::format("{}, {} to {}", name_of(inputs_of(r)[j]),
                                           figure(range.low),
                                           number(range.high, inputs_of(r)[j].unit)));
    series.points.push_back({place(in.value), place(in.low_open ? range.low : in.low),
                             place(in.high_open ? range.high : in.high)});
  }
  panel.series.push_back(series);
  return page::section({"intervals",
                        "How sure",
                        "How much of its bounds each interval leaves",
                        {"From 0 % at the lower bound to 100 % at the upper. An interval that "
                         "reaches a bound is open "
                         "there: the data say nothing about what lies beyond."}},
                       page::Intervals{{panel}});
}

PageData profiles_section(const FitResult& r) {
  page::Points chart;
  for (std::size_t j = 0; j < r.fit->profiles.size(); ++j) {
    const auto& input = inputs_of(r)[j];
    page::PointPanel panel;
    panel.title = name_of(input);
    panel.x = {"Held at", unit_of(input.unit), r.file->problem.ranges[j].logarithmic};
    panel.y = {"Rise of chi-square", ""};
    page::PointSeries series{"Profile", "case:0", {}, true};
    // What lies far above the line would leave no room below it.
    for (const auto& point : r.fit->profiles[j].points)
      if (point.rise < 2 * r.fit->threshold) series.points.push_back({point.values[j], point.rise});
    panel.series.push_back(series);
    panel.at_y.push_back({r.fit->threshold, confidence_of(r)});
    panel.at_x.push_back({r.fit->inputs[j].value, "best fit"});
    chart.panels.push_back(panel);
  }
  return page::section({"profiles",
                        "Profile likelihoods",
                        "How the misfit grows when one input is held away from its best value",
                        {"At each dot the input is held and all others are fitted again. Values "
                         "below the line are "
                         "not refused by the data. A flat profile cannot be told; one that "
                         "never reaches the line "
                         "on a side is open there."}},
                       chart);
}

/// One panel per measured figure; a series of dots for each arm that was
/// measured.
template <class Fill>
std::vector<page::PointPanel> panels_of_figures(const FitResult& r, const Fill& fill) {
  std::vector<page::PointPanel> panels;
  const auto& p = r.file->problem;
  for (std::size_t o = 0; o < p.observables.size(); ++o) {
    page::PointPanel panel;
    panel.title = p.observables[o].meaning;
    panel.x = {"Time after birth", "h"};
    for (std::size_t a = 0; a < p.study.arms.size(); ++a) fill(panel, o, a);
    if (!panel.series.empty()) panels.push_back(std::move(panel));
  }
  return panels;
}

template <class See>
void each_measurement(const FitResult& r, std::size_t observable, std::size_t arm, const See& see) {
  const auto& all = r.file->problem.measurements;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (all[i].observable == observable && all[i].arm == arm) see(all[i], r.fit->figures[i]);
}

std::string arm_label(const FitResult& r, std::size_t arm, const char* what) {
  const auto& arms = r.file->problem.study.arms;
  return arms.size() == 1 ? capital(what) : arms[arm].name + ", " + what;
}

PageData figures_section(const FitResult& r) {
  const auto fill = [&](page::PointPanel& panel, std::size_t o, std::size_t a) {
    const auto& observable = r.file->problem.observables[o];
    panel.y = {observable.meaning, unit_of(observable.unit)};
    const std::string style = fmt::format("case:{}", a);
    page::PointSeries measured{arm_label(r, a, "measured, ± 1 SD"), style, {}};
    page::PointSeries fitted{arm_label(r, a, "fitted"), style, {}, true};
    each_measurement(r, o, a, [&](const study::Measurement& m, double figure) {
      page::Point dot{m.time, m.value};
      dot.y_low = m.value - m.sd;
      dot.y_high = m.value + m.sd;
      measured.points.push_back(dot);
      page::Point of_fit{m.time, figure};
      of_fit.hollow = true;
      fitted.points.push_back(of_fit);
    });
    if (measured.points.empty()) return;
    panel.series.push_back(measured);
    panel.series.push_back(fitted);
  };
  return page::section(
      {"figures",
       "Measured and fitted",
       "What was measured, and what the best fit makes of it",
       {"Full dots were measured, with a line of one SD either way; hollow dots, joined, are the "
        "best fit at the same hours."}},
      page::Points{panels_of_figures(r, fill)});
}

PageData residuals_section(const FitResult& r) {
  std::size_t far = 0;
  const auto fill = [&](page::PointPanel& panel, std::size_t o, std::size_t a) {
    panel.y = {"Residual", "SD"};
    page::PointSeries series{
        arm_label(r, a, "measured less fitted"), fmt::format("case:{}", a), {}};
    each_measurement(r, o, a, [&](const study::Measurement& m, double figure) {
      const double residual = (m.value - figure) / m.sd;
      if (std::abs(residual) > 2) ++far;
      series.points.push_back({m.time, residual});
    });
    if (series.points.empty()) return;
    if (panel.at_y.empty()) panel.at_y = {{-2, "− 2 SD"}, {0, ""}, {2, "+ 2 SD"}};
    panel.series.push_back(series);
  };
  page::Points chart{panels_of_figures(r, fill)};
  const std::size_t all = r.file->problem.measurements.size();
  return page::section({"residuals",
                        "Residuals",
                        fmt::format("{} of {} figures lie more than 2 SD off the fit", far, all),
                        {fmt::format("Measured less fitted, in units of the stated error. Some "
                                     "{:.0f} of {} are "
                                     "expected outside ± 2 SD by chance. A run of dots on one "
                                     "side says that the "
                                     "model lacks something there.",
                                     0.0455 * static_cast<double>(all), all)}},
                       chart);
}

PageData searches_section(const FitResult& r) {
  page::Table table;
  table.head = {"Search", "Least chi-square", "Evaluations", "Ended"};
  for (std::size_t i = 0; i < r.fit->starts.size(); ++i) {
    const auto& s = r.fit->starts[i];
    table.rows.push_back({fmt::format("{}{}", i + 1, i == r.fit->best ? ", the best" : ""),
                          std::isnan(s.chi_square) ? "–" : fmt::format("{:.3f}", s.chi_square),
                          fmt::format("{}", s.evaluations), s.ended});
  }
  return page::section(
      {"searches",
       "Searches",
       fmt::format("{} of {} searches agree", r.fit->agreeing, r.fit->starts.size()),
       {"The first begins at the published values, the others anywhere within "
        "the "
        "bounds. Searches that disagree mean valleys that are not joined."}},
      table);
}

}  // namespace

std::string fit_figure(double x) {
  return std::abs(x) < 1 && x != 0 ? fmt::format("{:.3g}", x) : figure(x);
}

PageData page_of_fit(const FitResult& r, const std::vector<std::string>& findings) {
  PageData page = page::document(r.file->title, r.file->note);
  auto& sections = page["sections"];
  sections.push_back(fitted_section(r));
  std::vector<std::string> sentences;
  for (const auto& sentence : findings) sentences.push_back(in_words(sentence, r));
  if (!sentences.empty())
    sections.push_back(page::section(
        {"findings", "To be known", "What must be known beside the table"}, page::List{sentences}));
  sections.push_back(intervals_section(r));
  if (!r.fit->profiles.empty()) sections.push_back(profiles_section(r));
  sections.push_back(figures_section(r));
  sections.push_back(residuals_section(r));
  sections.push_back(searches_section(r));
  return page;
}

}  // namespace serosa::runner
