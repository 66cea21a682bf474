// SPDX-License-Identifier: Apache-2.0
#include "files/csv.hpp"

#include <charconv>
#include <cmath>

namespace serosa::files {

void CsvWriter::separate() {
  if (row_begun_) bytes_.push_back(',');
  row_begun_ = true;
}

CsvWriter& CsvWriter::text(std::string_view cell) {
  separate();
  std::string shown;
  if (!cell.empty() && std::string_view("=+-@\t\r").find(cell.front()) != std::string_view::npos)
    shown = "'";
  shown += cell;
  if (shown.find_first_of(",\"\r\n") == std::string::npos) {
    bytes_ += shown;
    return *this;
  }
  bytes_.push_back('"');
  for (const char c : shown) {
    if (c == '"') bytes_.push_back('"');
    bytes_.push_back(c);
  }
  bytes_.push_back('"');
  return *this;
}

CsvWriter& CsvWriter::number(double cell) {
  separate();
  if (std::isnan(cell)) return *this;
  char digits[32];
  const auto end = std::to_chars(digits, digits + sizeof digits, cell).ptr;
  bytes_.append(digits, end);
  return *this;
}

CsvWriter& CsvWriter::end_row() {
  bytes_.push_back('\n');
  row_begun_ = false;
  return *this;
}

}  // namespace serosa::files
