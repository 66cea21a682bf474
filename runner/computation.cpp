// SPDX-License-Identifier: Apache-2.0
#include "runner/computation.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <ctime>
#include <set>

#include "files/side_by_side.hpp"
#include "runner/acts_log.hpp"
#include "runner/build_info.hpp"
#include "runner/commands.hpp"
#include "runner/json_report.hpp"
#include "runner/page.hpp"
#include "runner/page_parameters.hpp"
#include "runner/report.hpp"
#include "runner/spread.hpp"
#include "runner/warnings.hpp"
#include "simulate/isa.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void refuse(const std::string& message) {
  files::Problems problems;
  problems.error({}, {}, message);
  throw files::InputError(std::move(problems));
}

std::string trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return std::string(text.substr(first, text.find_last_not_of(" \t") - first + 1));
}

std::vector<std::string> divided(const std::vector<std::string>& lists) {
  std::vector<std::string> items;
  for (const auto& list : lists)
    for (std::size_t begin = 0; begin <= list.size();) {
      const std::size_t end = std::min(list.find(',', begin), list.size());
      items.push_back(trimmed(std::string_view(list).substr(begin, end - begin)));
      begin = end + 1;
    }
  return items;
}

/// The request's --at and --until as changes of the case, after those of --set.
std::vector<std::string> all_changes(const Request& request) {
  std::vector<std::string> changes = request.changes;
  if (!request.until.empty()) changes.push_back("until=" + request.until);
  if (!request.at.empty()) {
    std::string list;
    for (const auto& item : divided(request.at)) {
      // Read here already, so that what is wrong is said of --at.
      try {
        if (units::to_model(item, "h") < 0)
          refuse("--at " + files::quote(item) + ": tables begin at birth; give a time from 0 on");
      } catch (const units::Error& error) {
        refuse("--at " + files::quote(item) + ": " + error.what() + " (" + error.expected() + ")");
      }
      list += (list.empty() ? "" : ", ") + item;
    }
    changes.push_back("report_at=[" + list + "]");
  }
  return changes;
}

void check_times_asked(const Request& request, const files::CaseFile& f) {
  for (const auto& item : divided(request.at))
    if (const double t = units::to_model(item, "h"); t > f.c.until)
      refuse("--at " + files::quote(item) + " lies after the end of the case (" +
             files::time_label(f.c.until) + "); give a later end with --until");
}

/// A name for files and columns: letters, digits, dot, hyphen and underscore of the file's name.
std::string safe_name(const std::string& stem) {
  std::string name;
  for (const char c : stem) {
    const bool plain = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
                       c == '_' || c == '-' || (c == '.' && !name.empty());
    name += plain ? c : '-';
  }
  if (name.empty() || name.front() == '-') name.insert(0, "case");
  return name.substr(0, 60);
}

std::string unique_name(const std::string& wanted, const std::vector<Computed>& others) {
  const auto taken = [&](const std::string& name) {
    return std::any_of(others.begin(), others.end(),
                       [&](const auto& other) { return other.name == name; });
  };
  std::string name = wanted;
  for (int n = 2; taken(name); ++n) name = wanted + "-" + std::to_string(n);
  return name;
}

std::string letter(std::size_t index) {
  return index < 26 ? std::string(1, static_cast<char>('A' + index)) : std::to_string(index + 1);
}

/// Names of the data files a case uses, below the models.
void collect_data_files(const care::Case& c, std::set<std::string>& names) {
  const auto note = [&](files::DataKind kind, const std::string& name) {
    if (!name.empty()) names.insert(std::string(files::folder_of(kind)) + "/" + name + ".yaml");
  };
  using files::DataKind;
  note(DataKind::room, c.room.name);
  const auto note_deed = [&](const care::Deed& deed) {
    if (const auto* d = std::get_if<care::SetWarmer>(&deed)) note(DataKind::warmer, d->warmer.name);
    if (const auto* d = std::get_if<care::MoveTo>(&deed)) note(DataKind::room, d->room.name);
    if (const auto* d = std::get_if<care::CoverBowel>(&deed)) {
      note(DataKind::cover, d->cover.name);
      if (d->cover.dressing) note(DataKind::fluid, d->wetting.name);
    }
    if (const auto* d = std::get_if<care::Rewet>(&deed)) note(DataKind::fluid, d->fluid.name);
    if (const auto* d = std::get_if<care::Infuse>(&deed)) note(DataKind::fluid, d->fluid.name);
    if (const auto* d = std::get_if<care::Bolus>(&deed)) note(DataKind::fluid, d->fluid.name);
    if (const auto* d = std::get_if<care::ReplaceGastricLoss>(&deed))
      note(DataKind::fluid, d->fluid.name);
  };
  for (const auto& act : c.timeline) note_deed(act.deed);
  if (c.protocol)
    for (const auto& rule : c.protocol->rules) note_deed(rule.deed);
}

