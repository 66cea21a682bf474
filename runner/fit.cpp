// SPDX-License-Identifier: Apache-2.0
// fit: inputs of a case against measured figures.
#include "runner/fit.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cmath>
#include <ctime>
#include <fstream>
#include <memory>
#include <thread>

#include "files/bibliography.hpp"
#include "files/fit_results.hpp"
#include "runner/build_info.hpp"
#include "runner/computation.hpp"
#include "runner/fit_page.hpp"
#include "runner/page_section.hpp"
#include "runner/progress.hpp"
#include "runner/text_table.hpp"
#include "simulate/isa.hpp"
#include "study/fit.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;
using files::ExitCode;
using study::FitVerdict;

namespace {

struct FitRequest {
  std::string fit, data;  ///< paths
  std::string out;
  std::string simulate;  ///< file to write simulated data to, instead of fitting
  std::vector<std::string> truth;
  std::size_t repeats = 0;
  std::uint64_t seed = 0;
  bool own_seed = false;
  std::size_t starts = 0;
  int threads = 0;
  bool quiet = false;
  std::string models;
  std::string command_line;
};

struct LoadedFit {
  files::Models models;
  files::FitFile file;
  files::Problems problems;  ///< warnings
};

std::unique_ptr<LoadedFit> load(const FitRequest& request) {
  auto all = std::make_unique<LoadedFit>();
  const fs::path folder = models_folder(request.models);
  const auto bibliography = files::read_bibliography(folder / "references.bib", all->problems);
  all->models = files::read_models(folder, bibliography ? &*bibliography : nullptr, all->problems);
  all->problems.refuse_if_any();
  all->file = files::read_fit(request.fit, request.data, all->models, all->problems);
  all->problems.refuse_if_any();
  auto& settings = all->file.settings;
  if (request.own_seed) settings.seed = request.seed;
  if (request.starts > 0) settings.starts = request.starts;
  settings.threads = request.threads > 0
                         ? request.threads
                         : static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
  return all;
}

std::string confidence_text(const files::FitFile& f) {
  return fmt::format("{:.6g} %", 100 * f.settings.confidence);
}

/// `parameters.solute_load, mmol/kg/h`.
std::string label_of(const study::Input& input) {
  const std::string unit = units::shown(input.unit);
  return input.path + (unit == "1" ? "" : ", " + unit);
}

std::string interval_text(const study::FittedInput& in) {
  if (in.low_open && in.high_open) return "open";
  return fmt::format("{} to {}", in.low_open ? "open" : fit_figure(in.low),
                     in.high_open ? "open" : fit_figure(in.high));
}

std::string fitted_table(const files::FitResult& r) {
  const auto& f = *r.file;
  TextTable table({"fitted", confidence_text(f) + " interval", "bounds", "what the data say"});
  for (std::size_t j = 0; j < f.problem.ranges.size(); ++j) {
    const auto& input = f.problem.study.inputs[j];
    const auto& range = f.problem.ranges[j];
    const auto& in = r.fit->inputs[j];
    table.row(label_of(input),
              {fit_figure(in.value), interval_text(in),
               fmt::format("{} to {}", fit_figure(range.low), fit_figure(range.high)),
               std::string(word_of(in.verdict))});
  }
  return table.text();
}

std::string residual_table(const files::FitResult& r) {
  const auto& p = r.file->problem;
  TextTable table({"figures", "residual in SD: mean", "root mean square"});
  for (std::size_t o = 0; o < p.observables.size(); ++o) {
    double n = 0, sum = 0, squares = 0;
    for (std::size_t i = 0; i < p.measurements.size(); ++i) {
      if (p.measurements[i].observable != o) continue;
      const double x = (p.measurements[i].value - r.fit->figures[i]) / p.measurements[i].sd;
      ++n, sum += x, squares += x * x;
    }
    if (n == 0) continue;
    table.row(p.observables[o].meaning,
              {fmt::format("{:.0f}", n), fixed(sum / n, 2), fixed(std::sqrt(squares / n), 2)});
  }
  return table.text();
}

/// What the reader must know beside the table, a sentence each.
std::vector<std::string> findings(const files::FitResult& r) {
  const auto& f = *r.file;
  std::vector<std::string> all;
  for (std::size_t j = 0; j < r.fit->inputs.size(); ++j) {
    const auto& in = r.fit->inputs[j];
    const std::string& path = f.problem.study.inputs[j].path;
    if (in.verdict != FitVerdict::told)
      all.push_back(fmt::format("{}: {}: {}.", path, word_of(in.verdict), sentence_of(in.verdict)));
    if (r.fit->profiles[j].on_bound.empty()) continue;
    std::string names;
    for (const std::size_t k : r.fit->profiles[j].on_bound)
      names += (names.empty() ? "" : ", ") + f.problem.study.inputs[k].path;
    all.push_back(
        fmt::format("{}: its interval ends where {} lies on a bound; with other bounds it "
                    "would be another.",
                    path, names));
  }
  for (const auto& sentence : files::combination_sentences(r)) all.push_back(sentence);
  if (r.fit->freedom > 0 && r.fit->p < 1e-3)
    all.push_back(
        "The model misses the figures by more than their errors can explain: the errors are stated "
        "too small, or the model lacks something. The intervals are then too narrow.");
  if (r.fit->agreeing == 1 && r.fit->starts.size() > 1)
    all.push_back("Only one search found the best fit; ask for more with --starts.");
  return all;
}

std::string report_of(const files::FitResult& r) {
  const auto& f = *r.file;
  const auto& fit = *r.fit;
  std::string text = f.title + "\n";
  if (!f.note.empty()) text += "\n" + wrapped(f.note, 0, 0);
  text += fmt::format(
      "\n{} figures, {} inputs. {} of {} searches (seed {}) agree on the best fit.\n"
      "Chi-square {} on {:.0f} degrees of freedom{}.\n\n",
      f.problem.measurements.size(), f.problem.ranges.size(), fit.agreeing, fit.starts.size(),
      f.settings.seed, figure(fit.chi_square), fit.freedom,
      fit.freedom > 0
          ? fmt::format(": by chance as large or larger in {} % of repetitions", percent(fit.p))
          : "");
  text += fitted_table(r) + "\n";
  const auto sentences = findings(r);
  for (const auto& sentence : sentences) text += wrapped("- " + sentence, 0, 2);
  text += (sentences.empty() ? "" : "\n") + residual_table(r) + "\n" + std::string(files::caution) +
          "\n";
  return text;
}

std::string log_text(const FitRequest& request, const LoadedFit& all, double seconds, long runs) {
  char host[256] = "unknown";
  ::gethostname(host, sizeof host - 1);
  return fmt::format(
      "command         {}\ndate            {:%Y-%m-%dT%H:%M:%SZ}\nhost            {}\n"
      "threads         {}\nruns            {}\nduration        {:.3f} s\n",
      files::visible(request.command_line, 2000), fmt::gmtime(std::time(nullptr)), host,
      all.file.settings.threads, runs, seconds);
}

ExitCode fit_failed(const LoadedFit& all, const study::Fit& fit) {
  fmt::print(stderr, "serosa: no search could begin: {}: {}, at {}\n",
             all.file.problem.study.arms[fit.outcome.arm].name,
             simulate::message(fit.outcome.status), files::time_label(fit.outcome.time));
  return ExitCode::run_failed;
}

ExitCode carry_out_fit(const FitRequest& request) {
  const auto all = load(request);
  const auto& f = all->file;
  fmt::print(stderr, "{}", all->problems.warnings_text());
  // Claimed before the runs: a folder that can't be used is told at once.
  auto folder = request.out.empty() ? files::ResultsFolder::claim_next("results", f.name)
                                    : files::ResultsFolder::claim(request.out);
  const std::size_t pieces = f.settings.starts + 2 * f.problem.ranges.size();
  Progress progress(f.name, 0, pieces, request.quiet, "searches");
  std::size_t seen = 0;
  const study::Fit fit = study::fit(f.problem, f.settings, [&](std::size_t done, std::size_t) {
    progress.add(done - seen);
    seen = done;
    progress.tick();
  });
  progress.end();
  if (!fit.outcome.finished()) return fit_failed(*all, fit);
  files::FitResult r;
  r.file = &f;
  r.fit = &fit;
  r.build = build_info();
  double last = 0;
  for (const auto& m : f.problem.measurements) last = std::max(last, m.time);
  r.times = simulate::grid(0, last, last / 120);
  r.courses = study::courses(f.problem, r.values(), r.times);
  for (const auto& problem : all->problems.all()) r.warnings.push_back(problem.text());
  const std::string text = report_of(r);
  files::write_fit(folder, r, {{"table.txt", text}},
                   log_text(request, *all, progress.seconds(), fit.runs));
  page::write(folder, page_of_fit(r, findings(r)));
  folder.keep();
  const std::string place = folder.path().string();
  const std::string page = (folder.path() / "report.html").string();
  print(request.quiet ? place + "\n" : text + "\nResults: " + place + "\nPage:    " + page + "\n");
  return ExitCode::done;
}

std::string program_name() {
  const auto build = build_info();
  return "serosa " + build.version;
}

ExitCode simulate_data(const FitRequest& request) {
  const auto all = load(request);
  const auto& f = all->file;
  const auto truth = files::values_of(f, request.truth);
  const auto made = study::simulated(f.problem, truth, f.settings.seed, files::error_of(f));
  if (made.empty()) {
    fmt::print(stderr, "serosa: a run failed; no data were made\n");
    return ExitCode::run_failed;
  }
  if (fs::exists(request.simulate))
    throw files::WriteError(files::quote(request.simulate) + " is there already");
  std::ofstream out(request.simulate, std::ios::binary);
  out << files::simulated_csv(f, made, truth, f.settings.seed, program_name());
  out.close();
  if (!out) throw files::WriteError("cannot write " + files::quote(request.simulate));
  if (!request.quiet) print("Simulated data: " + request.simulate + "\n");
  return ExitCode::done;
}

ExitCode repeat(const FitRequest& request) {
  const auto all = load(request);
  const auto& f = all->file;
  const auto truth = files::values_of(f, request.truth);
  Progress progress(f.name, 0, request.repeats, request.quiet, "repeats");
  std::size_t seen = 0;
  const auto sum = study::repeated(f.problem, truth, request.repeats, f.settings,
                                   files::error_of(f), [&](std::size_t done, std::size_t) {
                                     progress.add(done - seen);
                                     seen = done;
                                     progress.tick();
                                   });
  progress.end();
  TextTable table({"true", "fitted: mean", "SD", "interval holds it", "interval closed"});
  const double fitted = static_cast<double>(sum.repeats - sum.failed);
  const auto of = [&](std::size_t count) { return fmt::format("{} of {:.0f}", count, fitted); };
  for (std::size_t j = 0; j < truth.size(); ++j) {
    const auto& input = f.problem.study.inputs[j];
    table.row(label_of(input), {fit_figure(truth[j]), fit_figure(sum.mean[j]),
                                fit_figure(sum.sd[j]), of(sum.covered[j]), of(sum.closed[j])});
  }
  std::string text =
      f.title + "\n\n" +
      wrapped(
          fmt::format("The figures of {} were simulated {} times with the stated errors (seed {} "
                      "and on) and fitted again, {} {} each. Intervals of {} should hold the "
                      "true value about as often.",
                      files::quote(fs::path(request.data).filename().string()), sum.repeats,
                      f.settings.seed, f.settings.starts,
                      f.settings.starts == 1 ? "search" : "searches", confidence_text(f)),
          0, 0) +
      "\n" + table.text();
  if (sum.failed > 0) text += fmt::format("\n{} could not be fitted: a run failed.\n", sum.failed);
  print(text + "\n" + std::string(files::caution) + "\n");
  return sum.failed > 0 ? ExitCode::run_failed : ExitCode::done;
}

}  // namespace

