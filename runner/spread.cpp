// SPDX-License-Identifier: Apache-2.0
#include "runner/spread.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <thread>

#include "files/results.hpp"
#include "files/spread_inputs.hpp"
#include "runner/progress.hpp"
#include "runner/text_table.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

namespace out = simulate::output;
using study::SpreadFigure;

constexpr out::Index shown_outputs[] = {
    out::bowel_evaporation, out::skin_loss,        out::airway_loss,      out::urine,
    out::gastric_drainage,  out::external_deficit, out::third_space,      out::circulating_deficit,
    out::plasma_sodium,     out::haematocrit,      out::plasma_protein,   out::heart_rate,
    out::arterial_pressure, out::core_temperature, out::skin_temperature, out::bowel_temperature};

/// The table's times, and about 36 more for courses.
std::vector<double> times_of(const Computation& all) {
  std::vector<double> times;
  const std::size_t step = std::max<std::size_t>(1, all.times.size() / 36);
  for (std::size_t i = 0; i < all.times.size(); i += step) times.push_back(all.times[i]);
  for (const auto t : all.report_times) times.push_back(all.times[t]);
  times.push_back(all.times.back());
  std::sort(times.begin(), times.end());
  times.erase(std::unique(times.begin(), times.end()), times.end());
  return times;
}

/// What one row shows: water in mL, fractions in per cent.
struct Shown {
  std::string label;
  double factor;
};
Shown shown(out::Index o) {
  const auto& info = simulate::output_list[o];
  if (info.unit == std::string_view("g")) return {std::string(info.meaning) + ", mL", 1};
  if (info.unit == std::string_view("1")) return {std::string(info.meaning) + ", %", 100};
  return {std::string(info.meaning) + ", " + units::shown(info.unit), 1};
}

std::string range_of(const SpreadFigure& f, double factor) {
  if (f.n == 0) return "-";
  return figure(factor * f.quantiles.front()) + " to " + figure(factor * f.quantiles.back());
}

std::string share_of(const study::Estimate& e) {
  if (std::isnan(e.value)) return "-";
  const auto per_cent = [](double x) {
    return fmt::format("{:.0f}", 100 * std::clamp(x, 0.0, 1.0));
  };
  return per_cent(e.value) + " (" + per_cent(e.low) + " to " + per_cent(e.high) + ")";
}

}  // namespace

SpreadOfCases spread_of(const Computation& all, std::uint64_t runs, bool quiet) {
  study::SpreadRequest q;
  std::vector<baby::Parameters<double>> parameters;
  SpreadOfCases result;
  for (const auto& c : all.cases) {
    q.arms.push_back({c.name, c.file.c, c.file.parameters});
    parameters.push_back(c.file.parameters);
    result.cases.push_back(c.name);
  }
  auto varied = files::spread_inputs(all.models, parameters);
  result.drawn = varied.inputs.size();
  result.assumed =
      static_cast<std::size_t>(std::count(varied.assumed.begin(), varied.assumed.end(), true));
  result.kept = std::move(varied.kept);
  q.parameters = std::move(varied.inputs);
  q.assumed = std::move(varied.assumed);
  q.outputs.assign(std::begin(shown_outputs), std::end(shown_outputs));
  q.times = times_of(all);
  q.runs = std::max<std::uint64_t>(8, (runs + 3) / 4 * 4);
  q.settings = all.settings;
  q.threads = static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
  Progress progress("spread", 0, q.runs * q.arms.size(), quiet);
  q.progress = [&](std::uint64_t done) {
    progress.add(done);
    progress.tick();
  };
  result.spread = study::spread(q);
  progress.end();
  result.outputs = q.outputs;
  result.times = q.times;
  result.runs = q.runs;
  result.seed = q.seed;
  return result;
}

