// SPDX-License-Identifier: Apache-2.0
// From a study to a finished batch: what plan, sweep, merge and case share.
#pragma once
#include <CLI/CLI.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "files/batch.hpp"
#include "files/exit_codes.hpp"

namespace serosa::runner {

struct BatchRequest {
  std::string study;  ///< path
  std::string out;    ///< folder; empty: the next one in `results`, or an unfinished one
  std::string part;   ///< `3/40`; empty: all
  int threads = 0;    ///< 0: as many as there are processors, one per rank under mpirun
  bool quiet = false;
  bool sensitivity = false;  ///< the study must ask for sensitivities
  std::string models;
  std::string command_line;
};

using files::LoadedStudy;

void add_batch_options(CLI::App& command, BatchRequest& request);

/// The study that carries a review out. Throws files::InputError.
std::unique_ptr<LoadedStudy> load_review(const BatchRequest& request);

/// Reads a study, or a review as one. Throws files::InputError.
std::unique_ptr<LoadedStudy> load_study(const BatchRequest& request);

/// `3/40` as a part; everything when empty. Throws CLI::ValidationError.
files::Part part_of(const std::string& text);

int thread_count(const BatchRequest& request, bool with_ranks);

/// What a batch will ask for.
struct Needs {
  double runs_per_second;  ///< measured on this machine, all threads
  double seconds;
  double memory;            ///< bytes
  double journal, results;  ///< bytes on disk
};
Needs needs_of(const LoadedStudy& study, int threads);

/// While it lives, Ctrl-C and a polite kill end the batch at the next block; a second one ends the
/// program at once.
class StopSignals {
 public:
  StopSignals();
  ~StopSignals();
  StopSignals(const StopSignals&) = delete;
  StopSignals& operator=(const StopSignals&) = delete;
  static bool asked();

 private:
  struct Old;
  std::unique_ptr<Old> old_;
};

/// What the log tells of the computing.
struct BatchComputed {
  double seconds = 0;
  int threads = 1, ranks = 1;
};

/// Computes what is missing of a batch, with a bar; nothing when it was stopped.
std::optional<BatchComputed> compute_batch(files::Batch& batch, const std::string& name,
                                           const BatchRequest& request, study::Messages* ranks);
/// Writes the results that every batch has. Throws files::Stopped.
files::Batch::Outcome write_batch(files::Batch& batch, const BatchRequest& request,
                                  const BatchComputed& computed);
/// Says which runs did not finish; the exit code that follows from them.
files::ExitCode tell_failures(const study::Study& study, const files::Batch::Outcome& outcome);
/// A word for a shell, quoted when it must be.
std::string in_shell(const std::string& word);

/// Carries a batch out as this process's share of its job: rank 0, or a process by itself, leads;
/// the others load the same study and compute what they are handed.
/// @param load  throws files::InputError
/// @param lead  is given the ranks, null for a process by itself, and what to call when blocks are
///   about to be handed out
files::ExitCode in_ranks(
    const BatchRequest& request, const std::function<const LoadedStudy&()>& load,
    const std::function<files::ExitCode(study::Messages*, const std::function<void()>&)>& lead);
/// Says that a batch, or its part, was stopped, and with which command it goes on.
files::ExitCode tell_stopped(const std::string& command, const BatchRequest& request,
                             const std::string& folder);
/// Says that one part is done, and how the parts are joined.
void tell_part(const BatchRequest& request, files::Part part, const std::string& folder);
/// Opens the folder of the parts of a batch that ran as a job array. Throws files::WriteError, also
/// when runs are missing.
files::Batch open_parts(const BatchRequest& request, const LoadedStudy& study);
/// Joins the parts of a review.
files::ExitCode merge_review(const BatchRequest& request);

/// Carries a batch out, or one part of it, going on where an earlier attempt stopped.
files::ExitCode sweep(const BatchRequest& request);
/// Joins the parts of a batch.
files::ExitCode merge(const BatchRequest& request);

/// `12 s`, `3 min`, `2.5 h`.
std::string duration_text(double seconds);
/// `840 kB`, `1.2 GB`.
std::string size_text(double bytes);
bool has_cohort(const study::Study& study);
/// What the runs of an arm are: babies, draws or combinations.
const char* what_is_drawn(const study::Study& study);
std::string inputs_table(const study::Study& study);

}  // namespace serosa::runner
