// SPDX-License-Identifier: Apache-2.0
// A study file: read, checked, its arms read as cases, its inputs bound to them.
#pragma once
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "files/case_file.hpp"
#include "study/sensitivity_analysis.hpp"

namespace serosa::files {

/// A study as read.
struct StudyFile {
  study::Study study;
  std::optional<study::SensitivityPlan> sensitivity;  ///< when the study asks for one
  std::string cohort;  ///< name of the cohort's file; empty: none
  Node understood;     ///< with every default; its arms name `cases/ARM.yaml`
  std::vector<Node> arms;  ///< the arms' cases with every default, at the middle of all inputs
  std::vector<std::shared_ptr<const Source>> sources;  ///< every file that was read
  /// A CSV file with measured values.
  struct Table {
    std::shared_ptr<const Source> source;
    std::string name;  ///< in the folder of a batch; empty when it belongs to a cohort, as that does
  };
  std::vector<Table> tables;
  std::string parameters_text;  ///< all numbers of all arms, for the fingerprint
};

/// Keys of a study file, of one varied input and of a cohort file, for documentation and schema.
const KeyTable& study_keys();
const KeyTable& law_keys();
const KeyTable& cohort_keys();

/// Reads a study. Everything wrong goes to `problems`; use it only when nothing was refused.
StudyFile read_study(const std::filesystem::path& path, const Models& models, Problems& problems);
/// The same of a tree that stands for the file `path`, which says where its cases and tables are.
StudyFile read_study(Document document, const std::filesystem::path& path, const Models& models,
                     Problems& problems);

/// The law a parameter is drawn by when a study says `published`. A normal or lognormal law is cut
/// half a range's width outside the range, so that no draw is absurd.
/// Throws std::invalid_argument for a parameter that is never drawn.
study::Law published_law(const ParameterEntry& parameter);

/// The case file of one run: what the arm says, with the values of this run.
Node case_of_run(const StudyFile& file, std::size_t arm, const std::vector<double>& values,
                 std::uint64_t run = 0);

/// What tells whether a journal belongs to this study: all that decides the bits of its runs.
/// @param build  version and commit of the program
std::string fingerprint(const StudyFile& file, const std::string& build);

/// The names of all cohorts that come along, sorted.
std::vector<std::string> cohort_names(const std::filesystem::path& models);

}  // namespace serosa::files
