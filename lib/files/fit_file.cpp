// SPDX-License-Identifier: Apache-2.0
#include "files/fit_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "files/csv.hpp"
#include "files/paths.hpp"
#include "files/reader.hpp"
#include "files/results.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

double ErrorRule::at(double figure) const {
  return std::sqrt(sd * sd + share * share * figure * figure);
}

namespace {

const KeyTable& error_keys() {
  static const KeyTable table{
      "error",
      "How far a measured figure may be off, by chance: one standard deviation.",
      {text("sd", "with unit, the same for every figure"),
       quantity("share", "1", "of the figure; both together add as squares")
           .possible(0, 10)
           .fallback("0")}};
  return table;
}

}  // namespace

const KeyTable& fit_keys() {
  static const auto of_a_study = [](const char* name) {
    return anything(name, "of a study; a fit passes it over");
  };
  static const KeyTable table{
      "fit",
      "Which inputs are fitted to measured figures.",
      {text("title", "a few words for tables and pages").required(), text("note", "what is asked"),
       text("case", "the one case, when there are no arms"),
       anything("arms", "several cases, as in a study; the data then have a column `arm`"),
       anything("vary", "what is fitted, as in a study; the ends of each law are its bounds")
           .required(),
       entries("errors", error_keys(), "the error of each figure that the data state none of")
           .fallback("{}"),
       count("starts", "searches, the first from the published values")
           .possible(1, 1000)
           .fallback("8"),
       count("seed", "chooses where the other searches start, and simulated errors")
           .possible(0, 9007199254740992.0)
           .fallback("1"),
       quantity("confidence", "1", "of all intervals").possible(0.5, 0.9999).fallback("95 %"),
       of_a_study("cohort"), of_a_study("correlations"), of_a_study("design"),
       of_a_study("outputs"), of_a_study("times"), of_a_study("series"), of_a_study("bands"),
       of_a_study("quantiles"), of_a_study("failed_runs"), of_a_study("sensitivity")}};
  return table;
}

namespace {

Node list_of(const std::vector<std::string>& texts, const Origin& origin) {
  Node list;
  list.shape = Node::Shape::list;
  list.origin = origin;
  for (const auto& text : texts) list.items.push_back(Node::make_text(text, origin));
  return list;
}

class FitReader {
 public:
  FitReader(const fs::path& path, const fs::path& data, const Models& models, Problems& problems)
      : path_(path), data_path_(data), models_(models), problems_(problems) {}

  FitFile read() {
    FitFile f;
    f.name = path_.stem().string();
    auto document = read_document(path_, problems_);
    f.data = read_fit_data(data_path_, problems_);
    if (!document || problems_.refused()) return f;
    Reader r(document->root, fit_keys(), problems_);
    f.title = r.text("title");
    f.note = r.text("note");
    r.text("case");
    r.anything("arms");
    vary_ = r.anything("vary");
    f.settings.starts = static_cast<std::size_t>(r.count("starts"));
    f.settings.seed = static_cast<std::uint64_t>(r.count("seed"));
    f.settings.confidence = r.quantity("confidence");
    pass_over(r);
    read_errors(r, f);
    if (problems_.refused()) return f;
    r.finish();
    read_inputs(*document, f);
    if (problems_.refused()) return f;
    bound(f);
    put_measurements(f);
    if (problems_.refused()) return f;
    if (f.problem.measurements.size() < f.problem.ranges.size())
      r.error("vary",
              fmt::format("{} inputs are to be fitted to {} figures", f.problem.ranges.size(),
                          f.problem.measurements.size()),
              "at least as many figures as inputs");
    f.understood = with_defaults(document->root, fit_keys());
    return f;
  }

 private:
  /// Keys that belong to a sweep; two of them would mean something and are told.
  void pass_over(Reader& r) {
    for (const char* key : {"cohort", "correlations"})
      if (r.anything(key))
        r.warn(key, "a fit passes this over: it fits one baby, and takes the inputs as they are");
    for (const char* key : {"design", "outputs", "times", "series", "bands", "quantiles",
                            "failed_runs", "sensitivity"})
      r.anything(key);
  }

