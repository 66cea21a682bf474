// SPDX-License-Identifier: Apache-2.0
#include "runner/batch.hpp"

#include <fmt/format.h>
#include <sys/resource.h>

#include <chrono>
#include <cmath>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <optional>
#include <thread>

#include "files/review_file.hpp"
#include "runner/build_info.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/page.hpp"
#include "runner/page_inputs.hpp"
#include "runner/page_text.hpp"
#include "runner/progress.hpp"
#include "runner/ranks.hpp"
#include "runner/sensitivity.hpp"
#include "runner/text_table.hpp"
#include "study/crew.hpp"
#include "study/statistics.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;
using files::ExitCode;
using simulate::output_list;
using Clock = std::chrono::steady_clock;

namespace {

volatile std::sig_atomic_t stop_asked = 0;

void note_stop(int) { stop_asked = 1; }

double seconds_since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

/// Sends the other ranks home unless they were handed blocks, which does it too.
class Dismissal {
 public:
  explicit Dismissal(study::Messages* ranks) : ranks_(ranks) {}
  ~Dismissal() {
    if (ranks_) study::dismiss(*ranks_);
  }
  Dismissal(const Dismissal&) = delete;
  Dismissal& operator=(const Dismissal&) = delete;
  void handed_out() { ranks_ = nullptr; }

 private:
  study::Messages* ranks_;
};

}  // namespace

struct StopSignals::Old {
  struct sigaction interrupt {
  }, terminate{};
};

StopSignals::StopSignals() : old_(std::make_unique<Old>()) {
  stop_asked = 0;
  struct sigaction action {};
  action.sa_handler = note_stop;
  action.sa_flags = static_cast<int>(SA_RESETHAND);
  ::sigaction(SIGINT, &action, &old_->interrupt);
  ::sigaction(SIGTERM, &action, &old_->terminate);
}

StopSignals::~StopSignals() {
  ::sigaction(SIGINT, &old_->interrupt, nullptr);
  ::sigaction(SIGTERM, &old_->terminate, nullptr);
}

bool StopSignals::asked() { return stop_asked != 0; }

std::string duration_text(double seconds) {
  if (seconds < 100) return fmt::format("{:.0f} s", std::ceil(seconds));
  if (seconds < 6000) return fmt::format("{:.0f} min", std::ceil(seconds / 60));
  return fmt::format("{:.1f} h", seconds / 3600);
}

std::string size_text(double bytes) {
  if (bytes < 1e6) return fmt::format("{:.0f} kB", std::ceil(bytes / 1e3));
  if (bytes < 1e9) return fmt::format("{:.0f} MB", bytes / 1e6);
  return fmt::format("{:.1f} GB", bytes / 1e9);
}

