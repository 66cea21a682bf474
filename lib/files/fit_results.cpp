// SPDX-License-Identifier: Apache-2.0
#include "files/fit_results.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "files/csv.hpp"
#include "files/netcdf.hpp"
#include "files/sha256.hpp"
#include "units/units.hpp"

namespace serosa::files {

using study::FitVerdict;

namespace {

const study::Study& study_of(const FitResult& r) { return r.file->problem.study; }

std::string heading(const study::Input& input) {
  return input.path + " [" + units::shown(input.unit) + "]";
}

double residual(const FitResult& r, std::size_t i) {
  return r.file->problem.measurements[i].value - r.fit->figures[i];
}

/// Residuals of one figure in units of their errors, in the order of the data.
std::vector<double> scaled_residuals(const FitResult& r, std::size_t observable) {
  std::vector<double> all;
  const auto& m = r.file->problem.measurements;
  for (std::size_t i = 0; i < m.size(); ++i)
    if (m[i].observable == observable) all.push_back(residual(r, i) / m[i].sd);
  return all;
}

double root_mean_square(const std::vector<double>& x) {
  double sum = 0;
  for (const double one : x) sum += one * one;
  return std::sqrt(sum / static_cast<double>(x.size()));
}

}  // namespace

std::vector<double> FitResult::values() const {
  std::vector<double> all;
  for (const auto& input : fit->inputs) all.push_back(input.value);
  return all;
}

std::string fit_csv(const FitResult& r) {
  const auto& s = study_of(r);
  const std::string level = fmt::format("{:.6g} %", 100 * r.file->settings.confidence);
  CsvWriter csv;
  csv.text("input").text("meaning").text("unit").text("fitted");
  csv.text("lower end, " + level + ", profile likelihood").text("lower end is open");
  csv.text("upper end, " + level + ", profile likelihood").text("upper end is open");
  csv.text("standard error, Fisher information").text("lower bound").text("upper bound");
  csv.text("scale").text("verdict").text("in words").end_row();
  for (std::size_t j = 0; j < s.inputs.size(); ++j) {
    const auto& in = r.fit->inputs[j];
    const auto& range = r.file->problem.ranges[j];
    csv.text(s.inputs[j].path).text(s.inputs[j].meaning).text(units::shown(s.inputs[j].unit));
    csv.number(in.value).number(in.low).text(in.low_open ? "yes" : "no").number(in.high);
    csv.text(in.high_open ? "yes" : "no");
    csv.number(std::isfinite(in.sd) ? in.sd : std::nan("")).number(range.low).number(range.high);
    csv.text(range.logarithmic ? "logarithmic" : "even").text(word_of(in.verdict));
    csv.text(sentence_of(in.verdict)).end_row();
  }
  return csv.bytes();
}

std::string profiles_csv(const FitResult& r) {
  const auto& s = study_of(r);
  CsvWriter csv;
  csv.text("input held").text("value").text("unit").text("rise of chi-square");
  for (const auto& input : s.inputs) csv.text(heading(input));
  csv.end_row();
  for (std::size_t j = 0; j < r.fit->profiles.size(); ++j)
    for (const auto& point : r.fit->profiles[j].points) {
      csv.text(s.inputs[j].path).number(point.values[j]).text(units::shown(s.inputs[j].unit));
      csv.number(point.rise);
      for (const double x : point.values) csv.number(x);
      csv.end_row();
    }
  return csv.bytes();
}

std::string residuals_csv(const FitResult& r) {
  const auto& p = r.file->problem;
  CsvWriter csv;
  csv.text("arm").text("time [h]").text("figure").text("unit").text("measured").text("error (sd)");
  csv.text("fitted").text("residual").text("residual / error").end_row();
  for (std::size_t i = 0; i < p.measurements.size(); ++i) {
    const auto& m = p.measurements[i];
    const auto& o = p.observables[m.observable];
    csv.text(p.study.arms[m.arm].name).number(m.time).text(o.name).text(units::shown(o.unit));
    csv.number(m.value).number(m.sd).number(r.fit->figures[i]).number(residual(r, i));
    csv.number(residual(r, i) / m.sd).end_row();
  }
  return csv.bytes();
}

std::string residual_summary_csv(const FitResult& r) {
  const auto& p = r.file->problem;
  CsvWriter csv;
  csv.text("figure").text("meaning").text("unit").text("measurements");
  csv.text("mean residual / error").text("root mean square of residual / error").end_row();
  for (std::size_t o = 0; o < p.observables.size(); ++o) {
    const auto x = scaled_residuals(r, o);
    if (x.empty()) continue;
    double mean = 0;
    for (const double one : x) mean += one / static_cast<double>(x.size());
    csv.text(p.observables[o].name).text(p.observables[o].meaning);
    csv.text(units::shown(p.observables[o].unit)).number(static_cast<double>(x.size()));
    csv.number(mean).number(root_mean_square(x)).end_row();
  }
  return csv.bytes();
}

std::string starts_csv(const FitResult& r) {
  const auto& s = study_of(r);
  CsvWriter csv;
  csv.text("search").text("chi-square").text("evaluations").text("ended");
  for (const auto& input : s.inputs) csv.text("from " + heading(input));
  for (const auto& input : s.inputs) csv.text("to " + heading(input));
  csv.end_row();
  for (std::size_t i = 0; i < r.fit->starts.size(); ++i) {
    const auto& start = r.fit->starts[i];
    csv.number(static_cast<double>(i + 1)).number(start.chi_square);
    csv.number(start.evaluations).text(start.ended);
    for (const double x : start.from) csv.number(x);
    for (const double x : start.to) csv.number(x);
    csv.end_row();
  }
  return csv.bytes();
}

std::string correlations_csv(const FitResult& r) {
  const auto& s = study_of(r);
  const std::size_t n = s.inputs.size();
  CsvWriter csv;
  csv.text("first input").text("second input").text("correlation of the estimates").end_row();
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = i + 1; j < n; ++j)
      csv.text(s.inputs[i].path)
          .text(s.inputs[j].path)
          .number(r.fit->correlations[i * n + j])
          .end_row();
  return csv.bytes();
}

