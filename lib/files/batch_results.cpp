// SPDX-License-Identifier: Apache-2.0
#include "files/batch_results.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>
#include <nlohmann/json.hpp>
#include <set>

#include "baby/states.hpp"
#include "files/csv.hpp"
#include "files/netcdf.hpp"
#include "files/sha256.hpp"
#include "study/statistics.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using simulate::output_list;
using simulate::RunStatus;
using study::Layout;

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

/// One bit per run: did it finish?
using Finishers = std::vector<bool>;

Finishers finishers(const Blocks& blocks, std::size_t arm) {
  const Layout& layout = blocks.layout();
  Finishers done(layout.runs);
  std::vector<double> piece(layout.block);
  for (std::uint64_t b = 0; b < layout.blocks; ++b) {
    const auto part = std::span(piece).first(layout.runs_of(b));
    blocks.read(layout.fixed(arm, Layout::status), b * layout.block, part);
    for (std::size_t i = 0; i < part.size(); ++i)
      done[b * layout.block + i] = part[i] == static_cast<double>(RunStatus::finished);
  }
  return done;
}

/// A column, of the runs that finished; numbers that are missing all the same are left out.
study::Pieces column_of(const Blocks& blocks, std::size_t column, const Finishers& keep) {
  return [&blocks, column, &keep](const std::function<void(std::span<const double>)>& see) {
    const Layout& layout = blocks.layout();
    std::vector<double> piece(layout.block);
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const auto part = std::span(piece).first(layout.runs_of(b));
      blocks.read(column, b * layout.block, part);
      std::size_t kept = 0;
      for (std::size_t i = 0; i < part.size(); ++i)
        if (keep[b * layout.block + i] && !std::isnan(part[i])) part[kept++] = part[i];
      see(part.first(kept));
    }
  };
}

/// One column less another, of the runs that finished in both.
study::Pieces difference_of(const Blocks& blocks, std::size_t column, std::size_t less,
                            const Finishers& keep, const Finishers& keep_less) {
  return [&, column, less](const std::function<void(std::span<const double>)>& see) {
    const Layout& layout = blocks.layout();
    std::vector<double> piece(layout.block), other(layout.block);
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const auto part = std::span(piece).first(layout.runs_of(b));
      const auto minus = std::span(other).first(layout.runs_of(b));
      blocks.read(column, b * layout.block, part);
      blocks.read(less, b * layout.block, minus);
      std::size_t kept = 0;
      for (std::size_t i = 0; i < part.size(); ++i) {
        const std::uint64_t run = b * layout.block + i;
        const double d = part[i] - minus[i];
        if (keep[run] && keep_less[run] && !std::isnan(d)) part[kept++] = d;
      }
      see(part.first(kept));
    }
  };
}

