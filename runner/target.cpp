// SPDX-License-Identifier: Apache-2.0
// target: how much fluid holds the circulating deficit inside a band at an hour.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>

#include "files/case_file.hpp"
#include "files/results.hpp"
#include "files/spread_inputs.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/text_table.hpp"
#include "study/design.hpp"
#include "study/spread.hpp"
#include "study/target.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

using study::TargetEnd;
namespace out = simulate::output;

struct Wish {
  std::string file, models;
  std::string at = "6 h", from = "30 min", over = "30 min", by = "bolus";
  std::string fluid = "balanced-crystalloid";
  std::string low = "-5 mL/kg", high = "5 mL/kg", most = "60 mL/kg";
  std::vector<std::string> changes;
  int spread = 0;
  std::uint64_t seed = 1;
  bool json = false;
};

double number(const std::string& option, const std::string& text, const std::string& unit) {
  try {
    return units::to_model(text, unit);
  } catch (const units::Error& error) {
    throw CLI::ValidationError(option + " " + files::quote(text) + ": " + error.what() + " (" +
                               error.expected() + ")");
  }
}

const char* sentence(TargetEnd end) {
  switch (end) {
    case TargetEnd::found:
      return "some fluid brings the deficit into the band";
    case TargetEnd::none_needed:
      return "none is needed: without any the deficit lies in the band";
    case TargetEnd::no_fluid_does:
      return "no fluid does: the most that was tried does not bring the deficit into the band";
    case TargetEnd::over_filled:
      return "none: the blood volume lies above the band already";
    case TargetEnd::failed:
      break;
  }
  return "a run did not finish";
}

struct Asked {
  Wish wish;
  files::Models models;
  files::CaseFile file;
  study::TargetQuestion question;
  files::Problems problems;
};

/// How parameters are drawn for `--spread`: of the kinds whose shares are told.
struct Drawn {
  files::SpreadInputs inputs;
  study::Design design;
  std::size_t assumptions() const {
    return static_cast<std::size_t>(std::count(inputs.assumed.begin(), inputs.assumed.end(), true));
  }
};

Drawn drawn_for(const Asked& all) {
  Drawn d{files::spread_inputs(all.models, {all.file.parameters}), {}};
  const auto runs =
      std::max<std::uint64_t>(8, (static_cast<std::uint64_t>(all.wish.spread) + 3) / 4 * 4);
  d.design = study::spread_design(d.inputs.inputs, d.inputs.assumed, runs, all.wish.seed);
  return d;
}

/// Sets of parameters: those of the case, then those drawn from the published ranges.
std::vector<baby::Parameters<double>> parameter_sets(const Asked& all,
                                                     const std::optional<Drawn>& drawn) {
  std::vector<baby::Parameters<double>> sets{all.file.parameters};
  if (!drawn) return sets;
  const auto& inputs = drawn->inputs.inputs;
  study::Points points(drawn->design);
  std::vector<double> fractions(inputs.size());
  for (std::uint64_t run = 0; run < drawn->design.runs; ++run) {
    points.at(run, fractions);
    sets.push_back(all.file.parameters);
    for (std::size_t j = 0; j < inputs.size(); ++j)
      files::parameter(sets.back(), *inputs[j].parameter) = inputs[j].law.quantile(fractions[j]);
  }
  return sets;
}

/// Who owes the spread of the amount to the middle of the band.
study::SpreadFigure owed(const Drawn& drawn, const std::vector<study::TargetAnswer>& answers) {
  std::vector<double> amounts;
  for (std::size_t i = 1; i < answers.size(); ++i)
    amounts.push_back(answers[i].end == TargetEnd::failed ||
                              answers[i].end == TargetEnd::no_fluid_does
                          ? std::nan("")
                          : answers[i].middle);
  constexpr double levels[] = {0.05, 0.5, 0.95};
  return study::spread_figure(drawn.design, amounts, levels, 0.95);
}