std::string combinations_csv(const FitResult& r) {
  const auto& s = study_of(r);
  CsvWriter csv;
  csv.text("combination").text("input").text("moves by, share of its range");
  csv.text("half the interval, in such moves").end_row();
  for (std::size_t c = 0; c < r.fit->combinations.size(); ++c) {
    const auto& one = r.fit->combinations[c];
    for (std::size_t m = 0; m < one.inputs.size(); ++m) {
      csv.number(static_cast<double>(c + 1)).text(s.inputs[one.inputs[m]].path);
      csv.number(one.shares[m]);
      csv.number(std::isfinite(one.half_width) ? one.half_width : std::nan("")).end_row();
    }
  }
  return csv.bytes();
}

std::string courses_csv(const FitResult& r) {
  const auto& p = r.file->problem;
  CsvWriter csv;
  csv.text("arm").text("time [h]");
  for (const auto& o : p.observables)
    if (!o.since_last) csv.text(o.name + " [" + units::shown(o.unit) + "]");
  csv.end_row();
  for (std::size_t a = 0; a < r.courses.size(); ++a)
    for (std::size_t t = 0; t < r.times.size(); ++t) {
      csv.text(p.study.arms[a].name).number(r.times[t]);
      for (std::size_t o = 0; o < p.observables.size(); ++o)
        if (!p.observables[o].since_last) csv.number(r.courses[a][o][t]);
      csv.end_row();
    }
  return csv.bytes();
}

std::vector<std::string> combination_sentences(const FitResult& r) {
  const auto& s = study_of(r);
  std::vector<std::string> all;
  for (const auto& c : r.fit->combinations) {
    std::string names, moves;
    for (std::size_t m = 0; m < c.inputs.size(); ++m) {
      const std::size_t j = c.inputs[m];
      const auto& range = r.file->problem.ranges[j];
      const bool last = m + 1 == c.inputs.size();
      names += (m == 0 ? "" : last ? " and " : ", ") + s.inputs[j].path;
      // A tenth of the range of the one that moves most.
      const double share = 0.1 * c.shares[m];
      const std::string unit = units::shown(s.inputs[j].unit);
      const std::string by =
          range.logarithmic
              ? fmt::format("by {:.2g} %",
                            100 * std::abs(std::pow(range.high / range.low, share) - 1))
              : fmt::format("by {:.2g}{}", std::abs(share) * (range.high - range.low),
                            unit == "1" ? "" : " " + unit);
      moves += (m == 0 ? ""
                : last ? " and "
                       : ", ") +
               s.inputs[j].path + (share > 0 ? " higher " : " lower ") + by;
    }
    all.push_back(names + " cannot be told apart: " + moves + " together " +
                  (std::isfinite(c.half_width) ? "change the figures by next to nothing."
                                               : "change no figure at all."));
  }
  return all;
}