  void read_errors(Reader& r, FitFile& f) {
    f.errors.resize(f.data.observables.size());
    for (std::size_t i = 0; i < f.errors.size(); ++i) f.errors[i].in_data = f.data.own_sd[i];
    std::vector<bool> told(f.errors.size(), false);
    for (auto& [name, error] : r.entries("errors")) {
      const auto& all = f.data.observables;
      const auto found =
          std::find_if(all.begin(), all.end(), [&n = name](const auto& o) { return o.name == n; });
      const std::string sd = error.text("sd");
      const double share = error.quantity("share");
      if (!error.given("sd") && !(share > 0))
        error.error("", "an error needs `sd`, `share`, or both", "{sd: 2 g}");
      error.finish();
      if (found == all.end()) {
        error.warn("", "the data have no column " + quote(name));
        continue;
      }
      const auto place = static_cast<std::size_t>(found - all.begin());
      if (f.errors[place].in_data)
        error.error("", "the data state this error themselves: " + quote(name + " sd"));
      told[place] = true;
      f.errors[place].share = share;
      if (sd.empty()) continue;
      std::string unit = found->unit == "degC" ? "K" : found->unit;
      if (unit == "g") unit = "g water";
      try {
        f.errors[place].sd = units::to_model(sd, unit);
        if (!(f.errors[place].sd > 0)) error.error("sd", "a standard deviation is larger than 0");
      } catch (const units::Error& fault) {
        error.error("sd", fault.what(), fault.expected());
      }
    }
    for (std::size_t i = 0; i < f.errors.size(); ++i)
      if (!told[i] && !f.errors[i].in_data)
        problems_.error(f.data.headings[i], {},
                        "no error is stated for " + quote(f.data.observables[i].name),
                        fmt::format("a column `{} sd`, or `errors: {{{}: {{sd: …}}}}` in {}",
                                    f.data.observables[i].name, f.data.observables[i].name,
                                    path_.filename().string()));
  }

  /// Arms and inputs are read as those of a study whose times are the data's.
  void read_inputs(const Document& document, FitFile& f) {
    double last = 0;
    for (const auto& v : f.data.values) last = std::max(last, v.time);
    if (!(last > 0))
      return problems_.error({f.data.source, 0, 0}, {},
                             "no figure was measured after the birth (0 h)");
    Document study;
    study.sources = document.sources;
    study.root = Node::make_map(document.root.origin);
    const auto put = [&](const std::string& key, Node value) {
      study.root.entries.push_back({key, value.origin, std::move(value)});
    };
    for (const Entry& entry : document.root.entries)
      if (entry.key == "title" || entry.key == "note" || entry.key == "case" ||
          entry.key == "arms" || entry.key == "vary")
        study.root.entries.push_back(entry);
    std::vector<std::string> outputs;
    for (const auto& o : f.data.observables) {
      const std::string name(simulate::output_list[o.output].name);
      if (std::find(outputs.begin(), outputs.end(), name) == outputs.end()) outputs.push_back(name);
    }
    const Origin& here = document.root.origin;
    put("outputs", list_of(outputs, here));
    put("times", list_of({units::from_model(last, "h")}, here));
    Node design = Node::make_map(here);
    design.entries.push_back({"kind", here, Node::make_text("random", here)});
    design.entries.push_back({"runs", here, Node::make_text("1", here)});
    put("design", std::move(design));
    f.study = read_study(std::move(study), path_, models_, problems_);
    f.study.sources.push_back(f.data.source);
  }

  /// The law of an input as the file gives it; nothing for one of a group of parameters.
  const Node* law_of(const std::string& path) const {
    return vary_ && vary_->is_map() ? vary_->find(path) : nullptr;
  }
  static bool published(const Node* law) {
    if (!law) return true;  // of a group
    if (law->is_text()) return law->text == "published";
    const Node* const kind = law->is_map() ? law->find("law") : nullptr;
    return kind && kind->text == "published";
  }

