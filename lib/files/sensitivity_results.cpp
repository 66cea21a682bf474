// SPDX-License-Identifier: Apache-2.0
#include <cmath>

#include "files/csv.hpp"
#include "files/netcdf.hpp"
#include "files/sensitivity_file.hpp"
#include "files/study_file.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using study::Estimate;
using study::SensitivityResult;

namespace {

constexpr const char* method_words[] = {"indices", "elementary-effects", "rank-correlations",
                                        "elasticities"};

/// Answers with a value at every time stand first.
std::size_t timed_answers(const SensitivityResult& r) {
  std::size_t n = 0;
  while (n < r.answers.size() && r.answers[n].timed) ++n;
  return n;
}

/// Value, low, high, and whether zero can't be excluded, picked from estimates.
enum class Part { value, low, high };
double part_of(const Estimate& e, Part part) {
  return part == Part::value ? e.value : part == Part::low ? e.low : e.high;
}
constexpr std::pair<Part, const char*> parts[] = {
    {Part::value, ""}, {Part::low, "_low"}, {Part::high, "_high"}};

/// Writes and remembers what to put where: definitions come before values.
class SensitivityWriter {
 public:
  SensitivityWriter(const fs::path& path, const StudyFile& f, const SensitivityResult& r,
                    const BuildInfo& build)
      : file_(path), r_(r), timed_(timed_answers(r)) {
    constexpr auto whole_file = NetcdfWriter::whole_file;
    file_.attribute(whole_file, "Conventions", "CF-1.11");
    file_.attribute(whole_file, "title", f.study.title.empty() ? f.study.name : f.study.title);
    file_.attribute(whole_file, "source", "serosa " + build.version + ", commit " + build.commit);
    file_.attribute(whole_file, "comment", std::string(caution));
    file_.attribute(whole_file, "method", method_words[static_cast<std::size_t>(r.method)]);
    declare();
    file_.end_definitions();
    for (const auto& later : later_) later();
    file_.close();
  }

 private:
  using Dimension = NetcdfWriter::Dimension;
  using Names = std::vector<std::string>;

  void names(const std::string& name, Dimension d, Names values, const std::string& meaning) {
    const auto v = file_.texts(name, {d});
    file_.attribute(v, "long_name", meaning);
    later_.emplace_back([this, v, values = std::move(values)] { file_.put(v, values); });
  }
  NetcdfWriter::Variable numbers(const std::string& name, const std::vector<Dimension>& d,
                                 std::vector<double> values, const std::string& meaning,
                                 const std::string& unit) {
    const auto v = file_.doubles(name, d);
    file_.attribute(v, "long_name", meaning);
    if (!unit.empty()) file_.attribute(v, "units", std::string(units::shown(unit)));
    later_.emplace_back([this, v, values = std::move(values)] { file_.put(v, values); });
    return v;
  }

  /// Values of a measure over a block of answers: arms × answers × times × width.
  template <class Pick>
  auto block(std::size_t measure, std::size_t from, std::size_t to, std::size_t times, Pick pick) {
    std::vector<decltype(pick(Estimate{}))> all;
    for (std::size_t arm = 0; arm < r_.arms.size(); ++arm)
      for (std::size_t a = from; a < to; ++a)
        for (std::size_t t = 0; t < times; ++t)
          for (std::size_t j = 0; j < r_.width(measure); ++j)
            all.push_back(pick(r_.at(measure, arm, a, t, j)));
    return all;
  }

  void measure(std::size_t m, const std::string& name, const std::vector<Dimension>& d,
               std::size_t from, std::size_t to, std::size_t times) {
    const auto& measure = r_.measures[m];
    for (const auto& [part, ending] : parts) {
      if (part != Part::value && !measure.interval) continue;
      const std::string what = part == Part::value ? measure.meaning
                               : part == Part::low ? "Lower end of the interval of " + measure.name
                                                   : "Upper end of the interval of " + measure.name;
      const auto v = numbers(
          name + ending, d,
          block(m, from, to, times, [part = part](const Estimate& e) { return part_of(e, part); }),
          what, measure.has_unit ? "" : "1");
      if (measure.has_unit)
        file_.attribute(v, "comment",
                        measure.per_input ? "in the output's unit per unit of the input"
                                          : "in the output's unit");
    }
    if (!measure.interval) return;
    const auto v = file_.bytes(name + "_not_distinguishable_from_zero", d);
    file_.attribute(v, "long_name", "Whether the interval of " + measure.name + " holds zero");
    file_.attribute(v, "flag_values", std::vector<signed char>{0, 1});
    file_.attribute(v, "flag_meanings", std::string("distinguishable not_distinguishable"));
    auto flags = block(m, from, to, times, [](const Estimate& e) {
      return static_cast<signed char>(study::not_distinguishable_from_zero(e));
    });
    later_.emplace_back(
        [this, v, flags = std::move(flags)] { file_.put(v, std::span<const signed char>(flags)); });
  }