void add_batch_options(CLI::App& command, BatchRequest& request) {
  command.add_option("STUDY", request.study, "The study file")->required()->type_name("FILE");
  command
      .add_option("--models", request.models,
                  "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command
      .add_option("--threads", request.threads,
                  "Threads; by default one per processor, one per rank under mpirun")
      ->check(CLI::Range(1, 1024));
}

std::unique_ptr<LoadedStudy> load_study(const BatchRequest& request) {
  if (files::is_review(request.study)) return load_review(request);
  return files::load_study(request.study, models_folder(request.models), build_info());
}

files::Part part_of(const std::string& text) {
  files::Part p;
  if (text.empty()) return p;
  int end = 0;
  if (std::sscanf(text.c_str(), "%u/%u%n", &p.part, &p.parts, &end) != 2 ||
      static_cast<std::size_t>(end) != text.size() || p.part < 1 || p.part > p.parts ||
      p.parts > 100000)
    throw CLI::ValidationError("--part " + files::quote(text) +
                               ": two whole numbers are expected, such as 3/40");
  return p;
}

int thread_count(const BatchRequest& request, bool with_ranks) {
  if (request.threads > 0) return request.threads;
  return with_ranks ? 1 : static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
}

Needs needs_of(const LoadedStudy& study, int threads) {
  const auto& s = study.file.study;
  const study::Layout layout(s);
  Needs needs{};
  // A trial of blocks from all over the batch, half a second at least when there are enough.
  std::uint64_t runs = 0, pushed = 0;
  const auto start = Clock::now();
  {
    study::Crew crew(s, threads);
    const std::uint64_t step = std::max<std::uint64_t>(1, layout.blocks / 64);
    const auto push = [&] {
      if (pushed * step < layout.blocks) crew.push(pushed++ * step);
    };
    for (int i = 0; i < 2 * threads; ++i) push();
    while (crew.in_hand() > 0)
      if (const auto done = crew.pop(1)) {
        runs += layout.runs_of(done->block);
        if (seconds_since(start) < 1) push();
      }
  }
  needs.runs_per_second = static_cast<double>(runs) / seconds_since(start);
  needs.seconds = static_cast<double>(s.runs()) / needs.runs_per_second;
  const double table = static_cast<double>(layout.numbers() * sizeof(double));
  const double per_run =
      static_cast<double>(s.all_times().size() * simulate::output::count * sizeof(double)) + 8192;
  const double block = static_cast<double>(layout.block * layout.arms) * per_run;
  const double variables =
      1.5e6 * static_cast<double>(s.outputs.size()) + 1e5 * static_cast<double>(s.inputs.size());
  needs.memory = 30e6 + threads * (block + 4 * table) + variables + 10e6;
  needs.journal = static_cast<double>(layout.blocks) * (table + 24);
  needs.results = static_cast<double>(s.runs()) *
                  static_cast<double>(8 * s.inputs.size() + 4 +
                                      s.arms.size() * (26 + 8 * layout.outputs * layout.times));
  if (s.series_of_all_runs)
    needs.results +=
        static_cast<double>(s.runs()) *
        static_cast<double>(8 * layout.arms * layout.series_outputs * layout.series_times);
  constexpr double page = 6e5;  // its scripts and style; its figures come on top
  // Heads of NetCDF variables, and tables: a row per arm, output and time, a line per baby.
  const auto of_cohort = static_cast<double>(std::count_if(
      s.inputs.begin(), s.inputs.end(), [](const auto& input) { return input.of_cohort; }));
  needs.results +=
      page + 2e3 * static_cast<double>(layout.arms * layout.outputs * layout.times) +
      5e3 * static_cast<double>(s.inputs.size() + layout.outputs + 9) +
      1.2e3 * static_cast<double>(layout.arms * (layout.outputs * layout.times + s.bands.size())) +
      static_cast<double>(s.runs()) * 20 * of_cohort +
      static_cast<double>(8 * layout.arms * layout.series_outputs * layout.series_times *
                          s.series_quantiles.size());
  return needs;
}

bool has_cohort(const study::Study& s) {
  return std::any_of(s.inputs.begin(), s.inputs.end(), [](const auto& i) { return i.of_cohort; });
}

const char* what_is_drawn(const study::Study& s) {
  if (has_cohort(s)) return "babies";
  return s.design.kind == study::DesignKind::full_grid ? "combinations" : "draws";
}

std::string inputs_table(const study::Study& s) {
  std::string text;
  for (const auto& input : s.inputs) {
    text += wrapped(input.path + ": " + input.law_text +
                        (input.source.empty() ? "" : " [" + input.source + "]") +
                        (input.of_cohort ? " (who the baby is)" : ""),
                    2, 6);
  }
  return text;
}

namespace {

/// The column of an output at the last time, or its difference to the first arm, baby by baby.
study::Pieces last_values(const files::Blocks& blocks, std::size_t arm, std::size_t output,
                          bool paired) {
  return [=, &blocks](const std::function<void(std::span<const double>)>& see) {
    const auto& layout = blocks.layout();
    std::vector<double> x(layout.block), y(layout.block);
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const std::size_t rows = layout.runs_of(b);
      const auto read = [&](std::size_t a, std::vector<double>& to) {
        blocks.read(layout.value(a, output, layout.times - 1), b * layout.block,
                    std::span(to).first(rows));
      };
      read(arm, x);
      if (paired) read(0, y);
      // A run that failed has no number at its end.
      std::size_t kept = 0;
      for (std::size_t i = 0; i < rows; ++i)
        if (const double d = x[i] - y[i]; !std::isnan(d)) x[kept++] = d;
      see(std::span(x).first(kept));
    }
  };
}

/// The outcome at the last time: every output of every arm, and what the arms differ by.
std::string outcome_table(const study::Study& s, const files::Blocks& blocks) {
  // A grid is no sample: its ends are those of the grid.
  const bool grid = s.design.kind == study::DesignKind::full_grid;
  const std::vector<double> levels =
      grid ? std::vector{0.0, 0.5, 1.0} : std::vector{0.05, 0.5, 0.95};
  TextTable table(grid ? std::vector<std::string>{"least", "middle", "most"}
                       : std::vector<std::string>{"5 %", "middle", "95 %"});
  for (std::size_t o = 0; o < s.outputs.size(); ++o) {
    const auto& output = output_list[s.outputs[o]];
    const auto heading = [&](const std::string& what, std::string_view unit) {
      table.heading(
          fmt::format("{} at {}{}", output.meaning, files::time_label(s.times.back()), what) +
          (unit == "1" ? "" : fmt::format(", {}", unit == "degC" ? "°C" : unit)));
    };
    const auto row = [&](const std::string& label, std::size_t arm, bool paired) {
      const auto d = study::describe(last_values(blocks, arm, o, paired), levels, s.confidence);
      std::vector<std::string> cells;
      for (const auto& q : d.quantiles) cells.push_back(figure(q.value));
      table.row(label, std::move(cells));
    };
    heading("", output.unit);
    for (std::size_t a = 0; a < s.arms.size(); ++a) row(s.arms[a].name, a, false);
    for (std::size_t a = 1; a < s.arms.size(); ++a)
      row(s.arms[a].name + " less " + s.arms[0].name, a, true);
  }
  return table.text();
}

void tell(const std::vector<std::string>& remarks) {
  for (const auto& remark : remarks) fmt::print(stderr, "serosa: {}\n", remark);
}

}  // namespace