std::string variable_name(const std::string& path, const std::set<std::string>& taken) {
  std::string name;
  for (const char c : path)
    name += (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ? c : '_';
  if (!name.empty() && name.front() >= '0' && name.front() <= '9') name = "input_" + name;
  while (taken.contains(name)) name += "_input";
  return name;
}

/// Words as CF flag meanings: separated by blanks, so without blanks inside.
std::string meanings_of(const std::vector<std::string>& words) {
  std::string text;
  for (const auto& word : words) {
    text += text.empty() ? "" : " ";
    for (const char c : word) text += c == ' ' || c == ',' ? '_' : c;
  }
  return text;
}

void describe(NetcdfWriter& file, NetcdfWriter::Variable v, std::string_view name,
              std::string_view unit) {
  file.attribute(v, "long_name", std::string(name));
  file.attribute(v, "units", std::string(units::shown(unit)));
  // Whether a temperature is a point or a difference: CF 1.11, section 3.1.2.
  if (unit == "degC") file.attribute(v, "units_metadata", "temperature: on_scale");
  if (unit == "K") file.attribute(v, "units_metadata", "temperature: difference");
}

void describe_file(NetcdfWriter& file, const StudyFile& f, const BuildInfo& build) {
  constexpr auto whole_file = NetcdfWriter::whole_file;
  file.attribute(whole_file, "Conventions", "CF-1.11");
  file.attribute(whole_file, "title", f.study.title.empty() ? f.study.name : f.study.title);
  file.attribute(whole_file, "source", "serosa " + build.version + ", commit " + build.commit);
  file.attribute(whole_file, "comment", std::string(caution));
}

struct Flags {
  std::vector<signed char> values;
  std::string meanings;
};

Flags status_flags() {
  Flags f;
  for (const auto& s : simulate::run_statuses) {
    f.values.push_back(static_cast<signed char>(s.status));
    f.meanings += (f.meanings.empty() ? "" : " ") + std::string(s.name);
  }
  return f;
}

Flags state_flags() {
  Flags f{{-1}, "none"};
  for (std::size_t i = 0; i < baby::state::count; ++i) {
    f.values.push_back(static_cast<signed char>(i));
    f.meanings += " " + std::string(baby::state_list[i].name);
  }
  return f;
}

NetcdfWriter::Variable flag_variable(NetcdfWriter& file, const std::string& name,
                                     const std::vector<NetcdfWriter::Dimension>& dimensions,
                                     const NetcdfWriter::Shape& chunk, const std::string& meaning,
                                     const Flags& flags) {
  const auto v = file.bytes(name, dimensions, chunk);
  file.attribute(v, "long_name", meaning);
  file.attribute(v, "flag_values", flags.values);
  file.attribute(v, "flag_meanings", flags.meanings);
  return v;
}

std::vector<std::string> arm_names(const StudyFile& f) {
  std::vector<std::string> names;
  for (const auto& arm : f.study.arms) names.push_back(arm.name);
  return names;
}
std::vector<std::string> arm_titles(const StudyFile& f) {
  std::vector<std::string> titles;
  for (const auto& arm : f.study.arms) titles.push_back(arm.title);
  return titles;
}

/// Runs that are written at a time: about a megabyte for the largest variable.
std::size_t rows_at_a_time(const Layout& layout, std::size_t per_run) {
  std::size_t rows = 4096;
  while (rows > 8 && rows * per_run > (std::size_t{1} << 17)) rows /= 2;
  return std::min<std::size_t>(rows, static_cast<std::size_t>(layout.runs));
}

/// Effort as runs.nc names it.
struct EffortVariable {
  const char* name;
  const char* meaning;
  Layout::Fixed column;
};
constexpr EffortVariable effort_variables[] = {
    {"accepted_steps", "Steps of the solver that were accepted", Layout::accepted},
    {"rejected_steps", "Steps of the solver that were tried and rejected", Layout::rejected},
    {"rate_evaluations", "Evaluations of the rates of change", Layout::evaluations},
    {"restarts", "Times the solver began anew because an act changed the rates",
     Layout::restarts}};

/// Writes runs.nc, a chunk of every variable at a time.
class RunsWriter {
 public:
  RunsWriter(const fs::path& path, const StudyFile& f, const Blocks& blocks,
             const BuildInfo& build)
      : file_(path), f_(f), blocks_(blocks), layout_(blocks.layout()) {
    rows_ = rows_at_a_time(layout_, layout_.arms * layout_.times);
    declare(build);
  }

  void write() {
    const auto& s = f_.study;
    std::vector<int> numbers;
    study::Drawer drawer(s);
    std::vector<double> values;
    std::vector<std::vector<double>> inputs(s.inputs.size());
    for (std::uint64_t first = 0; first < layout_.runs; first += rows_) {
      const auto rows =
          static_cast<std::size_t>(std::min<std::uint64_t>(rows_, layout_.runs - first));
      numbers.clear();
      for (auto& column : inputs) column.clear();
      for (std::size_t i = 0; i < rows; ++i) {
        numbers.push_back(static_cast<int>(first + i));
        drawer.draw(first + i, values);
        for (std::size_t j = 0; j < values.size(); ++j) inputs[j].push_back(values[j]);
      }
      file_.put(run_, {first}, {rows}, numbers);
      for (std::size_t j = 0; j < inputs.size(); ++j) put_input(j, first, inputs[j]);
      put_fixed<signed char>(status_, Layout::status, first, rows);
      put_fixed<signed char>(state_, Layout::state, first, rows);
      put_fixed<double>(end_, Layout::end, first, rows);
      for (std::size_t e = 0; e < std::size(effort_variables); ++e)
        put_fixed<int>(efforts_[e], effort_variables[e].column, first, rows);
      for (std::size_t o = 0; o < layout_.outputs; ++o) put_output(o, first, rows);
    }
    file_.close();
  }

 private:
  void declare(const BuildInfo& build) {
    const auto& s = f_.study;
    describe_file(file_, f_, build);
    const auto run = file_.dimension("run", static_cast<std::size_t>(layout_.runs));
    const auto arm = file_.dimension("arm", layout_.arms);
    const auto time = file_.dimension("time", layout_.times);
    run_ = file_.integers("run", {run}, {rows_});
    file_.attribute(run_, "long_name", "Number of the run, from 0");
    const auto hour = file_.doubles("time", {time});
    describe(file_, hour, "Time after birth", "h");
    const auto name = file_.texts("arm_name", {arm});
    file_.attribute(name, "long_name", "Name of the arm");
    const auto title = file_.texts("arm_title", {arm});
    file_.attribute(title, "long_name", "Title of the arm's case");
    std::set<std::string> taken{"run", "time", "arm", "arm_name", "arm_title", "run_status",
                                "run_end", "failed_state"};
    for (const auto& e : effort_variables) taken.insert(e.name);
    for (const auto& o : output_list) taken.insert(std::string(o.name));
    for (const auto& input : s.inputs) {
      const std::string variable = variable_name(input.path, taken);
      taken.insert(variable);
      inputs_.push_back(declare_input(input, variable, run));
    }
    status_ = flag_variable(file_, "run_status", {run, arm}, {rows_, layout_.arms},
                            "How the run ended", status_flags());
    state_ = flag_variable(file_, "failed_state", {run, arm}, {rows_, layout_.arms},
                           "State that made the run fail", state_flags());
    end_ = file_.doubles("run_end", {run, arm}, {rows_, layout_.arms});
    describe(file_, end_, "Hour at which the run ended", "h");
    for (const auto& e : effort_variables) {
      efforts_.push_back(file_.integers(e.name, {run, arm}, {rows_, layout_.arms}));
      describe(file_, efforts_.back(), e.meaning, "1");
    }
    for (const auto o : s.outputs) {
      outputs_.push_back(file_.doubles(std::string(output_list[o].name), {run, arm, time},
                                       {rows_, layout_.arms, layout_.times}));
      describe(file_, outputs_.back(), output_list[o].meaning, output_list[o].unit);
      file_.attribute(outputs_.back(), "coordinates", "arm_name");
    }
    file_.end_definitions();
    file_.put(hour, s.times);
    file_.put(name, arm_names(f_));
    file_.put(title, arm_titles(f_));
  }

  NetcdfWriter::Variable declare_input(const study::Input& input, const std::string& name,
                                       NetcdfWriter::Dimension run) {
    NetcdfWriter::Variable v;
    if (input.is_number()) {
      v = file_.doubles(name, {run}, {rows_});
      describe(file_, v, "Input " + input.path + ": " + input.meaning, input.unit);
    } else {
      Flags flags;
      for (std::size_t i = 0; i < input.words.size(); ++i)
        flags.values.push_back(static_cast<signed char>(i));
      flags.meanings = meanings_of(input.words);
      v = flag_variable(file_, name, {run}, {rows_}, "Input " + input.path + ": " + input.meaning,
                        flags);
    }
    file_.attribute(v, "input_path", input.path);
    file_.attribute(v, "input_law", input.law_text);
    if (!input.source.empty()) file_.attribute(v, "references", input.source);
    return v;
  }

  void put_input(std::size_t j, std::uint64_t first, const std::vector<double>& values) {
    if (f_.study.inputs[j].is_number())
      return file_.put(inputs_[j], {first}, {values.size()}, values);
    std::vector<signed char> words;
    for (const double x : values) words.push_back(static_cast<signed char>(x));
    file_.put(inputs_[j], {first}, {values.size()}, words);
  }

  template <class Value>
  void put_fixed(NetcdfWriter::Variable v, Layout::Fixed which, std::uint64_t first,
                 std::size_t rows) {
    std::vector<Value> table(rows * layout_.arms);
    column_.resize(rows);
    for (std::size_t a = 0; a < layout_.arms; ++a) {
      blocks_.read(layout_.fixed(a, which), first, column_);
      for (std::size_t i = 0; i < rows; ++i)
        table[i * layout_.arms + a] = static_cast<Value>(column_[i]);
    }
    file_.put(v, {first, 0}, {rows, layout_.arms}, table);
  }

  void put_output(std::size_t o, std::uint64_t first, std::size_t rows) {
    const std::size_t times = layout_.times, arms = layout_.arms;
    table_.resize(rows * arms * times);
    column_.resize(rows);
    for (std::size_t a = 0; a < arms; ++a)
      for (std::size_t t = 0; t < times; ++t) {
        blocks_.read(layout_.value(a, o, t), first, column_);
        for (std::size_t i = 0; i < rows; ++i) table_[(i * arms + a) * times + t] = column_[i];
      }
    file_.put(outputs_[o], {first, 0, 0}, {rows, arms, times}, table_);
  }

  NetcdfWriter file_;
  const StudyFile& f_;
  const Blocks& blocks_;
  const Layout& layout_;
  std::size_t rows_ = 0;
  NetcdfWriter::Variable run_, status_, state_, end_;
  std::vector<NetcdfWriter::Variable> inputs_, efforts_, outputs_;
  std::vector<double> column_, table_;
};

bool is_sample(const StudyFile& f) {
  return f.study.design.kind != study::DesignKind::full_grid;
}

}  // namespace