/// 5 %, 50 % and 95 % of what was found.
struct Spread {
  double low, middle, high;
  std::size_t n;
};
template <class Take>
Spread spread_of(const std::vector<study::TargetAnswer>& answers, Take take) {
  std::vector<double> values;
  for (std::size_t i = 1; i < answers.size(); ++i)
    if (answers[i].end != TargetEnd::failed && answers[i].end != TargetEnd::no_fluid_does)
      values.push_back(take(answers[i]));
  std::sort(values.begin(), values.end());
  const auto at = [&](double q) {
    return values.empty() ? std::nan("")
                          : values[static_cast<std::size_t>(
                                std::floor(q * static_cast<double>(values.size() - 1) + 0.5))];
  };
  return {at(0.05), at(0.5), at(0.95), values.size()};
}

std::size_t count(const std::vector<study::TargetAnswer>& answers, TargetEnd end) {
  return static_cast<std::size_t>(std::count_if(answers.begin() + 1, answers.end(),
                                                [&](const auto& a) { return a.end == end; }));
}

struct Line {
  std::string name, label;
  double value;
  Spread spread;
};

std::vector<Line> lines(const Asked& all, const std::vector<study::TargetAnswer>& answers) {
  const auto& q = all.question;
  const bool rate = all.wish.by == "rate";
  const double per = rate ? q.over : 1.0;
  const std::string unit = rate ? "mL/kg/h" : "mL/kg";
  std::vector<Line> list;
  const auto add = [&](const char* name, const std::string& label, auto take) {
    list.push_back({name, label, take(answers.front()), spread_of(answers, take)});
  };
  using Answer = const study::TargetAnswer&;
  const auto& base = answers.front();
  const bool shown = base.end != TargetEnd::failed && base.end != TargetEnd::no_fluid_does;
  add("without", "Circulating deficit without any, mL/kg", [](Answer a) { return a.without; });
  add("least", "Least that brings it into the band, " + unit,
      [&](Answer a) { return shown || &a != &base ? a.least / per : std::nan(""); });
  add("middle", "To the middle of the band, " + unit,
      [&](Answer a) { return shown || &a != &base ? a.middle / per : std::nan(""); });
  add("most", "Most before it leaves the band, " + unit,
      [&](Answer a) { return shown || &a != &base ? a.most / per : std::nan(""); });
  const auto gained = [](out::Index o) {
    return [o](Answer a) {
      return (a.at_middle.at(1, o) - a.at_middle.at(0, o)) / a.at_middle.body.weight;
    };
  };
  add("weight", "Then weight gained, mL/kg",
      [](Answer a) { return a.at_middle.at(1, out::weight_change) / a.at_middle.body.weight; });
  add("between_cells", "Then water gained between the cells, mL/kg",
      gained(out::interstitial_water));
  add("third_space", "Then in wall, lumen and on the surface, mL/kg",
      [](Answer a) { return a.at_middle.at(1, out::third_space) / a.at_middle.body.weight; });
  add("sodium", "Then plasma sodium, mmol/L",
      [](Answer a) { return a.at_middle.at(1, out::plasma_sodium); });
  return list;
}

