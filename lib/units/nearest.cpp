// SPDX-License-Identifier: Apache-2.0
#include "units/nearest.hpp"

#include <algorithm>

namespace serosa::units {
namespace {

// Beyond this a word is no slip of the finger, and the table of distances should stay small.
constexpr std::size_t longest_word = 64;

std::string lower(std::string_view text) {
  std::string result(text);
  for (char& c : result)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return result;
}

}  // namespace

int edit_distance(std::string_view a, std::string_view b) {
  const std::size_t columns = b.size() + 1;
  std::vector<int> distance((a.size() + 1) * columns);
  const auto at = [&](std::size_t i, std::size_t j) -> int& { return distance[i * columns + j]; };
  for (std::size_t i = 0; i <= a.size(); ++i) at(i, 0) = static_cast<int>(i);
  for (std::size_t j = 0; j <= b.size(); ++j) at(0, j) = static_cast<int>(j);
  for (std::size_t i = 1; i <= a.size(); ++i)
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const int replaced = at(i - 1, j - 1) + (a[i - 1] == b[j - 1] ? 0 : 1);
      at(i, j) = std::min({replaced, at(i - 1, j) + 1, at(i, j - 1) + 1});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        at(i, j) = std::min(at(i, j), at(i - 2, j - 2) + 1);
    }
  return at(a.size(), b.size());
}

std::string nearest(std::string_view word, const std::vector<std::string>& known) {
  if (word.empty() || word.size() > longest_word) return {};
  const std::string wanted = lower(word);
  for (const std::string& candidate : known)
    if (lower(candidate) == wanted) return candidate;
  std::string best;
  int best_distance = 1 + static_cast<int>(word.size()) / 3;
  if (word.size() < 3) best_distance = 1;
  for (const std::string& candidate : known) {
    if (candidate.size() > longest_word) continue;
    const int distance = edit_distance(wanted, lower(candidate));
    if (distance < best_distance || (best.empty() && distance == best_distance)) {
      best = candidate;
      best_distance = distance;
    }
  }
  if (best.empty() && word.size() >= 3)
    for (const std::string& candidate : known)
      if (lower(candidate).rfind(wanted, 0) == 0) return candidate;
  return best;
}

}  // namespace serosa::units