void add_fit(CLI::App& app, Command& chosen, const std::string& command_line) {
  const auto request = std::make_shared<FitRequest>();
  request->command_line = command_line;
  CLI::App* const command = app.add_subcommand(
      "fit", "Fits inputs to measured figures, and says which of them the data cannot tell");
  command->add_option("STUDY", request->fit, "The fit file: case or arms, what is fitted, errors")
      ->required()
      ->type_name("FILE");
  command->add_option("DATA", request->data, "The measured figures: a CSV file")
      ->required()
      ->type_name("FILE");
  command->add_option("--out", request->out,
                      "Folder for the results; new or empty. Default: the next results/STUDY-n");
  command->add_option("--starts", request->starts, "Searches, instead of those of the file")
      ->check(CLI::Range(1, 1000));
  auto* const seed =
      command->add_option("--seed", request->seed,
                          "Seed of the searches and of simulated errors, instead of the file's");
  auto* const simulate =
      command
          ->add_option(
              "--simulate", request->simulate,
              "Instead of fitting, write simulated data with the times, columns and errors "
              "of DATA to this file")
          ->type_name("FILE");
  command
      ->add_option(
          "--truth", request->truth,
          "A true value for simulated data, such as parameters.spread=0.3; may be repeated")
      ->type_name("PATH=VALUE")
      ->allow_extra_args(false);
  command
      ->add_option("--repeats", request->repeats,
                   "Instead of fitting once, simulate and fit so many times, and say how often the "
                   "intervals hold the true values")
      ->check(CLI::Range(1, 100000))
      ->excludes(simulate);
  command->add_option("--threads", request->threads, "Threads; by default one per processor")
      ->check(CLI::Range(1, 1024));
  command->add_flag("--quiet", request->quiet, "Print nothing but the path of the results folder");
  command
      ->add_option("--models", request->models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command->footer(
      "DATA has a column `time [h]` and one for each figure, named as an output (`serosa explain\n"
      "--outputs`) or `weight`, with its unit: `urine [mL]`. A second column `urine sd [mL]`, or\n"
      "`errors` in the fit file, states the error. `urine since last [mL]` is what came since the\n"
      "row before. With several arms there is a column `arm`.\n\n"
      "Examples:\n"
      "  serosa fit models/fits/first-hours.yaml models/fits/first-hours.csv\n"
      "  serosa fit models/fits/first-hours.yaml my-data.csv --starts 20 --out results/mine\n"
      "  serosa fit models/fits/first-hours.yaml models/fits/first-hours.csv --simulate new.csv "
      "--seed 7\n"
      "  serosa fit models/fits/first-hours.yaml models/fits/first-hours.csv --repeats 100\n\n" +
      help_end());
  command->callback([request, seed, &chosen] {
    request->own_seed = seed->count() > 0;
    if (!request->truth.empty() && request->simulate.empty() && request->repeats == 0)
      throw CLI::ValidationError("--truth belongs to --simulate or --repeats");
    chosen = [request] {
      if (!request->simulate.empty()) return simulate_data(*request);
      return request->repeats > 0 ? repeat(*request) : carry_out_fit(*request);
    };
  });
}

}  // namespace serosa::runner