std::optional<BatchComputed> compute_batch(files::Batch& batch, const std::string& name,
                                           const BatchRequest& request, study::Messages* ranks) {
  tell(batch.remarks());
  if (batch.runs_before() > 0)
    fmt::print(stderr, "serosa: going on in {}: {} of {} runs are there\n",
               files::quote(batch.folder().path().string()), batch.runs_before(), batch.runs());
  Progress progress(name, batch.runs_before(), batch.runs(), request.quiet);
  const int threads = thread_count(request, ranks != nullptr);
  bool done = false;
  const auto start = Clock::now();
  try {
    done = batch.compute(threads, ranks,
                         {[&](std::uint64_t runs) { progress.add(runs); }, StopSignals::asked,
                          [&] { progress.tick(); }});
  } catch (...) {
    progress.end();
    throw;
  }
  progress.end();
  if (!done) return std::nullopt;
  return BatchComputed{seconds_since(start), threads, ranks ? ranks->size() : 1};
}

files::Batch::Outcome write_batch(files::Batch& batch, const BatchRequest& request,
                                  const BatchComputed& computed) {
  return batch.write(
      build_info(),
      [&](double writing) {
        return files::batch_log(request.command_line, computed.seconds, writing, computed.threads,
                                computed.ranks);
      },
      StopSignals::asked);
}

std::string in_shell(const std::string& word) {
  const auto plain = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
           std::string_view("/._-+=:@%").find(c) != std::string_view::npos;
  };
  if (!word.empty() && std::all_of(word.begin(), word.end(), plain)) return word;
  std::string quoted = "'";
  for (const char c : word) quoted += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return quoted + "'";
}

ExitCode tell_failures(const study::Study& s, const files::Batch::Outcome& outcome) {
  const auto& failures = outcome.failures;
  const bool statistics = outcome.statistics;
  if (failures.total() == 0) return ExitCode::done;
  for (std::size_t a = 0; a < s.arms.size(); ++a)
    for (const auto& [status, count] : failures.by_arm[a])
      fmt::print(stderr, "serosa: {}: {} of {} runs ({:.3g} %): {}\n", s.arms[a].name, count,
                 s.runs(), 100.0 * static_cast<double>(count) / static_cast<double>(s.runs()),
                 simulate::message(status));
  fmt::print(stderr, "serosa: which runs, and when: failed_runs.csv. {}\n",
             statistics ? "The statistics leave them out, as the study says."
                        : "No statistics were made; `failed_runs: exclude` in the study makes them "
                          "of the others.");
  return ExitCode::run_failed;
}