std::string spread_report(const Computation& all) {
  const SpreadOfCases& s = *all.spread;
  const auto columns = s.columns();
  const auto place = [&](double t) {
    return static_cast<std::size_t>(std::lower_bound(s.times.begin(), s.times.end(), t) -
                                    s.times.begin());
  };
  const auto head_of = [&](std::size_t column) {
    if (column < all.cases.size()) return all.cases[column].letter + " " + all.cases[column].name;
    return all.cases[column - all.cases.size() + 1].letter + " less " + all.cases[0].letter;
  };
  const bool single = columns.size() == 1;
  std::vector<std::string> heads;
  if (single)
    for (const auto t : all.report_times) heads.push_back("at " + files::time_label(all.times[t]));
  else
    for (std::size_t c = 0; c < columns.size(); ++c) heads.push_back(head_of(c));
  TextTable ranges(heads);
  const auto rows = [&](const std::vector<std::size_t>& times, bool by_time) {
    for (std::size_t o = 0; o < s.outputs.size(); ++o) {
      const auto [label, factor] = shown(s.outputs[o]);
      std::vector<std::string> cells;
      if (by_time)
        for (const auto t : times) cells.push_back(range_of(s.at(0, o, t), factor));
      else
        for (std::size_t c = 0; c < columns.size(); ++c)
          cells.push_back(range_of(s.at(c, o, times[0]), factor));
      ranges.row(label, std::move(cells));
    }
  };
  std::vector<std::size_t> times;
  for (const auto t : all.report_times) times.push_back(place(all.times[t]));
  if (single) {
    rows(times, true);
  } else {
    for (std::size_t i = 0; i < times.size(); ++i) {
      ranges.heading("at " + files::time_label(s.times[times[i]]));
      rows({times[i]}, false);
    }
  }
  std::string text = wrapped(
      fmt::format("HOW SURE: 5 to 95 % of {} runs of each case, {} parameters drawn from their "
                  "ranges{}",
                  s.runs, s.drawn,
                  s.kept.empty() ? ""
                                 : fmt::format("; not drawn, because a case sets them: {}",
                                               fmt::join(s.kept, ", "))),
      0, 2);
  text += ranges.text();
  for (std::size_t c = 0; c < all.cases.size(); ++c)
    if (s.spread.failed[c] > 0)
      text += wrapped(fmt::format("{}: {} of {} runs did not finish and are left out.",
                                  all.cases[c].name, s.spread.failed[c], s.runs),
                      2, 4);
  const std::size_t last = place(all.times[all.report_times.back()]);
  TextTable shares({"to assumptions", "to published values"});
  for (std::size_t c = 0; c < columns.size(); ++c) {
    if (!single) shares.heading(head_of(c));
    for (std::size_t o = 0; o < s.outputs.size(); ++o) {
      const SpreadFigure& f = s.at(c, o, last);
      if (!(f.sd > 0)) continue;
      std::string label(simulate::output_list[s.outputs[o]].meaning);
      shares.row(label, {share_of(f.assumed), share_of(f.measured)});
    }
  }
  text += "\n" +
          wrapped(fmt::format("WHO OWES IT: share of the variance at {} owed to the {} assumptions "
                              "and to the {} published parameters alone, % (95 % interval); what "
                              "is left they make together",
                              files::time_label(s.times[last]), s.assumed, s.drawn - s.assumed),
                  0, 2);
  return text + shares.text();
}

nlohmann::ordered_json spread_json(const Computation& all) {
  using Json = nlohmann::ordered_json;
  const SpreadOfCases& s = *all.spread;
  const auto number = [](double x) { return std::isnan(x) ? Json() : Json(x); };
  Json cases = Json::array();
  const auto columns = s.columns();
  for (std::size_t c = 0; c < columns.size(); ++c) {
    Json figures = Json::array();
    for (std::size_t o = 0; o < s.outputs.size(); ++o) {
      const auto& info = simulate::output_list[s.outputs[o]];
      Json quantiles = Json::array(), assumed = Json::array(), published = Json::array();
      for (std::size_t t = 0; t < s.times.size(); ++t) {
        const SpreadFigure& f = s.at(c, o, t);
        Json row = Json::array();
        for (const double q : f.quantiles) row.push_back(number(q));
        quantiles.push_back(std::move(row));
        const auto triple = [&](const study::Estimate& e) {
          return Json::array({number(e.value), number(e.low), number(e.high)});
        };
        assumed.push_back(triple(f.assumed));
        published.push_back(triple(f.measured));
      }
      figures.push_back({{"name", info.name},
                         {"unit", units::shown(info.unit)},
                         {"quantiles", std::move(quantiles)},
                         {"share_owed_to_assumptions", std::move(assumed)},
                         {"share_owed_to_published", std::move(published)}});
    }
    cases.push_back({{"name", columns[c]}, {"figures", std::move(figures)}});
  }
  return {{"runs", s.runs},
          {"failed", s.spread.failed},
          {"parameters_drawn", s.drawn},
          {"assumptions_among_them", s.assumed},
          {"not_drawn", s.kept},
          {"levels", s.spread.levels},
          {"times", {{"unit", "h"}, {"values", s.times}}},
          {"cases", std::move(cases)}};
}

}  // namespace serosa::runner
