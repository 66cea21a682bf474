// SPDX-License-Identifier: Apache-2.0
// What the readers of a study file share; not for others.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "files/reader.hpp"
#include "files/sensitivity_file.hpp"
#include "files/study_file.hpp"

namespace serosa::files {

/// A study half read.
struct StudyReading {
  std::filesystem::path path;  ///< of the study file
  const Models& models;
  Problems& problems;
  struct Arm {
    Node root;  ///< its case, with every default
    Origin origin;
  };
  std::vector<Arm> arms;
  std::vector<Origin> origins;  ///< of the inputs
  std::vector<CorrelatedPair> correlated = {};
};

/// What a path of a case file leads to.
struct CasePath {
  const Key* key = nullptr;
  bool absent_act = false;  ///< it leads into an act that this case does not have
  std::string near = {};    ///< what stands where the path goes astray and is spelled alike
};
CasePath place_in_case(const Node& root, const std::string& path);

/// Reads a source of a study once into the list of what was read.
void add_source(StudyFile& file, const std::shared_ptr<const Source>& source);

/// Reads cohort, `vary` and correlations. The arms must have been read.
void read_inputs(StudyReading& all, Reader& study, StudyFile& file);

/// Reads the law of one input into `input`: of a number (`key` or `parameter` tells which), or of
/// words.
void read_number_law(StudyReading& all, const Entry& entry, const Key* key,
                     const ParameterEntry* parameter, study::Input& input, StudyFile& file);
void read_words(StudyReading& all, const Entry& entry, const Key& key, study::Input& input);
/// Gives an input the published law of a parameter.
void publish(study::Input& input, const ParameterEntry& parameter);

/// Reads every arm's case with every choice of words and finds the numbers that each input sets.
void bind_inputs(StudyReading& all, Reader& study, StudyFile& file);

}  // namespace serosa::files