std::uint64_t Failures::of(std::size_t arm) const {
  std::uint64_t sum = 0;
  for (const auto& [status, count] : by_arm[arm]) sum += count;
  return sum;
}
std::uint64_t Failures::total() const {
  std::uint64_t sum = 0;
  for (std::size_t a = 0; a < by_arm.size(); ++a) sum += of(a);
  return sum;
}

Failures count_failures(const Blocks& blocks) {
  const Layout& layout = blocks.layout();
  Failures failures;
  std::vector<double> piece(layout.block);
  for (std::size_t a = 0; a < layout.arms; ++a) {
    failures.by_arm.emplace_back();
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const auto part = std::span(piece).first(layout.runs_of(b));
      blocks.read(layout.fixed(a, Layout::status), b * layout.block, part);
      for (const double x : part)
        if (const auto status = static_cast<RunStatus>(x); status != RunStatus::finished)
          ++failures.by_arm[a][status];
    }
  }
  return failures;
}

void write_runs_nc(const fs::path& path, const StudyFile& file, const Blocks& blocks,
                   const BuildInfo& build) {
  RunsWriter(path, file, blocks, build).write();
}

void write_series_nc(const fs::path& path, const StudyFile& f, const Blocks& blocks,
                     const BuildInfo& build, bool bands) {
  const auto& s = f.study;
  const Layout& layout = blocks.layout();
  const std::size_t times = layout.series_times, arms = layout.arms,
                    levels = s.series_quantiles.size();
  NetcdfWriter file(path);
  describe_file(file, f, build);
  const auto arm = file.dimension("arm", arms);
  const auto time = file.dimension("time", times);
  const auto quantile = file.dimension("quantile", levels);
  const auto hour = file.doubles("time", {time});
  describe(file, hour, "Time after birth", "h");
  const auto share = file.doubles("quantile", {quantile});
  describe(file, share, "Share of the runs that lie below", "1");
  const auto name = file.texts("arm_name", {arm});
  file.attribute(name, "long_name", "Name of the arm");
  const std::size_t rows = rows_at_a_time(layout, arms * times);
  std::vector<NetcdfWriter::Variable> band_variables, run_variables;
  for (const auto o : s.series_outputs) {
    const std::string output(output_list[o].name);
    if (bands) {
      band_variables.push_back(file.doubles(output, {arm, time, quantile}));
      describe(file, band_variables.back(),
               std::string(output_list[o].meaning) + ", quantiles over the runs",
               output_list[o].unit);
      file.attribute(band_variables.back(), "coordinates", "arm_name");
    }
  }
  NetcdfWriter::Variable number = 0;
  if (s.series_of_all_runs) {
    const auto run = file.dimension("run", static_cast<std::size_t>(layout.runs));
    number = file.integers("run", {run}, {std::min<std::size_t>(4096, layout.runs)});
    file.attribute(number, "long_name", "Number of the run, from 0");
    for (const auto o : s.series_outputs) {
      run_variables.push_back(file.doubles(std::string(output_list[o].name) + "_of_runs",
                                           {run, arm, time}, {rows, arms, times}));
      describe(file, run_variables.back(), output_list[o].meaning, output_list[o].unit);
      file.attribute(run_variables.back(), "coordinates", "arm_name");
    }
  }
  file.end_definitions();
  file.put(hour, s.series_times);
  file.put(share, s.series_quantiles);
  file.put(name, arm_names(f));
  if (bands) {
    std::vector<Finishers> done;
    for (std::size_t a = 0; a < arms; ++a) done.push_back(finishers(blocks, a));
    for (std::size_t o = 0; o < layout.series_outputs; ++o) {
      std::vector<double> table;
      for (std::size_t a = 0; a < arms; ++a)
        for (std::size_t t = 0; t < times; ++t) {
          const auto d = study::describe(column_of(blocks, layout.series(a, o, t), done[a]),
                                         s.series_quantiles, s.confidence);
          for (const auto& q : d.quantiles) table.push_back(q.value);
        }
      file.put(band_variables[o], table);
    }
  }
  if (s.series_of_all_runs) {
    std::vector<double> column, table;
    std::vector<int> numbers;
    for (std::uint64_t first = 0; first < layout.runs; first += rows) {
      const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(rows, layout.runs - first));
      numbers.clear();
      for (std::size_t i = 0; i < count; ++i) numbers.push_back(static_cast<int>(first + i));
      file.put(number, {first}, {count}, numbers);
      column.resize(count);
      table.resize(count * arms * times);
      for (std::size_t o = 0; o < layout.series_outputs; ++o) {
        for (std::size_t a = 0; a < arms; ++a)
          for (std::size_t t = 0; t < times; ++t) {
            blocks.read(layout.series(a, o, t), first, column);
            for (std::size_t i = 0; i < count; ++i) table[(i * arms + a) * times + t] = column[i];
          }
        file.put(run_variables[o], {first, 0, 0}, {count, arms, times}, table);
      }
    }
  }
  file.close();
}