namespace {

/// Writes all results and tells the outcome.
ExitCode finish(const BatchRequest& request, const LoadedStudy& study, files::Batch& batch,
                const BatchComputed& computed) {
  const auto& s = study.file.study;
  if (!study.file.sensitivity)
    write_whole(batch.folder().path() / "inputs.json", inputs_json(study));
  const auto done = write_batch(batch, request, computed);
  const auto& failures = done.failures;
  const std::string folder = batch.folder().path().string();
  const bool page = !study.file.sensitivity || done.sensitivity;
  try {
    if (done.sensitivity) {
      const PageData sections =
          page_of_sensitivity(s, *done.sensitivity, PageData::parse(inputs_json(study)));
      write_whole(batch.folder().path() / "page.json",
                  sections.dump(-1, ' ', false, PageData::error_handler_t::replace) + "\n");
    }
    if (page) write_page(batch.folder().path());
  } catch (const files::WriteError& failure) {
    throw files::WriteError(fmt::format(
        "the results are whole, but the page was not written: {}. `serosa page {}` makes it",
        failure.what(), in_shell(folder)));
  }
  if (request.quiet) {
    print(folder + "\n");
  } else {
    std::string outcome;
    if (done.sensitivity)
      outcome = "\n" + sensitivity_table(*done.sensitivity) + "\n";
    else if (done.statistics && !study.file.sensitivity)
      outcome = "\n" + outcome_table(s, batch.blocks()) + "\n";
    print(fmt::format(
        "{}\n{} {}, {}; {} of {} runs failed.\n{}{}\n\nResults: {}\n{}", s.title, s.runs(),
        study.file.sensitivity ? "draws" : what_is_drawn(s),
        s.arms.size() == 1 ? "one arm" : fmt::format("{} arms", s.arms.size()), failures.total(),
        s.runs() * s.arms.size(), outcome, files::caution, folder,
        page ? "Page:    " + (batch.folder().path() / "report.html").string() + "\n" : ""));
  }
  return tell_failures(s, done);
}

/// A batch of this study that was stopped after its last file but before its page.
bool lacks_only_its_page(const std::filesystem::path& folder, const LoadedStudy& study) {
  if (folder.empty() || study.file.sensitivity ||
      !std::filesystem::exists(folder / "manifest.json") ||
      std::filesystem::exists(folder / "report.html"))
    return false;
  std::ifstream file(folder / "study.yaml", std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(file), {}};
  return text == files::write_document(study.file.understood);
}

ExitCode sweep_alone(const BatchRequest& request, const LoadedStudy& study, study::Messages* ranks,
                     const std::function<void()>& handing_out) {
  const auto& s = study.file.study;
  const files::Part part = part_of(request.part);
  if (part.parts > 1 && request.out.empty())
    throw CLI::ValidationError("--part needs --out: all parts go into one folder");
  fmt::print(stderr, "{}", study.problems.warnings_text());
  if (lacks_only_its_page(request.out, study)) {
    write_page(request.out);
    print("Results: " + request.out + "\n");
    return ExitCode::done;
  }
  files::Batch batch(study, request.out, part);
  const std::string folder = batch.folder().path().string();
  const StopSignals signals;
  handing_out();
  const auto computed = compute_batch(batch, s.name, request, ranks);
  const auto stopped = [&] {
    return tell_stopped(request.sensitivity ? "sensitivity" : "sweep", request, folder);
  };
  if (!computed) return stopped();
  if (part.parts > 1) {
    tell_part(request, part, folder);
    return ExitCode::done;
  }
  try {
    return finish(request, study, batch, *computed);
  } catch (const files::Stopped&) {
    return stopped();
  }
}

/// Every part's journal is open at once: as many files as the system lets us have.
void allow_many_files() {
  rlimit limit{};
  if (::getrlimit(RLIMIT_NOFILE, &limit) != 0) return;
  limit.rlim_cur = limit.rlim_max;
  ::setrlimit(RLIMIT_NOFILE, &limit);
}

/// Which parts lack blocks, a line each; empty when nothing is missing.
std::string what_is_missing(files::Blocks& blocks) {
  if (blocks.missing().empty()) return "";
  std::string lines;
  // Parts that never began have no journal; how many parts there are is told by the others.
  std::uint32_t parts = 1;
  for (const auto& journal : blocks.journals()) parts = std::max(parts, journal->part().parts);
  for (std::uint32_t n = 1; n <= parts; ++n)
    if (const auto left = blocks.missing({n, parts}).size(); left > 0)
      lines += fmt::format("\n  part {} of {} lacks {} blocks", n, parts, left);
  return lines;
}

}  // namespace