namespace {

using Writer = NetcdfWriter;

void describe(Writer& file, Writer::Variable v, const std::string& name, const char* unit) {
  file.attribute(v, "long_name", name);
  if (unit) file.attribute(v, "units", unit);
}

template <class List>
void describe_flags(Writer& file, Writer::Variable v, const List& list) {
  std::vector<signed char> values;
  std::string meanings;
  for (const auto& one : list) {
    values.push_back(static_cast<signed char>(values.size()));
    std::string word(one.first);
    std::replace(word.begin(), word.end(), ' ', '_');
    meanings += (meanings.empty() ? "" : " ") + word;
  }
  file.attribute(v, "flag_values", values);
  file.attribute(v, "flag_meanings", meanings);
}

/// Variables with one number per input, whose unit stands in `input_unit`.
class FitNc {
 public:
  FitNc(const std::filesystem::path& path, const FitResult& r) : file_(path), r_(r) {}

  void write() {
    describe_file();
    const auto input = file_.dimension("input", inputs().size());
    const auto other = file_.dimension("other_input", inputs().size());
    const auto start = file_.dimension("start", r_.fit->starts.size());
    std::size_t points = 0;
    for (const auto& p : r_.fit->profiles) points += p.points.size();
    const auto point = file_.dimension("point", std::max<std::size_t>(points, 1));
    const auto measurement = file_.dimension("measurement", r_.file->problem.measurements.size());
    define_inputs(input, other);
    define_starts(start, input);
    define_profiles(point, input);
    define_measurements(measurement);
    file_.end_definitions();
    for (const auto& put : puts_) put();
    file_.close();
  }

 private:
  const std::vector<study::Input>& inputs() const { return study_of(r_).inputs; }

  void describe_file() {
    constexpr auto whole = Writer::whole_file;
    file_.attribute(whole, "Conventions", "CF-1.11");
    file_.attribute(whole, "title", r_.file->title);
    file_.attribute(whole, "source", "serosa " + r_.build.version + ", commit " + r_.build.commit);
    file_.attribute(whole, "comment", std::string(caution));
    file_.attribute(whole, "chi_square", units::shortest(r_.fit->chi_square));
    file_.attribute(whole, "degrees_of_freedom", units::shortest(r_.fit->freedom));
    file_.attribute(whole, "confidence", units::shortest(r_.file->settings.confidence));
    file_.attribute(whole, "threshold_of_the_rise_of_chi_square",
                    units::shortest(r_.fit->threshold));
    file_.attribute(whole, "seed", std::to_string(r_.file->settings.seed));
  }

  void numbers(const std::string& name, const std::string& meaning, const char* unit,
               const std::vector<int>& dimensions, std::vector<double> values) {
    const auto v = file_.doubles(name, dimensions);
    describe(file_, v, meaning, unit);
    for (double& x : values)
      if (!std::isfinite(x)) x = std::nan("");
    puts_.push_back([this, v, values = std::move(values)] { file_.put(v, std::span(values)); });
  }
  void words(const std::string& name, const std::string& meaning, int dimension,
             std::vector<std::string> values) {
    const auto v = file_.texts(name, {dimension});
    file_.attribute(v, "long_name", meaning);
    puts_.push_back([this, v, values = std::move(values)] {
      file_.put(v, std::span<const std::string>(values));
    });
  }
  template <class List>
  void flags(const std::string& name, const std::string& meaning, int dimension, const List& list,
             std::vector<signed char> values) {
    const auto v = file_.bytes(name, {dimension});
    file_.attribute(v, "long_name", meaning);
    describe_flags(file_, v, list);
    puts_.push_back([this, v, values = std::move(values)] {
      file_.put(v, std::span<const signed char>(values));
    });
  }
  template <class Get>
  std::vector<double> of_inputs(Get get) const {
    std::vector<double> all;
    for (std::size_t j = 0; j < inputs().size(); ++j) all.push_back(get(j));
    return all;
  }

