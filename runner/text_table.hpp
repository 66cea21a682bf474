// SPDX-License-Identifier: Apache-2.0
// Plain text for terminals: figures with sensible digits, wrapped lines, aligned tables.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace serosa::runner {

/// No line of a table or a text is longer.
inline constexpr std::size_t page_width = 100;

/// Three significant digits, at most three behind the point, no exponent below a million:
/// `214`, `36.5`, `2.56`, `0.021`. `-` for NaN.
std::string figure(double x);
/// A fixed number of digits behind the point. `-` for NaN.
std::string fixed(double x, int digits);
/// A fraction in per cent, as a figure.
std::string percent(double fraction);

/// Breaks a text at blanks; further lines begin with `indent` blanks.
std::string wrapped(std::string_view text, std::size_t first_indent, std::size_t indent,
                    std::size_t width = page_width);

/// Pads with blanks; counts characters, not bytes.
std::string left(std::string_view text, std::size_t width);
std::string right(std::string_view text, std::size_t width);
/// Cut to `width` characters, the last one … when something was cut.
std::string cut(std::string_view text, std::size_t width);

/// A table of labelled rows. Columns that do not fit beside each other are printed below.
class TextTable {
 public:
  explicit TextTable(std::vector<std::string> heads) : heads_(std::move(heads)) {}

  void heading(std::string text);
  void row(std::string label, std::vector<std::string> cells);
  /// The table without a line longer than `page_width`.
  std::string text() const;
  /// Column by column, one cell a line: `head: label: cell`; headings stand by themselves.
  std::string plain() const;

 private:
  struct Row {
    std::string label;
    std::vector<std::string> cells;  ///< empty: a heading
  };
  std::string block(std::size_t first, std::size_t last, std::size_t label_width,
                    const std::vector<std::size_t>& widths) const;

  std::vector<std::string> heads_;
  std::vector<Row> rows_;
};

}  // namespace serosa::runner
