// SPDX-License-Identifier: Apache-2.0
// A case file: read, checked, completed.
#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "care/case.hpp"
#include "files/document.hpp"
#include "files/models.hpp"

namespace serosa::files {

/// A case as read.
struct CaseFile {
  care::Case c;
  baby::Parameters<double> parameters;  ///< with what the case overrides
  std::vector<std::string> overridden;  ///< names of these parameters
  /// An override that says where its value comes from.
  struct OverrideSource {
    std::string parameter;
    std::string source;  ///< key of the bibliography, perhaps a comma and where in it
    Origin origin;
  };
  std::vector<OverrideSource> override_sources;
  Node understood;  ///< the tree with every default filled in; re-runs
  std::vector<std::shared_ptr<const Source>> sources;  ///< the file and those it is based on
};

/// Keys of a case file, for documentation and schema.
const KeyTable& case_keys();

/// Reads a case with the files it is based on and the data files it names.
/// @param changes  `path=value` of the command line, applied in order
/// Everything wrong goes to `problems`; use the case only when nothing was refused.
CaseFile read_case(const std::filesystem::path& path, const Models& models,
                   const std::vector<std::string>& changes, Problems& problems);

/// The same from a tree, such as an arm of a published experiment.
/// @param place  key path at which the tree stands in its file, for messages
CaseFile read_case(Node root, const std::string& name, const Models& models, Problems& problems,
                   const std::string& place = {});

/// Applies one `path=value` to a case's tree, as `set_value` does. A path that leads into a
/// protocol that is only named, such as `protocol.orders.line.rate`, puts the protocol in the place
/// of its name first.
/// @param sources  a protocol that was read for it is added
bool change_case(Node& root, const std::string& assignment, const Models& models,
                 Problems& problems, std::vector<std::shared_ptr<const Source>>& sources);

/// The same baby, not exposed, under ordinary care: the twin that shows what every newborn's
/// circulation does. Care and room come from `models/cases/ordinary-care.yaml`.
CaseFile ordinary_care(const CaseFile& of, const Models& models, Problems& problems);

}  // namespace serosa::files