std::string text_of(const Asked& all, const std::optional<Drawn>& drawn,
                    const std::vector<study::TargetAnswer>& answers) {
  const auto& q = all.question;
  std::string text = all.file.c.title + "\n\n";
  text += wrapped(
      fmt::format("{} of {} from {} over {}, on top of what the case gives; circulating deficit "
                  "{} to {} mL/kg wanted at {}, up to {} mL/kg tried.",
                  all.wish.by == "rate" ? "An even rate" : "A bolus", q.fluid.name,
                  files::time_label(q.from), files::time_label(q.over), figure(q.low),
                  figure(q.high), files::time_label(q.at), figure(q.most)),
      0, 0);
  text +=
      "\n" + wrapped(std::string("Answer: ") + sentence(answers.front().end) + ".", 0, 2) + "\n";
  std::vector<std::string> heads{"this baby"};
  if (answers.size() > 1) heads.push_back("5 % to 95 %");
  TextTable table(heads);
  for (const Line& line : lines(all, answers)) {
    std::vector<std::string> cells{figure(line.value)};
    if (answers.size() > 1)
      cells.push_back(figure(line.spread.low) + " to " + figure(line.spread.high));
    table.row(line.label, cells);
  }
  text += table.text();
  if (answers.size() > 1) {
    const auto n = static_cast<double>(answers.size() - 1);
    const auto share = [&](TargetEnd end) {
      return percent(static_cast<double>(count(answers, end)) / n) + " %";
    };
    text +=
        "\n" +
        wrapped(
            fmt::format(
                "Of {} sets of parameters drawn from their published ranges: "
                "fluid needed {}, none needed {}, above the band without any "
                "{}, no fluid does {}, did not finish {}. The ranges above leave the last two out.",
                answers.size() - 1, share(TargetEnd::found), share(TargetEnd::none_needed),
                share(TargetEnd::over_filled), share(TargetEnd::no_fluid_does),
                share(TargetEnd::failed)),
            0, 0);
    const auto f = owed(*drawn, answers);
    const auto part = [](const study::Estimate& e) {
      const auto whole = [](double x) { return percent(std::clamp(x, 0.0, 1.0)); };
      // Of few sets the estimate of a small share may lie below nought, interval and all.
      if (std::isnan(e.value) || e.high <= 0) return std::string("nothing that could be told");
      return whole(e.value) + " % (95 % interval " + whole(e.low) + " to " + whole(e.high) + " %)";
    };
    if (f.sd > 0)
      text += "\n" +
              wrapped(fmt::format("Who owes it: of the variance of the amount to the middle of "
                                  "the band, {} is owed to the {} assumptions alone, {} to the "
                                  "{} published parameters alone; what is left they make "
                                  "together.{}",
                                  part(f.assumed), drawn->assumptions(), part(f.measured),
                                  drawn->inputs.inputs.size() - drawn->assumptions(),
                                  drawn->inputs.kept.empty()
                                      ? ""
                                      : fmt::format(" Not drawn, because the case sets them: {}.",
                                                    fmt::join(drawn->inputs.kept, ", "))),
                      0, 0);
  } else {
    text += "\nRange not yet computed; --spread 200 computes it.\n";
  }
  text += "\n" + wrapped(
                     "Exploration of a model, not recommendation. Too much shows as water between "
                     "the cells, weight and dilution: see those lines, not the first alone.",
                     0, 0);
  return text + std::string(files::caution) + "\n";
}

std::string json_of(const Asked& all, const std::optional<Drawn>& drawn,
                    const std::vector<study::TargetAnswer>& answers) {
  nlohmann::ordered_json root{{"format", 1}, {"kind", "target"}, {"caution", files::caution}};
  const auto plain = [](double x) {
    return std::isfinite(x) ? nlohmann::ordered_json(x) : nlohmann::ordered_json();
  };
  root["case"] = all.file.c.name;
  root["answer"] = sentence(answers.front().end);
  for (const Line& line : lines(all, answers)) {
    auto& one =
        root["figures"][line.name] = {{"meaning", line.label}, {"value", plain(line.value)}};
    if (answers.size() > 1)
      one["spread"] = {plain(line.spread.low), plain(line.spread.middle), plain(line.spread.high)};
  }
  if (answers.size() > 1)
    root["sets"] = {{"drawn", answers.size() - 1},
                    {"needed", count(answers, TargetEnd::found)},
                    {"none_needed", count(answers, TargetEnd::none_needed)},
                    {"over_filled", count(answers, TargetEnd::over_filled)},
                    {"no_fluid_does", count(answers, TargetEnd::no_fluid_does)},
                    {"failed", count(answers, TargetEnd::failed)}};
  if (drawn) {
    const auto f = owed(*drawn, answers);
    const auto triple = [&](const study::Estimate& e) {
      return nlohmann::ordered_json::array({plain(e.value), plain(e.low), plain(e.high)});
    };
    root["owed"] = {{"of", "middle"},
                    {"assumptions", triple(f.assumed)},
                    {"published", triple(f.measured)},
                    {"parameters", drawn->inputs.inputs.size()},
                    {"assumptions_among_them", drawn->assumptions()},
                    {"kept", drawn->inputs.kept}};
  }
  return root.dump(2) + "\n";
}

