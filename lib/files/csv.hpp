// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>

/// Tables for spreadsheets: cells separated by commas, quoted as RFC 4180 says, rows ended by \n,
/// UTF-8.
namespace serosa::files {

/// One row after another.
class CsvWriter {
 public:
  /// A text. Quoted where it must be; one that a spreadsheet would run as a formula (it begins with
  /// = + - @, a tab or a carriage return) gets an apostrophe in front.
  CsvWriter& text(std::string_view cell);
  /// The shortest number that reads back to the same double; empty for NaN, as for a time that a
  /// failed run did not get to.
  CsvWriter& number(double cell);
  CsvWriter& end_row();

  const std::string& bytes() const { return bytes_; }

 private:
  void separate();

  std::string bytes_;
  bool row_begun_ = false;
};

}  // namespace serosa::files