/// Every file that decides the result, for the manifest: cases, parameters, data files.
void collect_inputs(Computation& all) {
  std::set<fs::path> seen;
  const auto add = [&](std::shared_ptr<const files::Source> source) {
    if (source && !source->command_line && seen.insert(source->path).second)
      all.inputs.push_back(std::move(source));
  };
  std::set<std::string> names;
  for (const auto& c : all.cases) {
    for (const auto& source : c.file.sources) add(source);
    for (const auto& source : c.twin.sources) add(source);
    collect_data_files(c.file.c, names);
    collect_data_files(c.twin.c, names);
  }
  for (const auto& entry : all.models.parameters) add(entry.origin.source);
  files::Problems ignored;
  for (const auto& name : names) add(files::read_source(all.models.folder / name, ignored));
  // Below the models, names are those in that folder, so that they are the same on every machine.
  for (auto& source : all.inputs) {
    const fs::path below = source->path.lexically_relative(all.models.folder);
    if (below.empty() || *below.begin() == "..") continue;
    auto renamed = std::make_shared<files::Source>(*source);
    renamed->name = "models/" + below.generic_string();
    source = std::move(renamed);
  }
}

void choose_times(Computation& all) {
  std::vector<const care::Case*> cases;
  for (const auto& c : all.cases) cases.push_back(&c.file.c);
  auto times = files::shared_times(cases);
  all.times = std::move(times.all);
  all.report_times = std::move(times.report);
  all.notes.insert(all.notes.end(), times.notes.begin(), times.notes.end());
}

std::string folder_name(const Computation& all) {
  if (all.cases.size() == 1) return all.cases.front().name;
  if (all.cases.size() == 2) return all.cases[0].name + "-vs-" + all.cases[1].name;
  return all.cases.front().name + "-and-" + std::to_string(all.cases.size() - 1) + "-more";
}

/// Courses that the page shows beside the outputs.
std::vector<files::ExtraSeries> extra_series(const Computation& all) {
  std::vector<files::RunAndTwin> runs;
  for (const auto& c : all.cases) runs.push_back({&c.result, &c.twin_result});
  return files::extra_series(runs, all.times.size());
}

files::Results to_write(const Computation& all, const std::string& report) {
  files::Results r;
  files::ExtraFigure twin{"circulating_deficit_against_ordinary_care",
                          "mL",
                          "Blood volume missing against the same baby under ordinary care",
                          {}};
  for (const auto& c : all.cases) {
    r.cases.push_back(
        {c.name, c.file.c.title, files::write_document(c.file.understood), &c.result});
    for (const auto t : all.report_times)
      twin.values.push_back(c.twin_result.at(t, simulate::output::blood_volume) -
                            c.result.at(t, simulate::output::blood_volume));
  }
  r.times = all.times;
  r.report_times = all.report_times;
  r.extra_figures = {twin};
  r.extra_series = extra_series(all);
  r.extra_files = {{"table.txt", report}, {"parameters.json", parameters_json(all)}};
  if (all.spread) r.extra_files.emplace_back("spread.csv", files::spread_csv(*all.spread));
  if (all.cases.size() > 1) r.extra_files.emplace_back("difference.csv", difference_csv(all));
  if (std::string acts = acts_csv(all); !acts.empty())
    r.extra_files.emplace_back("acts.csv", std::move(acts));
  r.inputs = all.inputs;
  r.changes = all.changes;
  r.warnings = warnings(all);
  r.settings = all.settings;
  r.build = build_info();
  r.instruction_set = simulate::name(simulate::chosen_instruction_set());
  return r;
}

std::string log_text(const Request& request, std::chrono::duration<double> duration) {
  char host[256] = "unknown";
  ::gethostname(host, sizeof host - 1);
  const auto now = std::time(nullptr);
  return fmt::format(
      "command   {}\ndate      {:%Y-%m-%dT%H:%M:%SZ}\nhost      {}\nduration  {:.3f} s\nthreads   "
      "1\n",
      files::visible(request.command_line, 2000), fmt::gmtime(now), host, duration.count());
}

}  // namespace

std::size_t Computation::failed() const {
  return static_cast<std::size_t>(std::count_if(cases.begin(), cases.end(), [](const auto& c) {
    return c.result.report.status != simulate::RunStatus::finished;
  }));
}