files::ExitCode target(const Wish& wish) {
  Asked all;
  all.wish = wish;
  const auto folder = models_folder(wish.models);
  all.models = files::read_models(folder, nullptr, all.problems);
  all.problems.refuse_if_any();
  all.file = files::read_case(wish.file, all.models, wish.changes, all.problems);
  all.problems.refuse_if_any();
  auto& q = all.question;
  q.c = &all.file.c;
  const auto fluid =
      files::find_data_file(folder, "fluids", wish.fluid, {}, "--fluid", all.problems);
  all.problems.refuse_if_any();
  q.fluid = files::read_fluid(*fluid, all.problems);
  all.problems.refuse_if_any();
  q.from = number("--from", wish.from, "h");
  q.at = number("--at", wish.at, "h");
  q.over = wish.by == "rate" ? q.at - q.from : number("--over", wish.over, "h");
  q.low = number("--low", wish.low, "mL/kg");
  q.high = number("--high", wish.high, "mL/kg");
  q.most = number("--most", wish.most, "mL/kg");
  if (q.from < 0) throw CLI::ValidationError("--from: a time after birth is expected");
  if (!(q.at > q.from && q.over > 0)) throw CLI::ValidationError("--at must lie after --from");
  if (!(q.low < q.high)) throw CLI::ValidationError("--low must lie below --high");
  if (!(q.most > 0)) throw CLI::ValidationError("--most must be above zero");
  std::optional<Drawn> drawn;
  if (wish.spread > 0) drawn = drawn_for(all);
  const auto answers = study::targets(q, parameter_sets(all, drawn));
  fmt::print(stderr, "{}", all.problems.warnings_text());
  print(wish.json ? json_of(all, drawn, answers) : text_of(all, drawn, answers));
  return answers.front().end == TargetEnd::failed ? files::ExitCode::run_failed
                                                  : files::ExitCode::done;
}

}  // namespace

void add_target(CLI::App& app, Command& chosen) {
  const auto wish = std::make_shared<Wish>();
  CLI::App* const command = app.add_subcommand(
      "target", "Seeks the fluid that holds the circulating deficit inside a band at an hour");
  command->add_option("CASE", wish->file, "The case file")->required()->type_name("FILE");
  const auto option = [&](const char* name, std::string& value, const char* help,
                          const char* type) {
    command->add_option(name, value, help)->type_name(type)->capture_default_str();
  };
  option("--at", wish->at, "When the deficit is judged", "TIME");
  option("--low", wish->low, "Lower end of the band of the circulating deficit", "VOLUME");
  option("--high", wish->high, "Its upper end", "VOLUME");
  command->add_option("--by", wish->by, "A bolus, or an even rate from --from until --at")
      ->check(CLI::IsMember({"bolus", "rate"}))
      ->capture_default_str();
  option("--fluid", wish->fluid, "What is given; `serosa list fluids` shows them", "NAME");
  option("--from", wish->from, "When it begins", "TIME");
  option("--over", wish->over, "How long a bolus takes", "TIME");
  option("--most", wish->most, "The most that is tried", "VOLUME");
  command
      ->add_option("--spread", wish->spread,
                   "So many sets of parameters (rounded up to a multiple of 4), drawn from their "
                   "published ranges; who owes the spread is told")
      ->check(CLI::Range(0, 100000))
      ->type_name("N");
  command->add_option("--seed", wish->seed, "Chooses the draws")->capture_default_str();
  command->add_option("--set", wish->changes, "Changes an input of the case; may be repeated")
      ->type_name("PATH=VALUE")
      ->allow_extra_args(false);
  command->add_flag("--json", wish->json, "Print JSON");
  command
      ->add_option("--models", wish->models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command->footer(
      "The fluid comes on top of what the case gives. The answer says when none is needed and "
      "when\n"
      "none does.\n"
      "Examples:\n"
      "  serosa target models/cases/exposed.yaml --at \"6 h\" --high \"3 mL/kg\"\n"
      "  serosa target models/cases/kinked.yaml --by rate --at \"12 h\" --spread 200\n\n" +
      help_end());
  command->callback([wish, &chosen] { chosen = [wish] { return target(*wish); }; });
}

}  // namespace serosa::runner
