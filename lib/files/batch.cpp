// SPDX-License-Identifier: Apache-2.0
#include "files/batch.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <ctime>

#include "files/netcdf.hpp"
#include "files/sensitivity_file.hpp"
#include "simulate/isa.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

namespace {

double seconds_since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

Blocks open_blocks(const LoadedStudy& study, const BatchFolder& folder,
                   const std::vector<Part>& parts) {
  const study::Layout layout(study.file.study);
  std::vector<std::unique_ptr<Journal>> journals;
  for (const Part& part : parts)
    journals.push_back(
        std::make_unique<Journal>(folder.journal(part), layout, study.fingerprint, part));
  return {layout, std::move(journals)};
}

}  // namespace

std::vector<std::string> LoadedStudy::warnings() const {
  std::vector<std::string> texts;
  for (const auto& problem : problems.all()) texts.push_back(problem.text());
  return texts;
}

std::unique_ptr<LoadedStudy> load_study(const fs::path& study, const fs::path& models,
                                        const BuildInfo& build) {
  auto all = std::make_unique<LoadedStudy>();
  const auto bibliography = read_bibliography(models / "references.bib", all->problems);
  all->models = read_models(models, bibliography ? &*bibliography : nullptr, all->problems);
  all->problems.refuse_if_any();
  all->file = read_study(study, all->models, all->problems);
  all->problems.refuse_if_any();
  all->fingerprint = fingerprint(all->file, build.version + " " + build.commit);
  return all;
}

Batch::Batch(const LoadedStudy& study, BatchFolder folder, std::vector<Part> parts)
    : study_(study), folder_(std::move(folder)), blocks_(open_blocks(study, folder_, parts)) {
  const auto& layout = blocks_.layout();
  for (std::uint64_t b = 0; b < layout.blocks; ++b) {
    if (std::none_of(parts.begin(), parts.end(), [b](const Part& p) { return p.has(b); })) continue;
    runs_ += layout.runs_of(b) * layout.arms;
    if (blocks_.has(b)) before_ += layout.runs_of(b) * layout.arms;
  }
}

Batch::Batch(const LoadedStudy& study, const fs::path& folder, Part part)
    : Batch(study,
            BatchFolder(folder.empty() ? BatchFolder::choose("results", study.file.study.name,
                                                             study.fingerprint)
                                       : folder),
            std::vector<Part>{part}) {}

Batch Batch::of_parts(const LoadedStudy& study, const fs::path& folder) {
  BatchFolder there(folder);
  auto parts = there.parts();
  return {study, std::move(there), std::move(parts)};
}

std::vector<std::string> Batch::remarks() {
  std::vector<std::string> all;
  for (const auto& journal : blocks_.journals())
    all.insert(all.end(), journal->remarks().begin(), journal->remarks().end());
  return all;
}

bool Batch::compute(int threads, study::Messages* ranks, const Watch& watch) {
  threads_ = threads;
  Journal& journal = *blocks_.journals().front();
  const auto& layout = blocks_.layout();
  auto safe = Clock::now();
  const study::Keeper keeper{[&](const study::Finished& done) {
                               journal.append(done.block, done.table);
                               watch.add(layout.runs_of(done.block) * layout.arms);
                             },
                             watch.stop,
                             [&] {
                               watch.tick();
                               if (seconds_since(safe) < 10) return;
                               journal.to_disk();
                               safe = Clock::now();
                             }};
  const std::size_t left = study::hand_out(study_.file.study, blocks_.missing(journal.part()),
                                           threads, ranks, study_.fingerprint, keeper);
  journal.to_disk();
  return left == 0;
}

void Batch::write_what_was_asked() {
  const auto& file = study_.file;
  const auto& s = file.study;
  folder_.write("study.yaml", write_document(file.understood));
  for (std::size_t a = 0; a < s.arms.size(); ++a)
    folder_.write("cases/" + s.arms[a].name + ".yaml", write_document(file.arms[a]));
  for (const auto& table : file.tables)
    if (!table.name.empty()) folder_.write(table.name, table.source->text);
  if (std::any_of(s.inputs.begin(), s.inputs.end(), [](const auto& i) { return i.of_cohort; }))
    folder_.write("cohort.csv", [&](const fs::path& path) { write_cohort_csv(path, file); });
}

