// SPDX-License-Identifier: Apache-2.0
// A case in words for people: who the baby is, what is done when, what differs.
#pragma once
#include <string>
#include <utility>
#include <vector>

#include "files/document.hpp"

namespace serosa::runner {

/// An act of a timeline in words.
struct ActInWords {
  double time;        ///< h after birth
  std::string label;  ///< short: `Bowel covered`
  std::string words;  ///< all of it: `Bowel covered with polyethylene film, 2 layers, …`
};

/// What a rule does, in words.
std::string deed_in_words(const files::Node& deed);

/// The timeline of a case as understood, with what its protocol orders by the clock, sorted by
/// time.
std::vector<ActInWords> acts_in_words(const files::Node& understood);

/// Label and words: `Baby`, `2.56 kg, 36 weeks, born vaginally`, and so on.
std::vector<std::pair<std::string, std::string>> facts_in_words(const files::Node& understood);

/// What differs between cases as understood: label, then the words of each case.
struct DifferenceInWords {
  std::string label;
  std::vector<std::string> words;
};
std::vector<DifferenceInWords> differences_in_words(const std::vector<const files::Node*>& cases);

/// A name of the files in words: blanks instead of hyphens and underscores.
std::string plain_name(std::string name);

/// What people call an input of the model, given its name in the parameter files.
std::string input_in_words(const std::string& name);

}  // namespace serosa::runner