  void declare() {
    const std::size_t figures = r_.answers.size() - timed_, times = r_.times.size();
    const auto arm = file_.dimension("arm", r_.arms.size());
    const auto output = file_.dimension("output", timed_);
    const auto time = file_.dimension("time", times);
    const auto input = file_.dimension("input", r_.inputs.size());
    numbers("time", {time}, r_.times, "Time after birth", "h");
    names("arm", arm, r_.arms, "Name of the arm; `B less A` is a difference of two, run by run");
    names("input", input, r_.inputs, "Input, or group of inputs");
    if (!r_.found_by.empty()) names("found_by", input, r_.found_by, "How the slopes were found");
    const auto texts = [&](std::size_t from, std::size_t to, auto member) {
      Names all;
      for (std::size_t a = from; a < to; ++a) all.push_back(member(r_.answers[a]));
      return all;
    };
    const auto describe = [&](const std::string& kind, Dimension d, std::size_t from,
                              std::size_t to) {
      names(kind, d, texts(from, to, [](const auto& a) { return a.name; }), "Name of the " + kind);
      names(kind + "_unit", d,
            texts(from, to, [](const auto& a) { return std::string(units::shown(a.unit)); }),
            "Its unit");
      names(kind + "_meaning", d, texts(from, to, [](const auto& a) { return a.meaning; }),
            "What it is");
    };
    const auto columns = [&](std::size_t from, std::size_t to, std::size_t n,
                             const std::vector<double>& of) {
      std::vector<double> all;
      for (std::size_t k = 0; k < r_.arms.size(); ++k)
        for (std::size_t a = from; a < to; ++a)
          for (std::size_t t = 0; t < n; ++t) all.push_back(of[r_.place(k, a, t)]);
      return all;
    };
    describe("output", output, 0, timed_);
    numbers("mean", {arm, output, time}, columns(0, timed_, times, r_.mean),
            "Mean over the runs, in the output's unit", "");
    numbers("sd", {arm, output, time}, columns(0, timed_, times, r_.sd),
            "Standard deviation over the runs, in the output's unit", "");
    NetcdfWriter::Dimension pair = 0, figure = 0;
    if (!r_.pairs.empty()) {
      pair = file_.dimension("pair", r_.pairs.size());
      names("pair", pair, r_.pairs, "Pair of inputs");
    }
    if (figures > 0) {
      figure = file_.dimension("figure", figures);
      describe("figure", figure, timed_, r_.answers.size());
      numbers("figure_mean", {arm, figure}, columns(timed_, r_.answers.size(), 1, r_.mean),
              "Mean over the runs, in the figure's unit", "");
      numbers("figure_sd", {arm, figure}, columns(timed_, r_.answers.size(), 1, r_.sd),
              "Standard deviation over the runs, in the figure's unit", "");
      std::vector<double> never;
      for (std::size_t k = 0; k < r_.arms.size(); ++k)
        for (std::size_t a = timed_; a < r_.answers.size(); ++a)
          never.push_back(r_.never[k * r_.answers.size() + a]);
      numbers("figure_never", {arm, figure}, never,
              "Share of the runs that never reach the level; their hour counts as the last", "1");
    }
    for (std::size_t m = 0; m < r_.measures.size(); ++m) {
      const auto last = r_.measures[m].of_pairs ? pair : input;
      measure(m, r_.measures[m].name, {arm, output, time, last}, 0, timed_, times);
      if (figures > 0)
        measure(m, r_.measures[m].name + "_of_figures", {arm, figure, last}, timed_,
                r_.answers.size(), 1);
    }
    declare_sizes(arm, input);
    const auto counts = file_.dimension("count", 2);
    numbers("points", {counts},
            {static_cast<double>(r_.points), static_cast<double>(r_.all_points)},
            "Base points, trajectories or runs that were used, and all there are", "1");
  }

