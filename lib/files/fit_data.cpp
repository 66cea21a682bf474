// SPDX-License-Identifier: Apache-2.0
#include "files/fit_data.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

#include "files/document.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace {

struct Cell {
  std::string text;
  int column = 1;  ///< where it begins, in bytes
};

std::string trimmed(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return std::string(text);
}

bool take_end(std::string& text, std::string_view end) {
  if (!text.ends_with(end)) return false;
  text = trimmed(std::string_view(text).substr(0, text.size() - end.size()));
  return true;
}

class TableReader {
 public:
  TableReader(const std::filesystem::path& path, Problems& problems)
      : path_(path), problems_(problems) {}

  FitData read() {
    Limits limits;
    limits.bytes = 16u << 20;
    data_.source = read_source(path_, problems_, limits);
    if (!data_.source) return std::move(data_);
    if (read_headings()) read_rows();
    return std::move(data_);
  }

 private:
  enum class Role { time, arm, value, sd, skipped };
  struct Column {
    std::string name;  ///< of the observable
    Role role = Role::skipped;
    std::size_t observable = 0;
    std::string unit;  ///< as written
    bool unit_told = false;
    int column = 1;
  };

  static constexpr std::size_t most_problems = 20;

  Origin place(std::size_t line, int column) const {
    return {data_.source, static_cast<int>(line + 1), column};
  }
  void error(std::size_t line, int column, const std::string& message, std::string remark = {}) {
    problems_.error(place(line, column), {}, message, std::move(remark));
  }

  /// The cells of a line, quoted as RFC 4180 says. Nothing when a quote is not closed.
  std::optional<std::vector<Cell>> cells_of(std::size_t number) {
    const std::string& line = data_.source->lines[number];
    std::vector<Cell> cells(1);
    bool quoted = false;
    for (std::size_t i = 0; i < line.size(); ++i) {
      const char c = line[i];
      if (c == '"') {
        if (quoted && i + 1 < line.size() && line[i + 1] == '"') {
          cells.back().text += '"';
          ++i;
        } else {
          quoted = !quoted;
        }
      } else if (c == ',' && !quoted) {
        cells.emplace_back();
        cells.back().column = static_cast<int>(i) + 2;
      } else if (c != '\r') {
        cells.back().text += c;
      }
    }
    if (quoted) {
      error(number, cells.back().column, "the quotation mark is not closed on this line");
      return std::nullopt;
    }
    for (Cell& cell : cells) {
      const std::size_t blanks = std::min(cell.text.find_first_not_of(" \t"), cell.text.size());
      cell.column += static_cast<int>(blanks);
      cell.text = trimmed(cell.text);
    }
    return cells;
  }

  bool skipped(std::size_t line) const {
    const auto& text = data_.source->lines[line];
    return text.empty() || text.front() == '#' ||
           text.find_first_not_of(" \t\r,") == std::string::npos;
  }

  bool read_headings() {
    const auto& lines = data_.source->lines;
    while (next_ < lines.size() && skipped(next_)) ++next_;
    if (next_ == lines.size()) {
      problems_.error({data_.source, 0, 0}, {}, "there is no line of headings in this file",
                      "time [h],urine [g]");
      return false;
    }
    headings_ = next_++;
    const auto cells = cells_of(headings_);
    if (!cells) return false;
    if (cells->size() == 1 && lines[headings_].find(';') != std::string::npos) {
      error(headings_, 1,
            "the cells are separated by semicolons; save the table with commas, and "
            "numbers with a point");
      return false;
    }
    for (const Cell& cell : *cells) columns_.push_back(column_of(cell));
    read_units_row();
    const std::size_t before = problems_.errors();
    for (Column& column : columns_) check_unit(column);
    check_roles();
    return problems_.errors() == before && !problems_.refused();
  }

  Column column_of(const Cell& cell) {
    Column c;
    c.column = cell.column;
    std::string name = cell.text;
    if (const auto open = name.rfind('['); open != std::string::npos && name.ends_with(']')) {
      c.unit = trimmed(std::string_view(name).substr(open + 1, name.size() - open - 2));
      c.unit_told = true;
      name = trimmed(std::string_view(name).substr(0, open));
    }
    c.name = name;
    if (name == "time") {
      c.role = Role::time;
    } else if (name == "arm") {
      c.role = Role::arm;
    } else if (name != "note") {
      c.role = take_end(name, " sd") ? Role::sd : Role::value;
      c.observable = observable_of(name, c);
    }
    return c;
  }

