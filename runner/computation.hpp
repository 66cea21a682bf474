// SPDX-License-Identifier: Apache-2.0
// From the command line to finished runs: what `run` and `compare` share.
#pragma once
#include <CLI/CLI.hpp>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "files/case_file.hpp"
#include "files/exit_codes.hpp"
#include "files/results.hpp"
#include "files/spread_results.hpp"
#include "study/difference.hpp"

namespace serosa::runner {

/// What the command line asks for.
struct Request {
  std::vector<std::string> cases;  ///< paths
  std::string out;                 ///< folder; empty: the next one in `results`
  std::vector<std::string> at;     ///< times of the table, each perhaps several with commas
  std::string until;
  std::uint64_t spread = 0;  ///< runs of each case for the spread; 0: none
  std::vector<std::string> changes;  ///< path=value
  bool quiet = false;
  bool json = false;   ///< print JSON instead of the table
  bool plain = false;  ///< print one fact a line instead of the table
  std::string models;
  std::string command_line;  ///< as typed
};

/// Adds the options that `run` and `compare` share.
void add_options(CLI::App& command, Request& request);

/// A case with its twin under ordinary care and what their runs gave.
struct Computed {
  std::string name;    ///< unique; file name without ending
  std::string letter;  ///< A, B, … in tables of several cases
  files::CaseFile file;
  files::CaseFile twin;
  simulate::Result result;
  simulate::Result twin_result;
};

using SpreadOfCases = files::SpreadResults;

struct Computation {
  files::Models models;
  baby::Parameters<double> bands;     ///< limits that reports use
  std::vector<care::Warmer> warmers;  ///< all levels there are
  std::vector<Computed> cases;
  std::vector<double> times;              ///< h, from birth on
  std::vector<std::size_t> report_times;  ///< which of them the table shows
  files::Problems problems;               ///< warnings about the input
  std::vector<std::string> notes;         ///< further warnings about the request
  std::vector<std::shared_ptr<const files::Source>> inputs;
  std::vector<std::string> changes;
  simulate::Settings settings;
  std::optional<SpreadOfCases> spread;  ///< when asked for

  /// Runs that did not finish.
  std::size_t failed() const;
};

/// Reads everything. Throws files::InputError.
Computation load(const Request& request);

/// Does all runs, twins included.
void compute(Computation& computation);

/// Loads, claims the folder, computes, writes, prints the report (with `quiet` only the folder's
/// path). The whole of `run` and `compare`.
files::ExitCode carry_out(const Request& request);

/// The folder of data files: the option's, else the default. Throws files::InputError when it is no
/// folder of data files.
std::filesystem::path models_folder(const std::string& option);

}  // namespace serosa::runner