  void bound(FitFile& f) {
    auto& p = f.problem;
    p.study = f.study.study;
    if (p.study.inputs.empty())
      problems_.error(vary_ ? vary_->origin : Origin{}, "vary", "nothing is to be fitted",
                      "parameters.spread: published");
    if (p.study.inputs.size() > most_inputs)
      problems_.error(vary_->origin, "vary",
                      fmt::format("{} inputs are to be fitted; a fit takes at most {}",
                                  p.study.inputs.size(), most_inputs));
    for (const auto& input : p.study.inputs) {
      const Node* const law = law_of(input.path);
      const Origin& here = law ? law->origin : vary_->origin;
      const std::string path = joined("vary", input.path);
      study::FittedRange range{0, 1, 0.5, false};
      if (!input.is_number()) {
        problems_.error(here, path, "this input is a word; only numbers can be fitted");
      } else {
        const ParameterEntry* const parameter =
            input.parameter ? &models_.parameters[*input.parameter] : nullptr;
        range.low = input.law.lowest(), range.high = input.law.highest();
        if (parameter && published(law)) {
          range.low = parameter->model_range.low;
          range.high = parameter->model_range.high;
        }
        if (!std::isfinite(range.low) || !std::isfinite(range.high))
          problems_.error(here, path, "this law has no ends, so there are no bounds",
                          "{law: uniform, from: …, to: …}");
        else if (!(range.low < range.high))
          problems_.error(here, path, "there is one value only; nothing can be fitted");
        range.start = std::clamp(parameter ? parameter->model_value : input.law.quantile(0.5),
                                 std::min(range.low, range.high), std::max(range.low, range.high));
        // A range of this width asks for a factor rather than for a sum.
        range.logarithmic = range.low > 0 && range.high >= 5 * range.low && input.unit != "degC";
      }
      p.ranges.push_back(range);
    }
  }

  void put_measurements(FitFile& f) {
    auto& p = f.problem;
    p.observables = f.data.observables;
    std::vector<bool> used(p.study.arms.size(), false);
    std::map<std::string, bool> refused;
    std::string names;
    for (const auto& arm : p.study.arms) names += (names.empty() ? "" : ", ") + arm.name;
    if (!f.data.has_arms && p.study.arms.size() > 1)
      problems_.error({f.data.source, 0, 0}, {},
                      "the fit has several arms, so the data need a column `arm`", names);
    for (const auto& v : f.data.values) {
      std::size_t arm = 0;
      while (f.data.has_arms && arm < p.study.arms.size() && p.study.arms[arm].name != v.arm) ++arm;
      if (arm == p.study.arms.size()) {
        if (!refused[v.arm])
          problems_.error({v.origin.source, v.origin.line, 1}, {},
                          "the fit has no arm " + quote(v.arm), names);
        refused[v.arm] = true;
        continue;
      }
      used[arm] = true;
      const ErrorRule& rule = f.errors[v.observable];
      const double sd = rule.in_data ? v.sd : rule.at(v.value);
      if (!(sd > 0)) {
        problems_.error(v.origin, {},
                        "a share of 0 is no error: give this figure an `sd` beside its `share`");
        continue;
      }
      p.measurements.push_back({arm, v.observable, v.time, v.since, v.value, sd});
    }
    for (std::size_t a = 0; a < used.size(); ++a)
      if (!used[a] && !problems_.refused())
        problems_.warn({f.data.source, 0, 0}, {},
                       "nothing was measured in the arm " + quote(p.study.arms[a].name));
  }

  static constexpr std::size_t most_inputs = 40;

  fs::path path_, data_path_;
  const Models& models_;
  Problems& problems_;
  const Node* vary_ = nullptr;
};

}  // namespace

FitFile read_fit(const fs::path& path, const fs::path& data, const Models& models,
                 Problems& problems) {
  return FitReader(path, data, models, problems).read();
}

study::ErrorOf error_of(const FitFile& file) {
  return [errors = file.errors](const study::Measurement& m, double figure) {
    const ErrorRule& rule = errors[m.observable];
    if (rule.in_data) return m.sd;
    // A share alone of a figure near zero is no error; the measured one had one.
    return std::max(rule.at(figure), 1e-3 * m.sd);
  };
}

