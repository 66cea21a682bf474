// SPDX-License-Identifier: Apache-2.0
// runs.nc: inputs, outputs, status and effort of every run.
#include <algorithm>
#include <set>

#include "baby/states.hpp"
#include "files/batch_columns.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using simulate::output_list;
using study::Layout;

namespace {

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
std::vector<std::string> arm_titles(const StudyFile& f) {
  std::vector<std::string> titles;
  for (const auto& arm : f.study.arms) titles.push_back(arm.title);
  return titles;
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
    {"restarts", "Times the solver began anew because an act changed the rates", Layout::restarts}};

/// Writes runs.nc, a chunk of every variable at a time.
class RunsWriter {
 public:
  RunsWriter(const fs::path& path, const StudyFile& f, const Blocks& blocks, const BuildInfo& build)
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
    std::set<std::string> taken{"run",       "time",       "arm",     "arm_name",
                                "arm_title", "run_status", "run_end", "failed_state"};
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
}  // namespace

void write_runs_nc(const fs::path& path, const StudyFile& file, const Blocks& blocks,
                   const BuildInfo& build) {
  RunsWriter(path, file, blocks, build).write();
}
}  // namespace serosa::files