namespace {

std::string percent(double share) {
  std::string text = fmt::format("{:.4g}", 100 * share);
  return text + " %";
}

CsvWriter& put(CsvWriter& csv, const study::Estimate& e, bool intervals) {
  return csv.number(e.value).number(intervals ? e.low : nan).number(intervals ? e.high : nan);
}

void estimate_heads(CsvWriter& csv, const std::string& name, const std::string& method) {
  csv.text(name).text(name + ", low [" + method + "]").text(name + ", high [" + method + "]");
}

/// Calls `row(output, time)` for all outputs and times.
template <class Row>
void for_outputs(const study::Study& s, Row row) {
  for (std::size_t o = 0; o < s.outputs.size(); ++o)
    for (std::size_t t = 0; t < s.times.size(); ++t) row(o, t);
}

}  // namespace

std::string batch_summary_csv(const StudyFile& f, const Blocks& blocks) {
  const auto& s = f.study;
  const std::string level = percent(s.confidence);
  CsvWriter csv;
  csv.text("arm").text("output").text("meaning").text("unit").text("time [h]");
  csv.text("runs").text("share failed");
  estimate_heads(csv, "mean", "Student " + level);
  estimate_heads(csv, "sd", "large sample " + level);
  csv.text("least").text("most");
  for (const double q : s.quantiles)
    estimate_heads(csv, percent(q) + " quantile", "order statistics " + level);
  csv.end_row();
  for (std::size_t a = 0; a < s.arms.size(); ++a) {
    const Finishers done = finishers(blocks, a);
    const auto finished = std::count(done.begin(), done.end(), true);
    for_outputs(s, [&](std::size_t o, std::size_t t) {
      const auto d = study::describe(column_of(blocks, blocks.layout().value(a, o, t), done),
                                     s.quantiles, s.confidence);
      const auto& output = output_list[s.outputs[o]];
      csv.text(s.arms[a].name).text(output.name).text(output.meaning).text(output.unit);
      csv.number(s.times[t]).number(static_cast<double>(d.n));
      csv.number(1 - static_cast<double>(finished) / static_cast<double>(s.runs()));
      put(csv, d.mean, is_sample(f));
      put(csv, d.sd, is_sample(f));
      csv.number(d.least).number(d.most);
      for (const auto& q : d.quantiles) put(csv, q, is_sample(f));
      csv.end_row();
    });
  }
  return csv.bytes();
}

