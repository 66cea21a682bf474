// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include "units/nearest.hpp"

using serosa::units::edit_distance;
using serosa::units::nearest;

// The classic pair: three edits (Levenshtein 1966; worked in most textbooks of algorithms).
TEST_CASE("edit distance counts insertions, deletions, replacements and swaps") {
  CHECK(edit_distance("kitten", "sitting") == 3);
  CHECK(edit_distance("", "abc") == 3);
  CHECK(edit_distance("same", "same") == 0);
  CHECK(edit_distance("wieght", "weight") == 1);  // neighbours swapped: one edit
  CHECK(edit_distance("ab", "ba") == edit_distance("ba", "ab"));
}

TEST_CASE("the nearest word is the one that was meant, or none") {
  const std::vector<std::string> known = {"weight", "gestation", "length", "leak"};
  CHECK(nearest("wieght", known) == "weight");
  CHECK(nearest("Weight", known) == "weight");
  CHECK(nearest("gest", known) == "gestation");
  CHECK(nearest("colour", known).empty());
  CHECK(nearest("", known).empty());
  CHECK(nearest(std::string(5000, 'w'), known).empty());
}