  /// The observable of a name, added when it is new. Reports unknown ones.
  std::size_t observable_of(const std::string& name, Column& column) {
    for (std::size_t i = 0; i < data_.observables.size(); ++i)
      if (data_.observables[i].name == name) return i;
    study::Observable o;
    o.name = name;
    std::string output = name;
    o.since_last = take_end(output, " since last");
    o.weight = output == "weight";
    if (o.weight) output = "weight_change";
    const auto& list = simulate::output_list;
    const auto found =
        std::find_if(list.begin(), list.end(), [&](const auto& one) { return one.name == output; });
    if (found == list.end()) {
      std::vector<std::string> names{"time", "arm", "note", "weight"};
      for (const auto& one : list) names.emplace_back(one.name);
      const std::string near = units::nearest(output, names);
      error(headings_, column.column,
            quote(name) + " is no output of the model" +
                (near.empty() ? "" : "; did you mean " + near + "?"),
            "`serosa explain --outputs` lists them; a column `note` is skipped");
      column.role = Role::skipped;
      return 0;
    }
    o.output = static_cast<simulate::output::Index>(found - list.begin());
    o.meaning = o.weight ? "Weight" : std::string(found->meaning);
    if (o.since_last) o.meaning += ", since the last measurement";
    o.unit = std::string(found->unit);
    if (o.since_last && o.unit == "degC") o.unit = "K";
    data_.observables.push_back(o);
    data_.headings.push_back(place(headings_, column.column));
    data_.own_sd.push_back(false);
    return data_.observables.size() - 1;
  }

  /// A row of units below the headings: its cell of times is a unit and no number.
  void read_units_row() {
    const auto& lines = data_.source->lines;
    std::size_t line = next_;
    while (line < lines.size() && skipped(line)) ++line;
    if (line == lines.size()) return;
    const auto time = std::find_if(columns_.begin(), columns_.end(),
                                   [](const Column& c) { return c.role == Role::time; });
    if (time == columns_.end() || time->unit_told) return;
    const auto cells = cells_of(line);
    const auto place = static_cast<std::size_t>(time - columns_.begin());
    if (!cells || place >= cells->size()) return;
    std::string unit = (*cells)[place].text;
    if (unit.empty() || (unit.front() >= '0' && unit.front() <= '9') || unit.front() == '-') return;
    next_ = line + 1;
    for (std::size_t i = 0; i < std::min(cells->size(), columns_.size()); ++i) {
      unit = (*cells)[i].text;
      if (unit.size() > 1 && unit.front() == '[' && unit.back() == ']')
        unit = trimmed(std::string_view(unit).substr(1, unit.size() - 2));
      if (columns_[i].unit_told || unit.empty()) continue;
      columns_[i].unit = unit;
      columns_[i].unit_told = true;
    }
  }

  static std::string unit_of(const Column& c, const std::vector<study::Observable>& observables) {
    if (c.role == Role::time) return "h";
    const std::string& unit = observables[c.observable].unit;
    if (c.role == Role::sd && unit == "degC") return "K";
    // The model counts water in g; a chart has mL.
    return unit == "g" ? "g water" : unit;
  }

  /// A value of a column in the unit of the model. Throws units::Error.
  double converted(double x, const Column& c) const {
    const std::string to = unit_of(c, data_.observables);
    // A difference of temperatures may be headed degC, too: nothing else can be meant.
    if (to == "K" && (c.unit == "degC" || c.unit == "°C")) return x;
    return units::convert(x, c.unit, to);
  }

  void check_unit(Column& c) {
    if (c.role == Role::skipped || c.role == Role::arm) return;
    const std::string to = unit_of(c, data_.observables);
    if (!c.unit_told) {
      if (to == "1") {
        c.unit = "1";
        return;
      }
      return error(headings_, c.column, "the unit of " + quote(c.name) + " is missing",
                   fmt::format("{} [{}]", c.name, units::shown(to)));
    }
    try {
      converted(1, c);
    } catch (const units::Error& fault) {
      error(headings_, c.column, fault.what(), fault.expected());
    }
  }