std::vector<double> values_of(const FitFile& file, const std::vector<std::string>& assignments) {
  std::vector<double> values;
  for (const auto& range : file.problem.ranges) values.push_back(range.start);
  Problems problems;
  for (const auto& text : assignments) {
    auto source = std::make_shared<Source>();
    source->name = "--truth";
    source->text = text;
    source->lines = {text};
    source->command_line = true;
    const Origin here{source, 1, 1};
    const auto equals = text.find('=');
    const std::string path = text.substr(0, equals);
    const auto& inputs = file.problem.study.inputs;
    const auto found = std::find_if(inputs.begin(), inputs.end(),
                                    [&](const auto& input) { return input.path == path; });
    if (equals == std::string::npos || found == inputs.end()) {
      std::string names;
      for (const auto& input : inputs) names += (names.empty() ? "" : ", ") + input.path;
      problems.error(here, {}, "a fitted input and its value are expected: PATH=VALUE", names);
      continue;
    }
    try {
      const auto j = static_cast<std::size_t>(found - inputs.begin());
      values[j] = units::to_model(text.substr(equals + 1), found->unit);
      const auto& range = file.problem.ranges[j];
      if (!(values[j] >= range.low && values[j] <= range.high))
        problems.error(here, path, "this value lies outside the bounds",
                       range_text({range.low, range.high}, found->unit));
    } catch (const units::Error& fault) {
      problems.error(here, path, fault.what(), fault.expected());
    }
  }
  problems.refuse_if_any();
  return values;
}

std::string simulated_csv(const FitFile& file, const std::vector<study::Measurement>& measurements,
                          std::span<const double> truth, std::uint64_t seed,
                          const std::string& program) {
  const auto& p = file.problem;
  std::string head = "# Simulated, not measured: made by " + program + " from " + file.name +
                     ".yaml.\n# Made with ";
  for (std::size_t j = 0; j < truth.size(); ++j)
    head += (j ? ", " : "") + p.study.inputs[j].path + " = " +
            units::from_model(truth[j], p.study.inputs[j].unit);
  head += ".\n# Errors: Gaussian, independent, seed " + std::to_string(seed) + "; one SD is";
  for (std::size_t i = 0; i < p.observables.size(); ++i) {
    const auto& o = p.observables[i];
    const auto& rule = file.errors[i];
    const std::string unit = o.unit == "degC" ? "K" : o.unit;
    head += (i ? ", " : " ") + o.name + " ";
    if (rule.in_data)
      head += "as stated";
    else if (rule.sd > 0)
      head += units::from_model(rule.sd, unit) +
              (rule.share > 0 ? fmt::format(" and {:.6g} %", 100 * rule.share) : "");
    else
      head += fmt::format("{:.6g} %", 100 * rule.share);
  }
  head += ".\n# " + std::string(caution) + "\n";
  CsvWriter csv;
  csv.text("time [h]");
  if (file.data.has_arms) csv.text("arm");
  for (std::size_t i = 0; i < p.observables.size(); ++i) {
    const auto& o = p.observables[i];
    csv.text(o.name + " [" + o.unit + "]");
    if (file.errors[i].in_data)
      csv.text(o.name + " sd [" + (o.unit == "degC" ? "K" : o.unit) + "]");
  }
  csv.end_row();
  // Figures of one line of the data stood on one line: measurements keep that order.
  for (std::size_t first = 0; first < measurements.size();) {
    const int line = file.data.values[first].origin.line;
    csv.number(measurements[first].time);
    if (file.data.has_arms) csv.text(p.study.arms[measurements[first].arm].name);
    std::map<std::size_t, const study::Measurement*> row;
    for (; first < measurements.size() && file.data.values[first].origin.line == line; ++first)
      row[measurements[first].observable] = &measurements[first];
    for (std::size_t i = 0; i < p.observables.size(); ++i) {
      const auto found = row.find(i);
      csv.number(found == row.end() ? std::nan("") : found->second->value);
      if (file.errors[i].in_data) csv.number(found == row.end() ? std::nan("") : found->second->sd);
    }
    csv.end_row();
  }
  return head + csv.bytes();
}

Node fitted_case(const FitFile& file, std::size_t arm, std::span<const double> values) {
  return case_of_run(file.study, arm, std::vector<double>(values.begin(), values.end()));
}

}  // namespace serosa::files
