// SPDX-License-Identifier: Apache-2.0
// The tables of a batch.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>

#include "baby/states.hpp"
#include "files/batch_columns.hpp"
#include "files/csv.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using simulate::output_list;
using simulate::RunStatus;
using study::Layout;

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

bool is_sample(const StudyFile& f) { return f.study.design.kind != study::DesignKind::full_grid; }

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
        column_of(blocks, blocks.layout().value(a, o, t), done)([&](std::span<const double> piece) {
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
      head.text(input.is_number() ? input.path + " [" + std::string(units::shown(input.unit)) + "]"
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
      if (s.inputs[j].is_number())
        csv.number(values[j]);
      else
        csv.text(s.inputs[j].words[static_cast<std::size_t>(values[j])]);
    }
    out.add(csv.end_row().bytes());
  }
  out.close();
}
}  // namespace serosa::files