  void check_roles() {
    std::map<std::string, int> seen;
    std::size_t values = 0;
    bool time = false;
    for (const Column& c : columns_) {
      if (c.role == Role::skipped) continue;
      if (++seen[c.name] == 2) error(headings_, c.column, "there are two columns " + quote(c.name));
      time = time || c.role == Role::time;
      if (c.role == Role::arm) data_.has_arms = true;
      if (c.role == Role::value) ++values;
      if (c.role == Role::sd) data_.own_sd[c.observable] = true;
    }
    if (!time) error(headings_, 1, "there is no column of times", "time [h]");
    if (values == 0 && !problems_.refused())
      error(headings_, 1, "there is no column of measured figures", "urine [g]");
    for (const Column& c : columns_)
      if (c.role == Role::sd &&
          std::none_of(columns_.begin(), columns_.end(), [&](const Column& other) {
            return other.role == Role::value && other.observable == c.observable;
          }))
        error(headings_, c.column,
              "there is an error of what was not measured: no column " +
                  quote(data_.observables[c.observable].name));
  }

  std::optional<double> number(const Cell& cell, const Column& column, std::size_t line) {
    try {
      return converted(units::to_number(cell.text), column);
    } catch (const units::Error&) {
      const bool comma = cell.text.find(',') != std::string::npos;
      error(line, cell.column,
            fmt::format("there is no number in the column {}: {}", quote(column.name),
                        quote(cell.text)),
            comma ? "numbers have a point, not a comma"
                  : "a number such as 0.5; leave the cell empty where nothing was measured");
      return std::nullopt;
    }
  }

  void read_rows() {
    const auto& lines = data_.source->lines;
    std::map<std::pair<std::string, std::size_t>, double> last;  // arm, observable: its last hour
    const std::size_t before = problems_.errors();
    for (std::size_t line = next_; line < lines.size(); ++line) {
      if (skipped(line)) continue;
      if (problems_.errors() - before >= most_problems) {
        error(line, 1, "from here on nothing was read: too many problems");
        return;
      }
      const auto cells = cells_of(line);
      if (!cells) continue;
      if (cells->size() != columns_.size()) {
        error(
            line, (*cells)[std::min(columns_.size(), cells->size() - 1)].column,
            fmt::format("this row has {} cells, the headings {}", cells->size(), columns_.size()));
        continue;
      }
      read_row(line, *cells, last);
      if (data_.values.size() > most_measurements) {
        error(line, 1, fmt::format("more than {} figures: a fit takes no more", most_measurements));
        return;
      }
    }
    if (data_.values.empty() && problems_.errors() == before)
      problems_.error({data_.source, 0, 0}, {}, "there is no measured figure in this file");
  }

  void read_row(std::size_t line, const std::vector<Cell>& cells,
                std::map<std::pair<std::string, std::size_t>, double>& last) {
    std::string arm;
    std::optional<double> time;
    std::map<std::size_t, std::pair<double, int>> values, errors;
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const Column& c = columns_[i];
      const Cell& cell = cells[i];
      if (c.role == Role::arm) arm = cell.text;
      if (c.role == Role::arm || c.role == Role::skipped || cell.text.empty()) continue;
      const auto x = number(cell, c, line);
      if (!x) return;
      if (c.role == Role::time) {
        if (!(*x >= 0 && *x <= 1000))
          return error(line, cell.column, "this time is not possible", "between 0 h and 1000 h");
        time = *x;
      } else if (c.role == Role::value) {
        values[c.observable] = {*x, cell.column};
      } else {
        if (!(*x > 0))
          return error(line, cell.column, "the standard deviation of an error is larger than 0");
        errors[c.observable] = {*x, cell.column};
      }
    }
    if (!time) return error(line, 1, "this row has no time");
    if (data_.has_arms && arm.empty()) return error(line, 1, "this row names no arm");
    for (const auto& [observable, value] : values) {
      const auto& o = data_.observables[observable];
      FitData::Value v{
          arm, observable, *time, 0, value.first, std::nan(""), place(line, value.second)};
      if (o.since_last) {
        const auto before = last.find({arm, observable});
        v.since = before == last.end() ? 0 : before->second;
        if (!(v.time > v.since))
          return error(line, value.second,
                       "a figure since the last one needs rows in the order of time, after birth");
        last[{arm, observable}] = v.time;
      }
      if (data_.own_sd[observable]) {
        const auto sd = errors.find(observable);
        if (sd == errors.end())
          return error(line, value.second,
                       "the error of this figure is missing: " + quote(o.name + " sd"));
        v.sd = sd->second.first;
      }
      data_.values.push_back(std::move(v));
    }
  }

  std::filesystem::path path_;
  Problems& problems_;
  FitData data_;
  std::vector<Column> columns_;
  std::size_t headings_ = 0, next_ = 0;
};

}  // namespace

FitData read_fit_data(const std::filesystem::path& path, Problems& problems) {
  return TableReader(path, problems).read();
}

}  // namespace serosa::files