  void declare_sizes(Dimension arm, Dimension input) {
    if (r_.sizes.empty()) return;
    const auto size = file_.dimension("size", r_.sizes.size());
    const auto answer = file_.dimension("answer", r_.answers.size());
    numbers("size", {size}, std::vector<double>(r_.sizes.begin(), r_.sizes.end()),
            "Number of base points", "1");
    Names all;
    for (const auto& a : r_.answers) all.push_back(a.name);
    names("answer", answer, all, "Output at the last time, or figure");
    for (std::size_t m = 0; m < 2; ++m)
      for (const auto& [part, ending] : parts) {
        std::vector<double> values;
        for (std::size_t s = 0; s < r_.sizes.size(); ++s)
          for (std::size_t k = 0; k < r_.arms.size(); ++k)
            for (std::size_t a = 0; a < r_.answers.size(); ++a)
              for (std::size_t j = 0; j < r_.inputs.size(); ++j)
                values.push_back(part_of(r_.at_size(s, m, k, a, j), part));
        numbers(r_.measures[m].name + "_by_size" + ending, {size, arm, answer, input},
                std::move(values),
                r_.measures[m].name + " with fewer base points, at the last time", "1");
      }
  }

  NetcdfWriter file_;
  const SensitivityResult& r_;
  std::size_t timed_;
  std::vector<std::function<void()>> later_;
};

}  // namespace

void write_sensitivity_nc(const fs::path& path, const StudyFile& file, const SensitivityResult& r,
                          const BuildInfo& build) {
  SensitivityWriter(path, file, r, build);
}

// ---- Tables
// --------------------------------------------------------------------------------------

namespace {

void head_of(CsvWriter& csv, const study::Measure& m) {
  csv.text(m.name);
  if (m.interval) csv.text(m.name + "_low").text(m.name + "_high").text(m.name + "_excludes_zero");
}
void cells_of(CsvWriter& csv, const study::Measure& m, const Estimate& e) {
  csv.number(e.value);
  if (m.interval)
    csv.number(e.low).number(e.high).text(study::not_distinguishable_from_zero(e) ? "no" : "yes");
}

std::string table_of(const SensitivityResult& r, bool pairs) {
  CsvWriter csv;
  csv.text("arm").text("answer").text("unit").text("time_h").text(pairs ? "pair" : "input");
  for (const auto& m : r.measures)
    if (m.of_pairs == pairs) head_of(csv, m);
  if (!pairs && !r.found_by.empty()) csv.text("found_by");
  csv.end_row();
  const auto& inputs = pairs ? r.pairs : r.inputs;
  for (std::size_t k = 0; k < r.arms.size(); ++k)
    for (std::size_t a = 0; a < r.answers.size(); ++a)
      for (std::size_t t = 0; t < (r.answers[a].timed ? r.times.size() : 1); ++t)
        for (std::size_t j = 0; j < inputs.size(); ++j) {
          csv.text(r.arms[k]).text(r.answers[a].name).text(units::shown(r.answers[a].unit));
          csv.number(r.answers[a].timed ? r.times[t] : std::nan("")).text(inputs[j]);
          for (std::size_t m = 0; m < r.measures.size(); ++m)
            if (r.measures[m].of_pairs == pairs) cells_of(csv, r.measures[m], r.at(m, k, a, t, j));
          if (!pairs && !r.found_by.empty()) csv.text(r.found_by[j]);
          csv.end_row();
        }
  return csv.bytes();
}

}  // namespace

std::string sensitivity_csv(const SensitivityResult& r) { return table_of(r, false); }
std::string second_order_csv(const SensitivityResult& r) { return table_of(r, true); }

std::string convergence_csv(const SensitivityResult& r) {
  CsvWriter csv;
  csv.text("arm").text("answer").text("input").text("base_points");
  for (std::size_t m = 0; m < 2; ++m) head_of(csv, r.measures[m]);
  csv.end_row();
  for (std::size_t k = 0; k < r.arms.size(); ++k)
    for (std::size_t a = 0; a < r.answers.size(); ++a)
      for (std::size_t j = 0; j < r.inputs.size(); ++j)
        for (std::size_t s = 0; s <= r.sizes.size(); ++s) {
          const bool all = s == r.sizes.size();
          csv.text(r.arms[k]).text(r.answers[a].name).text(r.inputs[j]);
          csv.number(static_cast<double>(all ? r.all_points : r.sizes[s]));
          const std::size_t last = r.answers[a].timed ? r.times.size() - 1 : 0;
          for (std::size_t m = 0; m < 2; ++m)
            cells_of(csv, r.measures[m], all ? r.at(m, k, a, last, j) : r.at_size(s, m, k, a, j));
          csv.end_row();
        }
  return csv.bytes();
}

}  // namespace serosa::files
