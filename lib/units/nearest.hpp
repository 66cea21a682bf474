// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace serosa::units {

/// Number of single-character insertions, deletions, replacements and swaps of neighbours that
/// turn one word into the other (Damerau–Levenshtein, restricted form).
int edit_distance(std::string_view a, std::string_view b);

/// The known word that `word` was most likely meant to be, or an empty text when none is near:
/// one that differs by case only, one that `word` begins, else the smallest edit distance, at
/// most about a third of the word's length.
std::string nearest(std::string_view word, const std::vector<std::string>& known);

}  // namespace serosa::units
