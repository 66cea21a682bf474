// SPDX-License-Identifier: Apache-2.0
// A protocol file: what a bedside reads, what it orders by the clock, and what it does by rule.
#pragma once
#include <filesystem>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "care/protocol.hpp"
#include "files/document.hpp"
#include "files/keys.hpp"
#include "files/models.hpp"

namespace serosa::files {

/// A protocol as read.
struct ProtocolFile {
  std::shared_ptr<const care::Protocol> protocol;
  std::string stands_for;  ///< the published practice that it stands for
  std::string source;      ///< key of the bibliography, perhaps a comma and where in it
  Origin source_origin;
  /// What it orders by the clock: part of the timeline of the case that follows it.
  std::vector<std::pair<care::Act, Origin>> orders;
};

/// Keys of a protocol file, for documentation and schema.
const KeyTable& protocol_keys();

/// Reads a protocol from a tree. What contradicts itself, can never act or would go round in a
/// circle is refused, with the lines.
/// @param place  key path at which the tree stands in its file, for messages
/// @param timeline_samples  the case that follows it samples blood by the clock
ProtocolFile read_protocol(const Node& root, const Models& models, Problems& problems,
                           const std::string& place, bool timeline_samples = false);

/// The tree of a protocol that is named: a file in the folder of the file that names it, or one
/// that comes along. Its `name` is the file's. Nothing when refused.
std::optional<Document> find_protocol(const std::string& name, const Origin& origin,
                                      const Models& models, const std::string& key_path,
                                      Problems& problems);

/// The names of all protocols that come along, sorted.
std::vector<std::string> protocol_names(const std::filesystem::path& models);

}  // namespace serosa::files
