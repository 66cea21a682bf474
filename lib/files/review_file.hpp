// SPDX-License-Identifier: Apache-2.0
// A review file: protocols, covers and a cohort, or a corridor over two inputs; bands and utility.
#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "files/study_file.hpp"
#include "study/review.hpp"

namespace serosa::files {

/// A map over two inputs, one arm of the study per cell.
struct Corridor {
  struct Axis {
    std::string label;
    std::string unit;                 ///< empty for words
    std::vector<std::string> values;  ///< as written
    std::vector<double> numbers;      ///< empty for words
  };
  Axis x, y;
  double level;  ///< share of hours in band that marks the corridor
  std::size_t arm(std::size_t ix, std::size_t iy) const { return iy * x.values.size() + ix; }
};

/// A review as read.
struct ReviewFile {
  StudyFile study;  ///< one arm for each protocol under each cover, or for each cell
  study::ReviewBands bands;
  study::Utility utility;
  struct Named {
    std::string name, title, stands_for, source;
  };
  std::vector<Named> protocols;  ///< of a corridor the one that all cells follow, or none
  std::vector<std::string> covers;
  std::optional<Corridor> corridor;
  Node understood;  ///< with every default

  std::size_t arm(std::size_t protocol, std::size_t cover) const {
    return cover * protocols.size() + protocol;
  }
};

/// Keys of a review file, for documentation and schema.
const KeyTable& review_keys();

/// Whether a file asks for a review rather than for a plain study; false when it can't be read.
bool is_review(const std::filesystem::path& path);

/// Reads a review. Everything wrong goes to `problems`; use it only when nothing was refused.
ReviewFile read_review(const std::filesystem::path& path, const Models& models, Problems& problems);

}  // namespace serosa::files