void add_options(CLI::App& command, Request& request) {
  command.add_option("--out", request.out,
                     "Folder for the results; new or empty. Default: the next results/NAME-n");
  command
      .add_option("--at", request.at,
                  "Times of the table, such as \"30 min, 2 h\"; may be repeated")
      ->type_name("TIMES")
      ->allow_extra_args(false);
  command.add_option("--until", request.until, "End of the case, such as \"12 h\"")
      ->type_name("TIME");
  command
      .add_option("--set", request.changes,
                  "Changes an input, such as baby.weight=\"2.1 kg\"; may be repeated")
      ->type_name("PATH=VALUE")
      ->allow_extra_args(false);
  command
      .add_option("--spread", request.spread,
                  "Ranges of all figures: so many runs of each case with the parameters drawn from "
                  "theirs, such as 400")
      ->check(CLI::Range(8, 1000000))
      ->type_name("N");
  auto* const quiet = command.add_flag("--quiet", request.quiet,
                                       "Print nothing but the path of the results folder");
  auto* const json = command.add_flag("--json", request.json, "Print JSON instead of the table");
  command
      .add_flag("--plain", request.plain,
                "Print one fact a line instead of the table: for screen readers and logs")
      ->excludes(quiet)
      ->excludes(json);
  json->excludes(quiet);
  command
      .add_option("--models", request.models,
                  "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
}

fs::path models_folder(const std::string& option) {
  const fs::path folder = option.empty() ? files::default_models_folder() : fs::path(option);
  std::error_code failure;
  if (!folder.empty() && fs::is_directory(folder / "parameters", failure))
    return fs::canonical(folder);
  if (!option.empty())
    refuse("--models " + files::quote(option) +
           " is not a folder of data files: there is no folder "
           "\"parameters\" in it");
  refuse("the data files were not found beside the program; name their folder with --models");
}

Computation load(const Request& request) {
  Computation all;
  const fs::path folder = models_folder(request.models);
  const auto bibliography = files::read_bibliography(folder / "references.bib", all.problems);
  all.models = files::read_models(folder, bibliography ? &*bibliography : nullptr, all.problems);
  all.problems.refuse_if_any();
  all.bands = all.models.values();
  all.changes = all_changes(request);
  for (const auto& path : request.cases) {
    Computed c;
    c.file = files::read_case(path, all.models, all.changes, all.problems);
    c.name = unique_name(safe_name(c.file.c.name), all.cases);
    c.letter = letter(all.cases.size());
    all.cases.push_back(std::move(c));
  }
  all.problems.refuse_if_any();
  for (auto& c : all.cases) {
    check_times_asked(request, c.file);
    c.twin = files::ordinary_care(c.file, all.models, all.problems);
  }
  all.problems.refuse_if_any();
  for (const auto& name : files::data_names(folder, files::DataKind::warmer))
    all.warmers.push_back(files::read_warmer(
        folder / files::folder_of(files::DataKind::warmer) / (name + ".yaml"), all.problems));
  all.problems.refuse_if_any();
  choose_times(all);
  collect_inputs(all);
  return all;
}

void compute(Computation& all) {
  std::vector<simulate::Job> jobs;
  for (const auto& c : all.cases) {
    jobs.push_back({&c.file.c, &c.file.parameters, all.times});
    jobs.push_back({&c.twin.c, &c.twin.parameters, all.times});
  }
  std::vector<simulate::Result> results(jobs.size());
  simulate::run(jobs, results, all.settings);
  for (std::size_t i = 0; i < all.cases.size(); ++i) {
    all.cases[i].result = std::move(results[2 * i]);
    all.cases[i].twin_result = std::move(results[2 * i + 1]);
  }
}

files::ExitCode carry_out(const Request& request) {
  const auto start = std::chrono::steady_clock::now();
  Computation all = load(request);
  // Claimed before the runs: a folder that can't be used is told at once.
  auto folder = request.out.empty() ? files::ResultsFolder::claim_next("results", folder_name(all))
                                    : files::ResultsFolder::claim(request.out);
  compute(all);
  if (request.spread > 0) {
    all.spread = spread_of(all, request.spread, request.quiet);
    files::write_spread_nc(folder.temporary("spread.nc"), *all.spread, build_info());
    folder.put_in_place("spread.nc");
  }
  const std::string text = report(all);
  files::write_results(folder, to_write(all, text),
                       log_text(request, std::chrono::steady_clock::now() - start));
  write_page(folder.path());
  const std::string place = folder.path().string();
  const std::string page = (folder.path() / "report.html").string();
  if (request.json)
    print(json_report(all, place));
  else if (request.quiet)
    print(place + "\n");
  else if (request.plain)
    print(plain_report(all) + "Results: " + place + "\nPage: " + page + "\n");
  else
    print(text + "\nResults: " + place + "\nPage:    " + page + "\n");
  if (all.failed() == 0) return files::ExitCode::done;
  for (const auto& message : failures(all)) fmt::print(stderr, "serosa: {}\n", message);
  return files::ExitCode::run_failed;
}

}  // namespace serosa::runner