std::string differences_csv(const StudyFile& f, const Blocks& blocks) {
  const auto& s = f.study;
  const Layout& layout = blocks.layout();
  const std::string level = percent(s.confidence);
  CsvWriter csv;
  csv.text("arm").text("less arm").text("output").text("meaning").text("unit").text("time [h]");
  csv.text("babies");
  estimate_heads(csv, "mean difference", "Student, paired " + level);
  csv.text("sd").text("least").text("most");
  for (const double q : s.quantiles)
    estimate_heads(csv, percent(q) + " quantile", "order statistics " + level);
  estimate_heads(csv, "share above zero", "Wilson " + level);
  csv.end_row();
  if (s.arms.empty()) return csv.bytes();
  const Finishers first = finishers(blocks, 0);
  for (std::size_t a = 1; a < s.arms.size(); ++a) {
    const Finishers done = finishers(blocks, a);
    for_outputs(s, [&](std::size_t o, std::size_t t) {
      const auto column =
          difference_of(blocks, layout.value(a, o, t), layout.value(0, o, t), done, first);
      const auto d = study::describe(column, s.quantiles, s.confidence);
      std::uint64_t above = 0;
      column([&](std::span<const double> piece) {
        for (const double x : piece) above += x > 0;
      });
      const auto& output = output_list[s.outputs[o]];
      csv.text(s.arms[a].name).text(s.arms[0].name).text(output.name).text(output.meaning);
      csv.text(output.unit == "degC" ? "K" : output.unit).number(s.times[t]);
      csv.number(static_cast<double>(d.n));
      put(csv, d.mean, is_sample(f));
      csv.number(d.sd.value).number(d.least).number(d.most);
      for (const auto& q : d.quantiles) put(csv, q, is_sample(f));
      put(csv, study::share(above, d.n, s.confidence), is_sample(f));
      csv.end_row();
    });
  }
  return csv.bytes();
}

