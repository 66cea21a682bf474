// SPDX-License-Identifier: Apache-2.0
#include "files/new_case.hpp"

#include <fmt/format.h>

#include <cmath>
#include <map>
#include <string_view>

#include "units/units.hpp"

namespace serosa::files {
namespace {

constexpr std::size_t page_width = 100;

/// What a new case begins with: a baby who is cared for in the usual way. Beside it every act
/// stands as a comment.
constexpr const char* first_acts[] = {
    "warmer: {at: -20 min, to: skin-servo}",
    "clamp-cord: {at: 60 s}",
    "dry: {at: 1 min}",
    "hat: {at: 2 min}",
    "wrap: {act: cover, at: 3 min, with: polyethylene-film}",
    "pass-tube: {at: 10 min}",
    "drain: {at: 10 min}",
};

/// A comment in lines no longer than a page; further lines are indented as the first is.
std::string comment(const std::string& indent, std::string_view text) {
  const std::size_t first = std::min(text.find_first_not_of(' '), text.size());
  const std::string begin = indent + "#" + std::string(first, ' ');
  std::string lines;
  std::string line = begin;
  for (std::size_t at = first; at < text.size();) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    const std::string_view word = text.substr(at, end - at);
    if (line.size() + 1 + word.size() > page_width && line.size() > begin.size()) {
      lines += line + "\n";
      line = begin;
    }
    line += " " + std::string(word);
    at = end + 1;
  }
  return lines + line + "\n";
}

std::string published(const Key& key) {
  const std::string range = range_text(key.published_range, key.unit);
  return range.empty() ? "" : "; published: " + range;
}

std::string about(const Key& key) { return key.help + "; takes " + expected(key) + published(key); }

/// What stands behind a key that has no default, as an example.
std::string example(const Key& key) {
  static const std::map<std::string_view, const char*> of_folder = {{"warmers", "low"},
                                                                    {"rooms", "incubator"},
                                                                    {"covers", "pvc-cling-film"},
                                                                    {"fluids", "saline-0.9"}};
  switch (key.kind) {
    case KeyKind::quantity: {
      const bool bounded =
          std::isfinite(key.published_range.low) && std::isfinite(key.published_range.high);
      const Interval& range = bounded ? key.published_range : key.possible_range;
      const double middle = 0.5 * (range.low + range.high);
      // Two digits are enough of an example, and their sum may not show what binary cannot hold.
      return units::shortest(
                 std::stod(fmt::format("{:.2g}", std::isfinite(middle) ? middle : 1.0))) +
             (key.unit == "1" ? "" : " " + units::shown(key.unit));
    }
    case KeyKind::word:
      return key.word_list.empty() ? "" : key.word_list.front();
    case KeyKind::file:
      return of_folder.at(key.folder);
    case KeyKind::flag:
      return "true";
    default:
      return "…";
  }
}

/// A key as a comment only, the keys of its map below it.
std::string comment_lines(const Key& key, const std::string& indent, const std::string& blanks) {
  const std::string rest = key.is_required     ? " (required)"
                           : key.fallback_text ? "; " + *key.fallback_text + " when left out"
                                               : "";
  std::string text = comment(indent, blanks + key.name + ": " + about(key) + rest);
  if (key.kind == KeyKind::map)
    for (const Key& inner : key.table->keys) text += comment_lines(inner, indent, blanks + "  ");
  return text;
}

std::string key_lines(const Key& key, const std::string& indent) {
  if (key.kind == KeyKind::map && !key.fallback_text) return comment_lines(key, indent, "");
  std::string text = comment(indent, about(key));
  if (key.kind == KeyKind::map) {
    text += indent + key.name + ":\n";
    for (const Key& inner : key.table->keys) text += key_lines(inner, indent + "  ");
    return text;
  }
  if (key.fallback_text) return text + indent + key.name + ": " + *key.fallback_text + "\n";
  return text + indent + "# " + key.name + ": " + example(key) + "\n";
}

std::string act_lines(const KeyTable& acts) {
  const std::string indent = "  ";
  std::string text;
  for (const char* line : first_acts) text += indent + line + "\n";
  text += "\n" + comment(indent, "Every act there is, with what it takes:");
  for (const auto& [word, keys] : acts.variants) {
    std::string line = "some name: {act: " + word + ", at: 1 h";
    for (const Key& key : keys)
      if (key.is_required) line += ", " + key.name + ": " + example(key);
    text += indent + "#\n" + indent + "# " + line + "}\n";
    for (const Key& key : keys) text += comment_lines(key, indent, "    ");
  }
  return text;
}

}  // namespace

std::string commented_case(const KeyTable& table) {
  std::string text = comment("", "A case: " + table.help);
  text += comment("",
                  "For teaching and review. Not dosing advice. Follow local protocols and licensed "
                  "clinicians.");
  text += comment("",
                  "Behind # stands what a key means. Lines that are not comments hold the default; "
                  "delete what you do not change. A case may also begin with `based_on: "
                  "other.yaml` and say only what differs; `key: remove` then takes a line of the "
                  "other file out.");
  for (const Key& key : table.keys) {
    text += "\n";
    if (key.kind == KeyKind::entries) {
      text += comment("", about(key) + ". Times before the birth are negative.");
      text += key.name + ":\n" + act_lines(*key.table);
    } else if (key.name == "title") {
      text += comment("", about(key)) + "title: A new case\n";
    } else if (key.kind == KeyKind::anything) {
      text += comment("", about(key)) + "# " + key.name + ": {spread: 0.3}\n";
    } else {
      text += key_lines(key, "");
    }
  }
  return text;
}

}  // namespace serosa::files