ExitCode tell_stopped(const std::string& command, const BatchRequest& request,
                      const std::string& folder) {
  fmt::print(stderr,
             "serosa: stopped; what was finished is kept. Go on with\n  serosa {} {} --out "
             "{}{}{}\n",
             command, in_shell(request.study), in_shell(folder),
             request.part.empty() ? "" : " --part " + request.part,
             request.models.empty() ? "" : " --models " + in_shell(request.models));
  return ExitCode::interrupted;
}

void tell_part(const BatchRequest& request, files::Part part, const std::string& folder) {
  if (!request.quiet)
    print(fmt::format("Part {} of {} is done. When all are:\n  serosa merge {} --out {}\n",
                      part.part, part.parts, in_shell(request.study), in_shell(folder)));
}

ExitCode in_ranks(
    const BatchRequest& request, const std::function<const LoadedStudy&()>& load,
    const std::function<ExitCode(study::Messages*, const std::function<void()>&)>& lead) {
  part_of(request.part);  // a misuse is told before anything starts
  const auto ranks = ranks_of_this_job();
  if (ranks && ranks->rank() > 0) {
    // Rank 0 says what there is to say, and sends this one home.
    std::signal(SIGINT, SIG_IGN);
    std::signal(SIGTERM, SIG_IGN);
    try {
      const LoadedStudy& study = load();
      study::serve(study.file.study, thread_count(request, true), *ranks, study.fingerprint);
    } catch (const files::InputError&) {
      return ExitCode::input_refused;
    }
    return ExitCode::done;
  }
  Dismissal dismissal(ranks.get());
  return lead(ranks.get(), [&] { dismissal.handed_out(); });
}

ExitCode sweep(const BatchRequest& request) {
  std::unique_ptr<LoadedStudy> study;
  const auto load = [&]() -> const LoadedStudy& {
    study = load_study(request);
    return *study;
  };
  return in_ranks(request, load, [&](study::Messages* ranks, const auto& handing_out) {
    load();
    if (files::is_review(request.study))
      throw CLI::ValidationError(files::quote(request.study) +
                                 " is a review: `serosa review` carries it out");
    if (request.sensitivity && !study->file.sensitivity) {
      files::Problems problems;
      problems.error({study->file.sources.front(), 1, 1}, "sensitivity",
                     "this study asks for no sensitivities",
                     "add `sensitivity: {method: indices, sample: 1024}`");
      throw files::InputError(std::move(problems));
    }
    return sweep_alone(request, *study, ranks, handing_out);
  });
}

files::Batch open_parts(const BatchRequest& request, const LoadedStudy& study) {
  allow_many_files();
  files::Batch batch = files::Batch::of_parts(study, request.out);
  tell(batch.remarks());
  if (const std::string lacking = what_is_missing(batch.blocks()); !lacking.empty())
    throw files::WriteError(
        fmt::format("runs are missing in {}; run the parts that are not done, then merge again{}",
                    files::quote(request.out), lacking));
  return batch;
}

ExitCode merge(const BatchRequest& request) {
  std::error_code ignored;
  if (!fs::is_directory(request.out, ignored))
    throw files::WriteError(files::quote(request.out) + " is no folder of parts");
  if (files::is_review(request.study)) return merge_review(request);
  const auto study = load_study(request);
  files::Batch batch = open_parts(request, *study);
  return finish(request, *study, batch, {});
}

}  // namespace serosa::runner
