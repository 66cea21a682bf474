// SPDX-License-Identifier: Apache-2.0
#include "files/sensitivity_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <map>

#include "files/spread_inputs.hpp"
#include "files/study_file.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace {

using study::SensitivityMethod;

std::vector<std::string> output_names() {
  std::vector<std::string> names;
  for (const auto& output : simulate::output_list) names.emplace_back(output.name);
  return names;
}

const KeyTable& group_keys() {
  static const KeyTable table{"group of inputs",
                              "Inputs that are changed together.",
                              {texts("inputs", "their paths").length(1, 5000).required()}};
  return table;
}

const KeyTable& pair_keys() {
  static const KeyTable table{
      "pair of inputs",
      "Two inputs, or groups, whose interaction is asked for.",
      {texts("inputs", "two paths, or names of groups").length(2, 2).required()}};
  return table;
}

const KeyTable& figure_keys() {
  static const KeyTable table{
      "figure",
      "Something of a run that is no output at an hour: when a level is first passed, or for which "
      "share of the time an output lies in a band.",
      {word("output", output_names(), "which").required(),
       text("rises_to",
            "the hour at which it first reaches this; of the circulating deficit also a "
            "share of the blood volume when the cord is clamped, such as 10 %"),
       text("falls_to", "the hour at which it first falls to this"),
       text("above", "lower end of a band, with unit"),
       text("below", "upper end of a band, with unit")}};
  return table;
}

Key groups_key() {
  return entries("groups", group_keys(),
                 "inputs that are changed together, by the group's name; all others by themselves")
      .fallback("{}");
}
Key group_by_key() {
  return word("group_by", {"input", "grade", "evidence"},
              "input: each by itself; grade: parameters of one grade together; evidence: assumed "
              "parameters together, and published ones")
      .fallback("input");
}

}  // namespace

const KeyTable& sensitivity_keys() {
  static const KeyTable table{
      "sensitivity",
      "Which inputs carry the answer.",
      {word("method", {"indices", "elementary-effects", "rank-correlations", "elasticities"},
            "indices: shares of the variance (Sobol'); elementary-effects: Morris; "
            "rank-correlations: of a plain sample; elasticities: exact slopes at the middle")
           .fallback("indices"),
       entries("figures", figure_keys(), "times and shares that are asked for too, by name")
           .fallback("{}"),
       flag("keep_runs", "keep every run's outputs (runs.nc)").fallback("false")},
      "method",
      {{"indices",
        {count("sample", "base points; runs are base points × (inputs or groups + 2 + pairs)")
             .possible(16, 1e8)
             .fallback("1024"),
         count("scrambles",
               "independently scrambled Sobol' sequences that the base points are made "
               "of; intervals come from their differences")
             .possible(16, 1000)
             .fallback("16"),
         word("first", {"janon-2014", "martinez-2011", "jansen-1999"},
              "estimator of first-order indices")
             .fallback("janon-2014"),
         word("total", {"jansen-1999", "martinez-2011"}, "estimator of total indices")
             .fallback("jansen-1999"),
         maps("second_order", pair_keys(), "pairs whose second-order index is asked for"),
         groups_key(), group_by_key(),
         count("bootstrap", "resamples for the intervals of random base points")
             .possible(50, 10000)
             .fallback("256"),
         flag("convergence", "also with an eighth, a quarter and half of the base points")
             .fallback("true")}},
       {"elementary-effects",
        {count("trajectories", "how many; runs are trajectories × (inputs or groups + 1)")
             .possible(2, 1e6)
             .fallback("20"),
         count("candidates", "random trajectories of which those far apart are chosen")
             .possible(2, 1e6)
             .fallback("100"),
         count("levels", "layers of each input, an even number").possible(2, 100).fallback("4"),
         groups_key(), group_by_key()}},
       {"rank-correlations", {}},
       {"elasticities", {}}}};
  return table;
}

namespace {

/// Reads the section; a class only because much is shared.
class SensitivityReader {
 public:
  SensitivityReader(Reader& r, Reader& design, study::DesignKind kind, const Models& models,
                    const std::vector<CorrelatedPair>& correlated, study::Study& s)
      : r_(r), design_(design), kind_(kind), models_(models), correlated_(correlated), s_(s) {}

