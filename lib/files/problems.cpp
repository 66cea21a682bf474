// SPDX-License-Identifier: Apache-2.0
#include "files/problems.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "files/utf8.hpp"

namespace serosa::files {
namespace {

// A terminal is 80 to 120 signs wide; a hundred screens of the same complaint help nobody.
constexpr std::size_t widest_line = 92;
constexpr std::size_t most_shown = 200;

/// The piece of a line around a byte column, and where the caret goes below it.
struct Excerpt {
  std::string text;
  std::size_t caret = 0;
};

/// The bytes of a very long line around `wanted`, more than are shown; moves `wanted` along.
std::string_view neighbourhood(std::string_view line, std::size_t& wanted) {
  constexpr std::size_t reach = 8 * widest_line;
  wanted = std::min(wanted, line.size());
  std::size_t start = wanted > reach ? wanted - reach : 0;
  // Not from the middle of a character.
  while (start > 0 && (static_cast<unsigned char>(line[start]) & 0xC0u) == 0x80u) --start;
  wanted -= start;
  return line.substr(start, 2 * reach);
}

Excerpt excerpt(std::string_view whole_line, int column) {
  // One piece per character of the file, because an escape is wider than what it stands for.
  std::vector<std::string> pieces;
  std::size_t caret_piece = 0;
  std::size_t offset = 0;
  std::size_t wanted = column > 0 ? static_cast<std::size_t>(column - 1) : 0;
  const std::string_view line = neighbourhood(whole_line, wanted);
  while (offset < line.size()) {
    if (offset <= wanted) caret_piece = pieces.size();
    const std::size_t length = character_length(line, offset);
    pieces.push_back(shown_character(line.substr(offset, length)));
    offset += length;
  }
  if (wanted >= line.size()) caret_piece = pieces.size();
  std::size_t first = 0;
  std::size_t last = pieces.size();
  if (pieces.size() > widest_line) {
    first = caret_piece > widest_line / 2 ? caret_piece - widest_line / 2 : 0;
    last = std::min(pieces.size(), first + widest_line);
    first = last - widest_line;
  }
  Excerpt result;
  if (first > 0) result.text += "…";
  std::size_t width = first > 0 ? 1 : 0;
  for (std::size_t i = first; i < last; ++i) {
    if (i == caret_piece) result.caret = width;
    result.text += pieces[i];
    width += characters(pieces[i]);
  }
  if (caret_piece >= last) result.caret = width;
  if (last < pieces.size()) result.text += "…";
  return result;
}

std::string place(const Origin& origin) {
  if (!origin.source) return {};
  if (origin.source->command_line) return "command line";
  const std::string name = visible(origin.source->name, 300);
  if (origin.line == 0) return name;
  return fmt::format("{}:{}:{}", name, origin.line, origin.column);
}

std::string below(const Origin& origin, const std::string& remark) {
  const Source* source = origin.source.get();
  if (!source || origin.line < 1 || static_cast<std::size_t>(origin.line) > source->lines.size())
    return remark.empty() ? std::string() : fmt::format("    {}\n", visible(remark, 300));
  const Excerpt shown =
      excerpt(source->lines[static_cast<std::size_t>(origin.line - 1)], origin.column);
  const std::string number = source->command_line ? std::string() : std::to_string(origin.line);
  const std::string bar = source->command_line ? "" : " | ";
  const std::string margin = source->command_line ? "    " : "    " + number;
  std::string text = fmt::format("{}{}{}\n", margin, bar, shown.text);
  text += fmt::format("{:{}}{}{:{}}^{}{}\n", "", margin.size(), bar, "", shown.caret,
                      remark.empty() ? "" : " ", visible(remark, 300));
  return text;
}

}  // namespace

std::shared_ptr<const Source> make_source(std::string name, std::filesystem::path path,
                                          std::string text) {
  auto source = std::make_shared<Source>();
  source->name = std::move(name);
  source->path = std::move(path);
  std::size_t start = 0;
  while (start < text.size()) {
    std::size_t end = text.find('\n', start);
    if (end == std::string::npos) end = text.size();
    std::size_t length = end - start;
    if (length > 0 && text[start + length - 1] == '\r') --length;
    source->lines.push_back(text.substr(start, length));
    start = end + 1;
  }
  source->text = std::move(text);
  return source;
}

std::string Problem::text() const {
  std::string head = place(origin);
  if (!head.empty()) head += "  ";
  if (weight == Weight::warning) head += "warning: ";
  if (!path.empty()) head += visible(path, 300) + ": ";
  return head + visible(message, 1200) + "\n" + below(origin, remark);
}

void Problems::add(Problem::Weight weight, Origin origin, std::string path, std::string message,
                   std::string remark) {
  // The same piece may be read twice; the person made one mistake.
  auto same = std::tuple(origin.source.get(), origin.line, origin.column, path, message);
  if (!known_.insert(std::move(same)).second) return;
  if (weight == Problem::Weight::error) ++errors_;
  all_.push_back(
      {weight, std::move(origin), std::move(path), std::move(message), std::move(remark)});
}

void Problems::error(Origin origin, std::string path, std::string message, std::string remark) {
  add(Problem::Weight::error, std::move(origin), std::move(path), std::move(message),
      std::move(remark));
}

void Problems::warn(Origin origin, std::string path, std::string message, std::string remark) {
  add(Problem::Weight::warning, std::move(origin), std::move(path), std::move(message),
      std::move(remark));
}

namespace {

std::string listed(const std::vector<Problem>& problems) {
  std::map<const Source*, std::size_t> first_seen;
  for (const Problem& problem : problems)
    first_seen.emplace(problem.origin.source.get(), first_seen.size());
  std::vector<const Problem*> order;
  for (const Problem& problem : problems) order.push_back(&problem);
  std::stable_sort(order.begin(), order.end(), [&](const Problem* a, const Problem* b) {
    const auto key = [&](const Problem* p) {
      return std::tuple(first_seen.at(p->origin.source.get()), p->origin.line, p->origin.column);
    };
    return key(a) < key(b);
  });
  std::string text;
  for (std::size_t i = 0; i < order.size() && i < most_shown; ++i) text += order[i]->text();
  if (order.size() > most_shown) text += fmt::format("and {} more\n", order.size() - most_shown);
  return text;
}

}  // namespace

std::string Problems::text() const { return listed(all_); }

std::string Problems::warnings_text() const {
  std::vector<Problem> warnings;
  for (const Problem& problem : all_)
    if (problem.weight == Problem::Weight::warning) warnings.push_back(problem);
  return listed(warnings);
}

void Problems::refuse_if_any() const {
  if (refused()) throw InputError(*this);
}

std::string visible(std::string_view text, std::size_t longest) {
  std::string result;
  std::size_t offset = 0;
  for (std::size_t shown = 0; offset < text.size(); ++shown) {
    if (shown == longest) return result + "…";
    const std::size_t length = character_length(text, offset);
    result += shown_character(text.substr(offset, length));
    offset += length;
  }
  return result;
}

std::string quote(std::string_view text) { return "\"" + visible(text) + "\""; }

}  // namespace serosa::files
