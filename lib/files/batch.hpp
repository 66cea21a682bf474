// SPDX-License-Identifier: Apache-2.0
// A batch from its study to its finished folder: what the program and the Python module share.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "files/batch_results.hpp"
#include "files/models.hpp"
#include "study/crew.hpp"

namespace serosa::files {

/// A study with what was read for it.
struct LoadedStudy {
  Models models;
  StudyFile file;
  Problems problems;  ///< warnings
  std::string fingerprint;

  std::vector<std::string> warnings() const;
};

/// Reads a study and the data files in `models`. Throws InputError.
/// @param build  goes into the fingerprint: another build does not go on with a batch
std::unique_ptr<LoadedStudy> load_study(const std::filesystem::path& study,
                                        const std::filesystem::path& models,
                                        const BuildInfo& build);

/// Thrown when results were stopped from being written.
class Stopped : public std::runtime_error {
 public:
  Stopped() : std::runtime_error("stopped while results were written") {}
};

/// A batch, or one part of it, on its way: its folder, its journal, and what is still missing.
/// Borrows the study.
class Batch {
 public:
  /// Opens the folder and its journal, or makes them. Throws WriteError.
  /// @param folder  new, empty, or of the same study unfinished; empty: the next of
  ///   `results/NAME-n`, or an unfinished one
  Batch(const LoadedStudy& study, const std::filesystem::path& folder, Part part = {});
  /// The parts of a batch that ran as a job array, to be joined.
  static Batch of_parts(const LoadedStudy& study, const std::filesystem::path& folder);

  BatchFolder& folder() { return folder_; }
  Blocks& blocks() { return blocks_; }
  /// What was found damaged or unfinished in the journals, in sentences.
  std::vector<std::string> remarks();
  /// Runs of this part, all arms counted, and how many of them were there at the start.
  std::uint64_t runs() const { return runs_; }
  std::uint64_t runs_before() const { return before_; }

  /// How the one who waits follows it.
  struct Watch {
    std::function<void(std::uint64_t)> add;  ///< so many runs are done
    std::function<bool()> stop;              ///< asked between blocks: true ends it early
    std::function<void()> tick;              ///< called a few times a second
  };
  /// Computes what is missing; what is done is in the journal.
  /// @return false when it was stopped before the end
  bool compute(int threads, study::Messages* ranks, const Watch& watch);

  /// What a finished batch came to.
  struct Outcome {
    Failures failures;
    bool statistics = false;  ///< whether there are any
    std::optional<study::SensitivityResult> sensitivity = {};  ///< when the study asks for it
  };
  /// Writes all results, the manifest last, and removes the journals. Throws WriteError.
  /// @param log  the text of log.txt, made from the seconds that writing took
  /// @param stop  asked between files: true makes it throw Stopped; the journals stay
  Outcome write(
      const BuildInfo& build, const std::function<std::string(double)>& log,
      const std::function<bool()>& stop = [] { return false; });

 private:
  Batch(const LoadedStudy& study, BatchFolder folder, std::vector<Part> parts);
  void write_what_was_asked();
  void write_numbers(const BuildInfo& build, bool statistics);
  void write_statistics(const std::function<void()>& go_on);
  study::SensitivityResult write_sensitivity(const BuildInfo& build);

  const LoadedStudy& study_;
  BatchFolder folder_;
  Blocks blocks_;
  std::uint64_t runs_ = 0, before_ = 0;
  int threads_ = 1;
};

/// The text of log.txt: what may differ between two equal batches. Seconds of computing and writing.
std::string batch_log(const std::string& command, double computing, double writing, int threads,
                      int ranks);

}  // namespace serosa::files