  study::SensitivityPlan read() {
    static constexpr SensitivityMethod methods[] = {
        SensitivityMethod::indices, SensitivityMethod::elementary_effects,
        SensitivityMethod::rank_correlations, SensitivityMethod::elasticities};
    plan_.method = methods[r_.which("method")];
    plan_.keep_runs = r_.flag("keep_runs");
    plan_.indices.confidence = s_.confidence;
    plan_.indices.seed = s_.design.seed;
    read_figures();
    if (s_.inputs.empty()) r_.error("", "the study varies nothing; give `vary`");
    if (r_.problems().refused()) return plan_;
    switch (plan_.method) {
      case SensitivityMethod::indices:
        read_indices();
        break;
      case SensitivityMethod::elementary_effects:
        read_trajectories();
        break;
      case SensitivityMethod::rank_correlations:
        read_sample();
        break;
      case SensitivityMethod::elasticities:
        read_middle();
        break;
    }
    return plan_;
  }

 private:
  void read_figures() {
    for (auto& entry : r_.entries("figures")) {
      const auto& name = entry.first;
      auto& f = entry.second;  // clang 14 cannot capture a structured binding
      study::RunFigure figure;
      figure.name = name;
      const std::string output = f.word("output");
      for (std::size_t o = 0; o < simulate::output::count; ++o)
        if (simulate::output_list[o].name == output)
          figure.output = static_cast<simulate::output::Index>(o);
      if (r_.problems().refused()) return;
      const auto& info = simulate::output_list[figure.output];
      const auto level = [&](const char* key) {
        const std::string text = f.text(key);
        if (figure.output == simulate::output::circulating_deficit && text.ends_with('%')) {
          figure.of_clamped_volume = true;
          return number(f, key, "1");
        }
        return number(f, key, std::string(info.unit));
      };
      const bool rises = f.given("rises_to"), falls = f.given("falls_to"),
                 band = f.given("above") || f.given("below");
      if (rises + falls + band != 1) {
        f.error("",
                "a figure has either `rises_to`, or `falls_to`, or a band of `above` and `below`",
                "{output: plasma_sodium, falls_to: 130 mmol/L}");
        continue;
      }
      std::string what(info.meaning);
      what.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(what.front())));
      if (band) {
        figure.kind = study::RunFigure::Kind::share;
        if (f.given("above")) figure.low = level("above");
        if (f.given("below")) figure.high = level("below");
        if (!(figure.low < figure.high)) f.error("", "the band is empty");
        figure.meaning = "Share of the time with " + what +
                         (f.given("above") ? " at or above " + f.text("above") : "") +
                         (f.given("below") ? " below " + f.text("below") : "");
      } else {
        figure.rising = rises;
        figure.level = level(rises ? "rises_to" : "falls_to");
        figure.meaning = "Hour at which " + what +
                         (rises ? " first reaches " : " first falls to ") +
                         f.text(rises ? "rises_to" : "falls_to") +
                         (figure.of_clamped_volume ? " of the blood volume at clamping" : "");
      }
      keep_series(figure.output);
      if (figure.of_clamped_volume) keep_series(simulate::output::blood_volume);
      plan_.figures.push_back(std::move(figure));
    }
    if (!plan_.figures.empty() && s_.series_times.empty())
      s_.series_times = simulate::grid(0, s_.times.back(), s_.times.back() / 72);
  }

  static double number(Reader& f, const char* key, const std::string& unit) {
    try {
      return units::to_model(f.text(key), unit);
    } catch (const units::Error& error) {
      f.error(key, error.what(), error.expected());
      return 0;
    }
  }

  void keep_series(simulate::output::Index o) {
    if (std::find(s_.series_outputs.begin(), s_.series_outputs.end(), o) == s_.series_outputs.end())
      s_.series_outputs.push_back(o);
  }

  std::size_t input_of(const std::string& path, const Origin& origin) {
    std::vector<std::string> names;
    for (std::size_t j = 0; j < s_.inputs.size(); ++j) {
      if (s_.inputs[j].path == path) return j;
      names.push_back(s_.inputs[j].path);
    }
    const std::string near = units::nearest(path, names);
    r_.problems().error(origin, "sensitivity",
                        quote(path) + " does not vary in this study" +
                            (near.empty() ? "" : "; did you mean " + near + "?"));
    return 0;
  }

  std::vector<study::InputGroup> groups() {
    std::vector<study::InputGroup> all;
    std::vector<bool> taken(s_.inputs.size(), false);
    for (auto& [name, g] : r_.entries("groups")) {
      study::InputGroup group{name, {}};
      for (const auto& path : g.texts("inputs")) {
        const std::size_t j = input_of(path, g.origin("inputs"));
        if (r_.problems().refused()) return all;
        if (taken[j]) g.error("inputs", quote(path) + " is in a group already");
        taken[j] = true;
        group.inputs.push_back(j);
      }
      all.push_back(std::move(group));
    }
    const std::string by = r_.word("group_by");
    std::map<std::string, std::size_t> places;
    for (std::size_t j = 0; by != "input" && j < s_.inputs.size(); ++j) {
      if (taken[j] || !s_.inputs[j].parameter) continue;
      const Grade grade = models_.parameters[*s_.inputs[j].parameter].grade;
      const std::string name = by == "grade" ? "parameters graded " + std::string(word_of(grade))
                               : is_assumption(grade) ? std::string("assumed parameters")
                                                      : std::string("published parameters");
      const auto [place, fresh] = places.emplace(name, all.size());
      if (fresh) all.push_back({name, {}});
      all[place->second].inputs.push_back(j);
    }
    all = study::with_single_groups(std::move(all), s_.design.names);
    check_correlated(all);
    return all;
  }

  /// Inputs that go together must stand in one group.
  void check_correlated(const std::vector<study::InputGroup>& groups) {
    const auto group_of = [&](std::size_t j) {
      for (std::size_t g = 0; g < groups.size(); ++g)
        if (std::count(groups[g].inputs.begin(), groups[g].inputs.end(), j)) return g;
      return groups.size();
    };
    for (const auto& pair : correlated_)
      if (group_of(pair.one) != group_of(pair.other))
        r_.error(
            "groups",
            quote(s_.inputs[pair.one].path) + " and " + quote(s_.inputs[pair.other].path) +
                " go together in this study: changed one at a time they would make babies that "
                "there are not, and their shares of the variance would not add up",
            fmt::format("put them into one group: `groups: {{size: {{inputs: [{}, {}]}}}}`",
                        s_.inputs[pair.one].path, s_.inputs[pair.other].path));
  }

  /// `runs` of the design, when given, must be the sum.
  void check_runs(std::uint64_t runs, const std::string& sum) {
    if (runs > 1'000'000'000) return r_.error("", sum + " runs: at most 1 000 000 000");
    if (!design_.given("runs")) return;
    const long given = design_.count("runs");
    if (static_cast<std::uint64_t>(given) != runs)
      design_.error("runs", fmt::format("{} runs, found {}", sum, given),
                    "leave `runs` out: it follows from the method");
  }

  void read_indices() {
    study::RadialPlan radial;
    radial.base = static_cast<std::uint64_t>(r_.count("sample"));
    radial.scrambles = static_cast<std::uint64_t>(r_.count("scrambles"));
    plan_.indices.first =
        std::array{study::FirstOrder::janon_2014, study::FirstOrder::martinez_2011,
                   study::FirstOrder::jansen_1999}[r_.which("first")];
    plan_.indices.total = std::array{study::TotalOrder::jansen_1999,
                                     study::TotalOrder::martinez_2011}[r_.which("total")];
    plan_.indices.replicates = static_cast<std::size_t>(r_.count("bootstrap"));
    plan_.convergence = r_.flag("convergence");
    radial.groups = groups();
    if (r_.problems().refused()) return;
    for (auto& pair : r_.maps("second_order")) {
      std::vector<std::size_t> two;
      for (const auto& name : pair.texts("inputs"))
        for (std::size_t g = 0; g < radial.groups.size(); ++g)
          if (radial.groups[g].name == name) two.push_back(g);
      if (two.size() != 2 || two[0] == two[1]) {
        std::vector<std::string> names;
        for (const auto& g : radial.groups) names.push_back(g.name);
        pair.error("inputs", "two different inputs or groups of this study are expected",
                   fmt::format("from {}", fmt::join(names, ", ")));
        continue;
      }
      radial.pairs.emplace_back(two[0], two[1]);
    }
    if (design_.given("kind") && kind_ != study::DesignKind::random &&
        kind_ != study::DesignKind::sobol)
      return design_.error("kind",
                           "indices rest on base points that are drawn independently, or on "
                           "scrambled Sobol' sequences",
                           "random, or sobol");
    if (design_.given("kind") && kind_ == study::DesignKind::random) {
      radial.scrambles = 0;
    } else {
      const std::uint64_t each = radial.base / radial.scrambles;
      if (radial.base % radial.scrambles != 0 || !std::has_single_bit(each)) {
        const std::uint64_t next = std::bit_ceil(std::max<std::uint64_t>(each, 1));
        return r_.error(
            "sample",
            fmt::format("{} base points / {} scrambles = {:.6g} points: a Sobol' sequence wants a "
                        "power of two",
                        radial.base, radial.scrambles,
                        static_cast<double>(radial.base) / static_cast<double>(radial.scrambles)),
            fmt::format("{} × {} = {}", radial.scrambles, next, radial.scrambles * next));
      }
      if (2 * s_.inputs.size() > study::most_sobol_inputs)
        return design_.error("kind", fmt::format("Sobol' sequences take at most {} inputs here",
                                                 study::most_sobol_inputs / 2));
    }
    check_runs(radial.runs(), radial.sum());
    s_.design.kind = study::DesignKind::radial;
    s_.design.runs = radial.runs();
    s_.design.radial = std::move(radial);
  }

  void read_trajectories() {
    study::TrajectoryPlan plan;
    plan.trajectories = static_cast<std::uint64_t>(r_.count("trajectories"));
    plan.candidates = static_cast<std::uint64_t>(r_.count("candidates"));
    plan.levels = static_cast<std::uint64_t>(r_.count("levels"));
    plan.groups = groups();
    if (r_.problems().refused()) return;
    if (plan.levels % 2 != 0) r_.error("levels", "an even number is expected", "4");
    if (r_.given("candidates") && plan.candidates < plan.trajectories)
      r_.error("candidates", fmt::format("{} trajectories can't be chosen from {} candidates",
                                         plan.trajectories, plan.candidates));
    plan.candidates = std::max(plan.candidates, plan.trajectories);
    const double work = 0.5 * static_cast<double>(plan.candidates * plan.candidates) *
                        static_cast<double>(plan.width() * plan.width());
    if (plan.candidates > plan.trajectories && work > 4e9)
      r_.error("candidates",
               fmt::format("choosing compares {} × {} / 2 pairs of trajectories × {} × {} pairs of "
                           "points = {:.2g}: at most 4e9",
                           plan.candidates, plan.candidates, plan.width(), plan.width(), work),
               "fewer candidates, or as many as trajectories: none is then compared");
    if (design_.given("kind"))
      design_.error("kind", "elementary effects have a design of their own; leave `kind` out");
    check_runs(plan.runs(), plan.sum());
    s_.design.kind = study::DesignKind::trajectories;
    s_.design.runs = plan.runs();
    s_.design.trajectories = std::move(plan);
  }

  void read_sample() {
    if (kind_ == study::DesignKind::full_grid)
      return design_.error("kind", "rank correlations are those of a sample, not of a grid",
                           "random, latin-hypercube or sobol");
    if (!design_.given("runs"))
      return design_.error("runs", "the number of runs is missing", "runs: 1000");
    s_.design.runs = static_cast<std::uint64_t>(design_.count("runs"));
    const std::uint64_t least = s_.inputs.size() + 4;
    if (s_.design.runs < least)
      design_.error("runs",
                    fmt::format("rank correlations with {0} inputs need at least {0} + 4 = {1} "
                                "runs, found {2}",
                                s_.inputs.size(), least, s_.design.runs));
  }

  /// One run: everything at its middle.
  void read_middle() {
    if (design_.given("kind"))
      design_.error("kind", "elasticities are taken at the middle of all laws; leave `kind` out");
    check_runs(1, "1 × 1 = 1");
    s_.design.kind = study::DesignKind::full_grid;
    s_.design.levels.assign(s_.inputs.size(), 1);
    s_.design.runs = 1;
  }

  Reader& r_;
  Reader& design_;
  study::DesignKind kind_;
  const Models& models_;
  const std::vector<CorrelatedPair>& correlated_;
  study::Study& s_;
  study::SensitivityPlan plan_;
};

}  // namespace

study::SensitivityPlan read_sensitivity(Reader& sensitivity, Reader& design, study::DesignKind kind,
                                        const Models& models,
                                        const std::vector<CorrelatedPair>& correlated,
                                        study::Study& study) {
  return SensitivityReader(sensitivity, design, kind, models, correlated, study).read();
}

}  // namespace serosa::files