void Batch::write_numbers(const BuildInfo& build, bool statistics) {
  const auto& file = study_.file;
  const auto& s = file.study;
  try {
    folder_.write("runs.nc",
                  [&](const fs::path& path) { write_runs_nc(path, file, blocks_, build); });
    if (!s.series_times.empty() && (statistics || s.series_of_all_runs))
      folder_.write("series.nc", [&](const fs::path& path) {
        write_series_nc(path, file, blocks_, build, statistics);
      });
  } catch (const NetcdfError& failure) {
    throw WriteError("cannot write into " + quote(folder_.path().string()) + ": " + failure.what());
  }
}

void Batch::write_statistics(const std::function<void()>& go_on) {
  const auto& file = study_.file;
  folder_.write("summary.csv", batch_summary_csv(file, blocks_));
  go_on();
  if (file.study.arms.size() > 1) folder_.write("differences.csv", differences_csv(file, blocks_));
  if (!file.study.bands.empty()) folder_.write("bands.csv", bands_csv(file, blocks_));
}

study::SensitivityResult Batch::write_sensitivity(const BuildInfo& build) {
  const auto& file = study_.file;
  auto result = study::analyse(
      file.study, *file.sensitivity,
      [&](std::size_t column, std::span<double> values) { blocks_.read(column, 0, values); },
      threads_);
  try {
    folder_.write("sensitivity.nc",
                  [&](const fs::path& path) { write_sensitivity_nc(path, file, result, build); });
  } catch (const NetcdfError& failure) {
    throw WriteError("cannot write into " + quote(folder_.path().string()) + ": " + failure.what());
  }
  folder_.write("sensitivity.csv", sensitivity_csv(result));
  if (!result.pairs.empty()) folder_.write("second_order.csv", second_order_csv(result));
  if (!result.sizes.empty()) folder_.write("convergence.csv", convergence_csv(result));
  return result;
}

Batch::Outcome Batch::write(const BuildInfo& build, const std::function<std::string(double)>& log,
                            const std::function<bool()>& stop) {
  const auto start = Clock::now();
  const std::function<void()> go_on = [&] {
    if (stop()) throw Stopped();
  };
  const auto& file = study_.file;
  Outcome outcome{count_failures(blocks_), false};
  outcome.statistics = outcome.failures.total() == 0 || file.study.exclude_failed;
  write_what_was_asked();
  go_on();
  // Sensitivities need no run by itself, and there are many runs.
  if (!file.sensitivity || file.sensitivity->keep_runs) write_numbers(build, outcome.statistics);
  go_on();
  folder_.write("failed.csv", failed_shares_csv(file, outcome.failures));
  if (outcome.failures.total() > 0)
    folder_.write("failed_runs.csv",
                  [&](const fs::path& path) { write_failed_runs_csv(path, blocks_, file); });
  if (outcome.statistics && file.sensitivity)
    outcome.sensitivity = write_sensitivity(build);
  else if (outcome.statistics)
    write_statistics(go_on);
  folder_.write("log.txt", log(seconds_since(start)));
  // The manifest makes the batch a finished one; only then may the journal go. Open, it can still
  // be read.
  folder_.write(BatchFolder::manifest, batch_manifest_json(file, outcome.failures, build,
                                                           study_.warnings(), folder_.written()));
  for (const auto& journal : blocks_.journals()) {
    std::error_code ignored;
    fs::remove(journal->path(), ignored);
  }
  return outcome;
}

std::string batch_log(const std::string& command, double computing, double writing, int threads,
                      int ranks) {
  char host[256] = "unknown";
  ::gethostname(host, sizeof host - 1);
  return fmt::format(
      "command         {}\ndate            {:%Y-%m-%dT%H:%M:%SZ}\nhost            {}\n"
      "threads         {}\nranks           {}\ninstruction set {}\nsimulation      {:.3f} s\n"
      "results         {:.3f} s\n",
      visible(command, 2000), fmt::gmtime(std::time(nullptr)), host, threads, ranks,
      simulate::name(simulate::chosen_instruction_set()), computing, writing);
}

}  // namespace serosa::files