  void define_inputs(int input, int other) {
    std::vector<std::string> names, units;
    std::vector<signed char> verdicts, low_open, high_open;
    for (std::size_t j = 0; j < inputs().size(); ++j) {
      names.push_back(inputs()[j].path);
      units.push_back(units::shown(inputs()[j].unit));
      verdicts.push_back(static_cast<signed char>(r_.fit->inputs[j].verdict));
      low_open.push_back(r_.fit->inputs[j].low_open);
      high_open.push_back(r_.fit->inputs[j].high_open);
    }
    static constexpr std::array open{std::pair{"closed", ""}, std::pair{"open", ""}};
    const auto& in = r_.fit->inputs;
    const auto& range = r_.file->problem.ranges;
    words("input_name", "Path of the input in a case file", input, names);
    words("input_unit", "Unit of the input's numbers", input, units);
    const char* const no_unit = nullptr;
    numbers("value", "Fitted value", no_unit, {input},
            of_inputs([&](auto j) { return in[j].value; }));
    numbers("low", "Lower end of the interval by profile likelihood", no_unit, {input},
            of_inputs([&](auto j) { return in[j].low; }));
    numbers("high", "Upper end of the interval by profile likelihood", no_unit, {input},
            of_inputs([&](auto j) { return in[j].high; }));
    flags("low_open", "Whether the interval is open below", input, open, low_open);
    flags("high_open", "Whether the interval is open above", input, open, high_open);
    numbers("standard_error", "Standard error by the Fisher information; missing where singular",
            no_unit, {input}, of_inputs([&](auto j) { return in[j].sd; }));
    numbers("lower_bound", "Lower bound of the fit", no_unit, {input},
            of_inputs([&](auto j) { return range[j].low; }));
    numbers("upper_bound", "Upper bound of the fit", no_unit, {input},
            of_inputs([&](auto j) { return range[j].high; }));
    flags("verdict", "What the data tell of the input", input, study::fit_verdicts, verdicts);
    numbers("correlation", "Correlation of the estimates by the Fisher information", "1",
            {input, other}, r_.fit->correlations);
  }

  void define_starts(int start, int input) {
    std::vector<double> chi_square, from, to;
    for (const auto& s : r_.fit->starts) {
      chi_square.push_back(s.chi_square);
      from.insert(from.end(), s.from.begin(), s.from.end());
      to.insert(to.end(), s.to.begin(), s.to.end());
    }
    numbers("start_chi_square", "Least chi-square that the search found", "1", {start}, chi_square);
    numbers("start_from", "Where the search began", nullptr, {start, input}, from);
    numbers("start_to", "Where the search ended", nullptr, {start, input}, to);
  }

  void define_profiles(int point, int input) {
    std::vector<std::string> names;
    std::vector<double> rise, values;
    for (std::size_t j = 0; j < r_.fit->profiles.size(); ++j)
      for (const auto& p : r_.fit->profiles[j].points) {
        names.push_back(inputs()[j].path);
        rise.push_back(p.rise);
        values.insert(values.end(), p.values.begin(), p.values.end());
      }
    if (names.empty()) {
      names.emplace_back();
      rise.push_back(std::nan(""));
      values.assign(inputs().size(), std::nan(""));
    }
    words("profile_input", "Input that was held", point, names);
    numbers("profile_rise", "Rise of chi-square above its least", "1", {point}, rise);
    numbers("profile_values", "Values of all inputs, the others fitted again", nullptr,
            {point, input}, values);
  }

  void define_measurements(int measurement) {
    const auto& p = r_.file->problem;
    std::vector<std::string> arms, figures, units;
    std::vector<double> time, measured, sd, scaled;
    for (std::size_t i = 0; i < p.measurements.size(); ++i) {
      const auto& m = p.measurements[i];
      arms.push_back(p.study.arms[m.arm].name);
      figures.push_back(p.observables[m.observable].name);
      units.push_back(units::shown(p.observables[m.observable].unit));
      time.push_back(m.time);
      measured.push_back(m.value);
      sd.push_back(m.sd);
      scaled.push_back(residual(r_, i) / m.sd);
    }
    words("arm", "Arm that was measured", measurement, arms);
    words("figure", "What was measured", measurement, figures);
    words("figure_unit", "Unit of the figure's numbers", measurement, units);
    numbers("time", "Time after birth", "h", {measurement}, time);
    numbers("measured", "Measured figure", nullptr, {measurement}, measured);
    numbers("measured_sd", "Standard deviation of its error", nullptr, {measurement}, sd);
    numbers("fitted", "Figure of the best fit", nullptr, {measurement}, r_.fit->figures);
    numbers("scaled_residual", "Measured less fitted, in units of the error", "1", {measurement},
            scaled);
  }