std::string bands_csv(const StudyFile& f, const Blocks& blocks) {
  const auto& s = f.study;
  CsvWriter csv;
  csv.text("arm").text("band").text("output").text("unit").text("above").text("below");
  csv.text("time [h]").text("runs");
  estimate_heads(csv, "share", "Wilson " + percent(s.confidence));
  csv.end_row();
  for (std::size_t a = 0; a < s.arms.size(); ++a) {
    const Finishers done = finishers(blocks, a);
    for (const auto& band : s.bands) {
      const auto o = static_cast<std::size_t>(
          std::find(s.outputs.begin(), s.outputs.end(), band.output) - s.outputs.begin());
      for (std::size_t t = 0; t < s.times.size(); ++t) {
        std::uint64_t hits = 0, n = 0;
        column_of(blocks, blocks.layout().value(a, o, t), done)(
            [&](std::span<const double> piece) {
              n += piece.size();
              for (const double x : piece) hits += x >= band.low && x < band.high;
            });
        csv.text(s.arms[a].name).text(band.name).text(output_list[band.output].name);
        csv.text(output_list[band.output].unit);
        csv.number(std::isinf(band.low) ? nan : band.low);
        csv.number(std::isinf(band.high) ? nan : band.high);
        csv.number(s.times[t]).number(static_cast<double>(n));
        put(csv, study::share(hits, n, s.confidence), is_sample(f));
        csv.end_row();
      }
    }
  }
  return csv.bytes();
}

std::string failed_shares_csv(const StudyFile& f, const Failures& failures) {
  const auto& s = f.study;
  CsvWriter csv;
  csv.text("arm").text("ended").text("meaning").text("runs");
  estimate_heads(csv, "share", "Wilson " + percent(s.confidence));
  csv.end_row();
  for (std::size_t a = 0; a < s.arms.size(); ++a) {
    const auto row = [&](std::string_view name, std::string_view meaning, std::uint64_t count) {
      csv.text(s.arms[a].name).text(name).text(meaning).number(static_cast<double>(count));
      put(csv, study::share(count, s.runs(), s.confidence), is_sample(f));
      csv.end_row();
    };
    row("failed", "all runs that did not reach their end", failures.of(a));
    for (const auto& [status, count] : failures.by_arm[a])
      row(simulate::name(status), simulate::message(status), count);
  }
  return csv.bytes();
}

namespace {

/// A text file written in pieces.
class Pieces {
 public:
  explicit Pieces(const fs::path& path) : path_(path), out_(path, std::ios::binary) {}
  void add(const std::string& bytes) { out_ << bytes; }
  void close() {
    out_.close();
    if (!out_) throw WriteError("cannot write " + quote(path_.string()));
  }

 private:
  fs::path path_;
  std::ofstream out_;
};

}  // namespace

