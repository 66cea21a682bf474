// SPDX-License-Identifier: Apache-2.0
#include "runner/text_table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "files/utf8.hpp"

namespace serosa::runner {

namespace {

constexpr std::size_t widest_label = 50;
constexpr std::size_t widest_head = 24;
constexpr std::size_t gap = 2;

}  // namespace

std::string fixed(double x, int digits) {
  if (!std::isfinite(x)) return "-";
  std::string text = fmt::format("{:.{}f}", x, digits);
  // What rounds to nothing has no sign.
  if (text.find_first_not_of("-0.") == std::string::npos && text.front() == '-') text.erase(0, 1);
  return text;
}

std::string figure(double x) {
  const double size = std::abs(x);
  // The rounding decides how many digits stand before the point: 9.996 is 10.0.
  if (size >= 99.95 || !std::isfinite(x)) return fixed(x, 0);
  if (size >= 9.995) return fixed(x, 1);
  if (size >= 0.9995 || size == 0) return fixed(x, size == 0 ? 0 : 2);
  return size < 0.0005 ? "0" : fixed(x, 3);
}

std::string percent(double fraction) { return figure(100 * fraction); }

std::string left(std::string_view text, std::size_t width) {
  const std::size_t length = files::characters(text);
  return std::string(text) + std::string(width > length ? width - length : 0, ' ');
}

std::string right(std::string_view text, std::size_t width) {
  const std::size_t length = files::characters(text);
  return std::string(width > length ? width - length : 0, ' ') + std::string(text);
}

std::string cut(std::string_view text, std::size_t width) {
  if (files::characters(text) <= width) return std::string(text);
  std::size_t end = 0;
  for (std::size_t i = 1; i < width; ++i) end += files::character_length(text, end);
  return std::string(text.substr(0, end)) + "…";
}

std::string wrapped(std::string_view text, std::size_t first_indent, std::size_t indent,
                    std::size_t width) {
  std::string lines(first_indent, ' ');
  std::size_t column = first_indent;
  bool line_begun = false;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t begin = text.find_first_not_of(" \n\t", at);
    if (begin == std::string_view::npos) break;
    const std::size_t end = std::min(text.find_first_of(" \n\t", begin), text.size());
    const std::string_view word = text.substr(begin, end - begin);
    const std::size_t length = files::characters(word);
    if (line_begun && column + 1 + length > width) {
      lines += "\n" + std::string(indent, ' ');
      column = indent;
      line_begun = false;
    }
    if (line_begun) lines += ' ', ++column;
    // A word that is longer than a line is divided.
    std::string_view rest = word;
    while (column + files::characters(rest) > width && column < width) {
      std::size_t bytes = 0;
      for (; column < width; ++column) bytes += files::character_length(rest, bytes);
      lines += std::string(rest.substr(0, bytes)) + "\n" + std::string(indent, ' ');
      rest.remove_prefix(bytes);
      column = indent;
    }
    lines += rest;
    column += files::characters(rest);
    line_begun = true;
    at = end;
  }
  return lines + "\n";
}

void TextTable::heading(std::string text) { rows_.push_back({std::move(text), {}}); }

void TextTable::row(std::string label, std::vector<std::string> cells) {
  rows_.push_back({std::move(label), std::move(cells)});
}

std::string TextTable::block(std::size_t first, std::size_t last, std::size_t label_width,
                             const std::vector<std::size_t>& widths) const {
  std::string lines = left("", label_width);
  for (std::size_t c = first; c < last; ++c)
    lines += std::string(gap, ' ') + right(cut(heads_[c], widest_head), widths[c]);
  lines += "\n";
  for (const Row& r : rows_) {
    if (r.cells.empty()) {
      lines += "\n" + wrapped(r.label, 0, 2);
      continue;
    }
    std::string line = left(cut("  " + r.label, label_width), label_width);
    for (std::size_t c = first; c < last; ++c)
      line += std::string(gap, ' ') + right(r.cells[c], widths[c]);
    lines += line + "\n";
  }
  return lines;
}

std::string TextTable::text() const {
  std::size_t label_width = 0;
  std::vector<std::size_t> widths;
  for (const auto& head : heads_) widths.push_back(std::min(files::characters(head), widest_head));
  for (const Row& r : rows_) {
    if (r.cells.empty()) continue;
    label_width = std::max(label_width, std::min(files::characters(r.label) + 2, widest_label));
    for (std::size_t c = 0; c < widths.size(); ++c)
      widths[c] = std::max(widths[c], files::characters(r.cells[c]));
  }
  std::string blocks;
  for (std::size_t first = 0; first < heads_.size();) {
    std::size_t last = first, width = label_width;
    while (last < heads_.size() && (last == first || width + gap + widths[last] <= page_width))
      width += gap + widths[last++];
    blocks += (blocks.empty() ? "" : "\n") + block(first, last, label_width, widths);
    first = last;
  }
  return blocks;
}

std::string TextTable::plain() const {
  std::string text;
  for (std::size_t c = 0; c < heads_.size(); ++c)
    for (const Row& r : rows_)
      text += heads_[c] + ": " + r.label + (r.cells.empty() ? "" : ": " + r.cells[c]) + "\n";
  return text;
}

}  // namespace serosa::runner