  Writer file_;
  const FitResult& r_;
  std::vector<std::function<void()>> puts_;
};

}  // namespace

void write_fit_nc(const std::filesystem::path& path, const FitResult& r) { FitNc(path, r).write(); }

std::string fit_manifest_json(const FitResult& r,
                              const std::vector<ResultsFolder::Written>& written) {
  using Json = nlohmann::ordered_json;
  const auto& p = r.file->problem;
  Json inputs = Json::array(), outputs = Json::array(), combinations = Json::array(),
       sources = Json::array(), arms = Json::array();
  for (std::size_t j = 0; j < p.study.inputs.size(); ++j) {
    const auto& in = r.fit->inputs[j];
    inputs.push_back({{"path", p.study.inputs[j].path},
                      {"unit", units::shown(p.study.inputs[j].unit)},
                      {"value", in.value},
                      {"low", in.low},
                      {"low_open", in.low_open},
                      {"high", in.high},
                      {"high_open", in.high_open},
                      {"verdict", word_of(in.verdict)}});
  }
  for (const auto& text : combination_sentences(r)) combinations.push_back(text);
  for (const auto& arm : p.study.arms) arms.push_back({{"name", arm.name}, {"title", arm.title}});
  for (const auto& source : r.file->study.sources)
    sources.push_back({{"name", source->path.filename().string()},
                       {"bytes", source->text.size()},
                       {"sha256", sha256(source->text)}});
  for (const auto& file : written)
    if (file.name != "log.txt")
      outputs.push_back({{"name", file.name}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  const auto& set = r.file->settings;
  const Json manifest{{"tool", "serosa"},
                      {"version", r.build.version},
                      {"commit", r.build.commit},
                      {"compiler", r.build.compiler},
                      {"build_type", r.build.build_type},
                      {"caution", caution},
                      {"fit", r.file->name},
                      {"title", r.file->title},
                      {"note", r.file->note},
                      {"arms", arms},
                      {"settings",
                       {{"starts", set.starts},
                        {"seed", set.seed},
                        {"confidence", set.confidence},
                        {"relative_tolerance", p.settings.relative_tolerance}}},
                      {"measurements", p.measurements.size()},
                      {"chi_square", r.fit->chi_square},
                      {"degrees_of_freedom", r.fit->freedom},
                      {"p", r.fit->freedom > 0 ? Json(r.fit->p) : Json()},
                      {"threshold", r.fit->threshold},
                      {"agreeing_starts", r.fit->agreeing},
                      {"fitted", inputs},
                      {"not_apart", combinations},
                      {"warnings", r.warnings},
                      {"inputs", sources},
                      {"outputs", outputs}};
  return manifest.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

void write_fit(ResultsFolder& folder, const FitResult& r,
               const std::vector<std::pair<std::string, std::string>>& extra_files,
               std::string_view log) {
  folder.write("fit.yaml", write_document(r.file->understood));
  folder.write("data.csv", r.file->data.source->text);
  const auto& arms = study_of(r).arms;
  const auto values = r.values();
  for (std::size_t a = 0; a < arms.size(); ++a) {
    const std::string text =
        "# " + std::string(caution) + "\n" + write_document(fitted_case(*r.file, a, values));
    folder.write(arms.size() == 1 ? "fitted.yaml" : "fitted/" + arms[a].name + ".yaml", text);
  }
  folder.write("fit.csv", fit_csv(r));
  folder.write("profiles.csv", profiles_csv(r));
  folder.write("residuals.csv", residuals_csv(r));
  folder.write("residual_summary.csv", residual_summary_csv(r));
  folder.write("starts.csv", starts_csv(r));
  folder.write("correlations.csv", correlations_csv(r));
  folder.write("combinations.csv", combinations_csv(r));
  folder.write("courses.csv", courses_csv(r));
  try {
    write_fit_nc(folder.temporary("fit.nc"), r);
  } catch (const NetcdfError& failure) {
    throw WriteError("cannot write into " + quote(folder.path().string()) + ": " + failure.what());
  }
  folder.put_in_place("fit.nc");
  for (const auto& [name, bytes] : extra_files) folder.write(name, bytes);
  folder.write("log.txt", log);
  folder.write("manifest.json", fit_manifest_json(r, folder.written()));
}

}  // namespace serosa::files
