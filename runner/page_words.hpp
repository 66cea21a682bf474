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

/// The same for any input of a study, given its path in a case: `Birth weight`, `Bolus: volume`.
std::string varied_in_words(const std::string& path);

/// An output of the model as people speak of it.
struct OutputInWords {
  std::string label;  ///< `External deficit`
  /// What more of it is called: `lost by all routes together` of what flows, `larger`, `higher`.
  std::string phrase, more, less;
  bool flows = false;   ///< gathers since birth: `by 2 h`, not `at 2 h`
  bool per_kg = false;  ///< an amount of water, shown per kg of birth weight
  double factor = 1;    ///< from the file's unit to the shown one, weight aside
  std::string unit;     ///< shown
};
OutputInWords output_in_words(const std::string& name, const std::string& meaning,
                              const std::string& unit);

/// The law that an input is drawn by, as a study writes it; `words` for one that chooses words.
std::string law_in_words(std::string law, bool words);

/// A unit as it stands on a page: `°C`, `m²`; empty for a pure number.
std::string shown_unit(std::string unit);
/// The same with a blank before it.
std::string behind_figure(const std::string& unit);

}  // namespace serosa::runner
