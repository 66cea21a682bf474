// SPDX-License-Identifier: Apache-2.0
// sensitivity: which inputs carry the answer.
#include "runner/sensitivity.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numeric>

#include "files/results.hpp"
#include "files/results_folder.hpp"
#include "runner/batch.hpp"
#include "runner/commands.hpp"
#include "runner/text_table.hpp"
#include "units/units.hpp"

namespace serosa::runner {

using study::Estimate;
using study::SensitivityMethod;
using study::SensitivityResult;

std::size_t ranking_measure(const SensitivityResult& r) {
  switch (r.method) {
    case SensitivityMethod::indices:
      return 1;
    case SensitivityMethod::elementary_effects:
      return 0;
    case SensitivityMethod::rank_correlations:
      return 1;
    case SensitivityMethod::elasticities:
      return 2;
  }
  return 0;
}

std::vector<std::size_t> ranked_inputs(const SensitivityResult& r, std::size_t arm,
                                       std::size_t answer, std::size_t time) {
  std::vector<std::size_t> order(r.inputs.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const std::size_t measure = ranking_measure(r);
  const auto size = [&](std::size_t j) {
    const double x = std::fabs(r.at(measure, arm, answer, time, j).value);
    return std::isnan(x) ? -1.0 : x;
  };
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t i, std::size_t j) { return size(i) > size(j); });
  return order;
}

std::string sensitivity_method(const SensitivityResult& r) {
  switch (r.method) {
    case SensitivityMethod::indices:
      return fmt::format(
          "Shares of the variance over {} of {} base points. First order: what would go if the "
          "input were known; total: what would stay if all else were. Brackets: interval. * zero "
          "can't be excluded.",
          r.points, r.all_points);
    case SensitivityMethod::elementary_effects:
      return fmt::format(
          "Elementary effects over {} of {} trajectories: changes of the answer over the whole "
          "width of the input's law. mu*: mean size; mu: mean; sigma: how much they differ (a "
          "bend, "
          "or other inputs at work). Brackets: interval. * zero can't be excluded.",
          r.points, r.all_points);
    case SensitivityMethod::rank_correlations:
      return fmt::format(
          "Rank correlations over {} of {} runs; the partial one has all other inputs taken away. "
          "Brackets: interval. * zero can't be excluded.",
          r.points, r.all_points);
    case SensitivityMethod::elasticities:
      return "Slopes at the middle of all laws, exact. Elasticity: per cent of the answer per per "
             "cent of the input. Over the range: slope times the width of the middle 95 % of the "
             "input's law.";
  }
  return {};
}

namespace {

std::string cell_of(const study::Measure& m, const Estimate& e) {
  if (!m.interval) return figure(e.value);
  return fmt::format("{} ({} to {}){}", figure(e.value), figure(e.low), figure(e.high),
                     study::not_distinguishable_from_zero(e) ? " *" : "");
}

std::string head_of(const SensitivityResult& r, std::size_t arm, std::size_t answer,
                    std::size_t time) {
  const auto& a = r.answers[answer];
  const std::size_t place = r.place(arm, answer, time);
  std::string text = r.arms.size() > 1 ? r.arms[arm] + ": " : "";
  text += a.meaning + (a.timed ? " at " + files::time_label(r.times[time]) : "") + ", " +
          units::shown(a.unit) + ": ";
  text += r.method == SensitivityMethod::elasticities
              ? figure(r.mean[place])
              : fmt::format("mean {}, sd {}", figure(r.mean[place]), figure(r.sd[place]));
  if (const double never = r.never[arm * r.answers.size() + answer]; never > 0)
    text += fmt::format("; {} of the runs never get there and count as the last hour",
                        percent(never) + " %");
  return text;
}

}  // namespace

std::string sensitivity_table(const SensitivityResult& r) {
  constexpr std::size_t shown = 6;
  std::vector<std::string> heads;
  std::vector<std::size_t> measures;
  for (std::size_t m = 0; m < r.measures.size(); ++m) {
    if (r.measures[m].of_pairs) continue;
    std::string head = r.measures[m].name;
    std::replace(head.begin(), head.end(), '_', ' ');
    heads.push_back(head == "mu star" ? "mu*" : head);
    measures.push_back(m);
  }
  TextTable table(heads);
  for (std::size_t arm = 0; arm < r.arms.size(); ++arm)
    for (std::size_t a = 0; a < r.answers.size(); ++a) {
      const std::size_t time = r.answers[a].timed ? r.times.size() - 1 : 0;
      table.heading(head_of(r, arm, a, time));
      const auto order = ranked_inputs(r, arm, a, time);
      const double best = std::fabs(r.at(ranking_measure(r), arm, a, time, order.front()).value);
      if (!(best > 0)) {
        table.row("nothing that varies changes it", std::vector<std::string>(heads.size(), "-"));
        continue;
      }
      for (std::size_t i = 0; i < std::min(shown, order.size()); ++i) {
        std::vector<std::string> cells;
        for (const auto m : measures)
          cells.push_back(cell_of(r.measures[m], r.at(m, arm, a, time, order[i])));
        table.row(r.inputs[order[i]], std::move(cells));
      }
      for (std::size_t p = 0; p < r.pairs.size(); ++p)
        for (std::size_t m = 0; m < r.measures.size(); ++m)
          if (r.measures[m].of_pairs) {
            std::vector<std::string> cells(heads.size(), "");
            cells.front() = cell_of(r.measures[m], r.at(m, arm, a, time, p));
            table.row("only together: " + r.pairs[p], std::move(cells));
          }
    }
  std::string text = table.text() + "\n" + wrapped(sensitivity_method(r), 0, 0);
  if (r.inputs.size() > shown)
    text += fmt::format(
        "The {} inputs that carry most of each; all {}, and all times, are in "
        "sensitivity.csv.\n",
        shown, r.inputs.size());
  return text;
}

void add_sensitivity(CLI::App& app, Command& chosen, const std::string& command_line) {
  const auto request = std::make_shared<BatchRequest>();
  request->command_line = command_line;
  request->sensitivity = true;
  CLI::App* const command = app.add_subcommand(
      "sensitivity", "Says which inputs carry the answer: indices, elementary effects, slopes");
  add_batch_options(*command, *request);
  command->add_option("--out", request->out,
                      "Folder for the results: new, empty, or of the same study unfinished. "
                      "Default: the next results/STUDY-n, or an unfinished one");
  command->add_option("--part", request->part, "One part of a job array, such as 3/40")
      ->type_name("N/M");
  command->add_flag("--quiet", request->quiet, "Print nothing but the path of the results folder");
  command->footer(
      "The study says how, under `sensitivity:` (serosa list --schema study; DEVELOPERS.md).\n"
      "`serosa plan` says what it will cost. Stopped by Ctrl-C or killed, the same command goes "
      "on.\n"
      "Examples:\n"
      "  serosa sensitivity models/studies/which-inputs.yaml\n"
      "  serosa sensitivity models/studies/slopes.yaml --out results/slopes\n"
      "  mpirun -n 8 serosa sensitivity models/studies/which-inputs.yaml\n\n" +
      help_end());
  command->callback([request, &chosen] { chosen = [request] { return sweep(*request); }; });
}

}  // namespace serosa::runner
