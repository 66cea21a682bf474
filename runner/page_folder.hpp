// SPDX-License-Identifier: Apache-2.0
// A run folder read back: everything a page is made of.
#pragma once
#include <filesystem>
#include <limits>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "files/document.hpp"
#include "study/difference.hpp"

namespace serosa::runner {

/// The data files of one run folder of `run` or `compare`.
struct RunFolder {
  struct Case {
    std::string name;
    std::string letter;
    std::string title;
    files::Node understood;
    double weight = 0;  ///< kg, at birth
    /// What the rules of its protocol did.
    struct Done {
      double time;  ///< h
      std::string what, why;
    };
    std::vector<Done> done;
    bool finished = true;
  };

  std::vector<Case> cases;
  std::vector<double> times;                          ///< h
  std::vector<std::size_t> report_times;              ///< which of them the table shows
  std::map<std::string, std::vector<double>> series;  ///< name: cases × times
  std::map<std::string, std::string> meaning;         ///< of each series
  bool has_spread = false;                            ///< `--spread` was asked for
  nlohmann::ordered_json manifest;
  nlohmann::ordered_json parameters;  ///< null when the folder has none

  bool has(const std::string& variable) const { return series.count(variable) > 0; }
  /// Throws files::InputError when the folder does not hold the variable.
  double at(const std::string& variable, std::size_t c, std::size_t time) const;
  std::vector<double> course(const std::string& variable, std::size_t c) const;
  /// The value of a parameter, for limits; NaN when it is not told.
  double parameter(const std::string& name) const;
  /// The last report time that every case reached; the first time when there is none.
  std::size_t last_time() const;
};

/// Throws files::InputError, naming the file, when the folder is no finished run folder.
RunFolder read_run_folder(const std::filesystem::path& folder);

/// A name out of a results folder that is about to become part of a path. Throws
/// files::InputError when it is empty or more than the name of a file.
void check_plain_name(const std::filesystem::path& path, const std::string& name);

/// Reads a JSON file of a folder. Throws files::InputError.
nlohmann::ordered_json read_json(const std::filesystem::path& path);

[[noreturn]] void refuse_folder(const std::filesystem::path& path, const std::string& why);

}  // namespace serosa::runner