void write_failed_runs_csv(const fs::path& path, const Blocks& blocks, const StudyFile& f) {
  const Layout& layout = blocks.layout();
  Pieces out(path);
  CsvWriter head;
  head.text("run").text("arm").text("ended").text("meaning").text("state").text("time [h]");
  out.add(head.end_row().bytes());
  std::vector<double> status(layout.block), state(layout.block), end(layout.block);
  for (std::uint64_t b = 0; b < layout.blocks; ++b) {
    CsvWriter csv;
    const std::size_t rows = layout.runs_of(b);
    for (std::size_t a = 0; a < layout.arms; ++a) {
      const auto read = [&](Layout::Fixed which, std::vector<double>& column) {
        blocks.read(layout.fixed(a, which), b * layout.block, std::span(column).first(rows));
      };
      read(Layout::status, status);
      if (std::all_of(status.begin(), status.begin() + static_cast<std::ptrdiff_t>(rows),
                      [](double x) { return x == 0; }))
        continue;
      read(Layout::state, state);
      read(Layout::end, end);
      for (std::size_t i = 0; i < rows; ++i) {
        const auto how = static_cast<RunStatus>(status[i]);
        if (how == RunStatus::finished) continue;
        csv.number(static_cast<double>(b * layout.block + i)).text(f.study.arms[a].name);
        csv.text(simulate::name(how)).text(simulate::message(how));
        csv.text(state[i] >= 0 ? baby::state_list[static_cast<std::size_t>(state[i])].name : "");
        csv.number(end[i]).end_row();
      }
    }
    out.add(csv.bytes());
  }
  out.close();
}

void write_cohort_csv(const fs::path& path, const StudyFile& f) {
  const auto& s = f.study;
  Pieces out(path);
  CsvWriter head;
  head.text("run");
  for (const auto& input : s.inputs)
    if (input.of_cohort)
      head.text(input.is_number()
                    ? input.path + " [" + std::string(units::shown(input.unit)) + "]"
                    : input.path);
  out.add(head.end_row().bytes());
  study::Drawer drawer(s);
  std::vector<double> values;
  for (std::uint64_t run = 0; run < s.runs(); ++run) {
    drawer.draw(run, values);
    CsvWriter csv;
    csv.number(static_cast<double>(run));
    for (std::size_t j = 0; j < values.size(); ++j) {
      if (!s.inputs[j].of_cohort) continue;
      if (s.inputs[j].is_number()) csv.number(values[j]);
      else csv.text(s.inputs[j].words[static_cast<std::size_t>(values[j])]);
    }
    out.add(csv.end_row().bytes());
  }
  out.close();
}

std::string batch_manifest_json(const StudyFile& f, const Failures& failures,
                                const BuildInfo& build, const std::vector<std::string>& warnings,
                                const std::vector<ResultsFolder::Written>& written) {
  using Json = nlohmann::ordered_json;
  const auto& s = f.study;
  static constexpr const char* kinds[] = {"full-grid", "random", "latin-hypercube", "sobol"};
  Json arms = Json::array(), inputs = Json::array(), outputs = Json::array();
  for (std::size_t a = 0; a < s.arms.size(); ++a) {
    Json ends;
    ends["finished"] = s.runs() - failures.of(a);
    for (const auto& [status, count] : failures.by_arm[a])
      ends[std::string(simulate::name(status))] = count;
    arms.push_back({{"name", s.arms[a].name}, {"title", s.arms[a].title}, {"runs", ends}});
  }
  for (const auto& source : f.sources)
    inputs.push_back({{"name", source->path.filename().string()},
                      {"bytes", source->text.size()},
                      {"sha256", sha256(source->text)}});
  for (const auto& file : written)
    if (file.name != "log.txt")
      outputs.push_back({{"name", file.name}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  const Json manifest{{"tool", "serosa"},
                      {"version", build.version},
                      {"commit", build.commit},
                      {"compiler", build.compiler},
                      {"build_type", build.build_type},
                      {"caution", caution},
                      {"study", s.name},
                      {"title", s.title},
                      {"design",
                       {{"kind", kinds[static_cast<std::size_t>(s.design.kind)]},
                        {"runs", s.runs()},
                        {"seed", s.design.seed},
                        {"inputs", s.inputs.size()}}},
                      {"settings",
                       {{"relative_tolerance", s.settings.relative_tolerance},
                        {"absolute_tolerance_factor", s.settings.absolute_tolerance_factor},
                        {"step_budget", s.settings.step_budget}}},
                      {"failed_runs", s.exclude_failed ? "exclude" : "report"},
                      {"arms", arms},
                      {"warnings", warnings},
                      {"inputs", inputs},
                      {"outputs", outputs}};
  return manifest.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace serosa::files
