// SPDX-License-Identifier: Apache-2.0
#include "files/study_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numeric>
#include <optional>

#include "files/key_values.hpp"
#include "files/paths.hpp"
#include "files/reader.hpp"
#include "files/sha256.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

namespace {

std::vector<std::string> output_names() {
  std::vector<std::string> names;
  for (const auto& output : simulate::output_list) names.emplace_back(output.name);
  return names;
}

const KeyTable& arm_keys() {
  static const KeyTable table{
      "arm",
      "One way of caring for the babies.",
      {text("case", "a case file beside the study, or the name of one that comes along").required(),
       anything("set", "inputs that differ from that case, as `timeline.wrap.at: 20 min`")}};
  return table;
}

const KeyTable& design_keys() {
  static const KeyTable table{
      "design",
      "Which combinations of the inputs are run.",
      {word("kind", {"random", "latin-hypercube", "sobol", "full-grid"},
            "how the combinations are chosen")
           .fallback("latin-hypercube"),
       count("runs", "babies; each is run under every arm. A full grid needs none")
           .possible(1, 1e9),
       count("seed", "chooses the random numbers").possible(0, 9007199254740992.0).fallback("1")}};
  return table;
}

const KeyTable& correlation_keys() {
  static const KeyTable table{
      "correlation",
      "Two inputs that go together.",
      {texts("inputs", "the two paths").length(2, 2).required(),
       quantity("rank", "1", "rank correlation (Spearman)").possible(-1, 1).required(),
       text("source", "where it comes from"), text("note", "conditions, doubts")}};
  return table;
}

const KeyTable& series_keys() {
  static const KeyTable table{
      "series",
      "Courses over time, beside the values at single times.",
      {quantity("every", "h", "grid").possible(1.0 / 60, 100).fallback("10 min"),
       words("outputs", output_names(), "which; those of the study when left out").length(1, 100),
       quantities("quantiles", "1", "bands over the runs")
           .possible(0, 1)
           .fallback("[5 %, 25 %, 50 %, 75 %, 95 %]"),
       flag("all_runs", "keep the course of every run too").fallback("false")}};
  return table;
}

const KeyTable& band_keys() {
  static const KeyTable table{
      "band",
      "A range of an output; the share of runs in it is reported.",
      {word("output", output_names(), "which").required(),
       text("above", "its lower end, with unit"), text("below", "its upper end, with unit")}};
  return table;
}

Key vary_key() {
  return anything("vary", "inputs that vary, by their path in a case file, or `parameters.NAME`");
}
Key correlations_key() {
  return maps("correlations", correlation_keys(), "pairs of inputs that go together");
}

}  // namespace

const KeyTable& law_keys() {
  const auto value = [](const char* name, const char* help) { return text(name, help).required(); };
  static const KeyTable table{
      "varied input",
      "How one input varies. In place of the map: a list of values, or `published`.",
      {word("law",
            {"published", "uniform", "normal", "lognormal", "triangular", "beta", "empirical",
             "list", "grid"},
            "the law")
           .required(),
       text("source", "where the law comes from"), text("note", "conditions, doubts")},
      "law",
      {{"published", {}},
       {"uniform", {value("from", "lower end"), value("to", "upper end")}},
       {"normal",
        {value("mean", "before the ends are cut off"), value("sd", "standard deviation"),
         text("from", "lower end"), text("to", "upper end")}},
       {"lognormal",
        {value("median", "before the ends are cut off"),
         quantity("factor", "1", "by which one standard deviation multiplies")
             .possible(1, 1000)
             .required(),
         text("from", "lower end"), text("to", "upper end")}},
       {"triangular",
        {value("from", "lower end"), value("mode", "most frequent value"),
         value("to", "upper end")}},
       {"beta",
        {quantity("a", "1", "exponent at the lower end").possible(0.01, 1000).required(),
         quantity("b", "1", "exponent at the upper end").possible(0.01, 1000).required(),
         value("from", "lower end"), value("to", "upper end")}},
       {"empirical",
        {value("file", "a CSV file beside the study"), value("column", "the column's heading"),
         text("unit", "of its numbers; the model's when left out")}},
       {"list",
        {texts("values", "the values").length(1, 1000).required(),
         quantities("weights", "1", "how often each, against the others")
             .possible(0, 1e9)
             .length(1, 1000)}},
       {"grid",
        {value("from", "first value"), value("to", "last value"),
         count("points", "how many values").possible(2, 10000).required(),
         word("spacing", {"even", "logarithmic"}, "of the values").fallback("even")}}}};
  return table;
}

const KeyTable& cohort_keys() {
  static const KeyTable table{"cohort",
                              "A virtual group of babies.",
                              {text("title", "a few words").required(),
                               text("note", "who they are"), vary_key(), correlations_key()}};
  return table;
}

const KeyTable& study_keys() {
  static const KeyTable table{
      "study",
      "Many babies, each under every arm.",
      {text("title", "a few words for tables and pages").required(), text("note", "what is asked"),
       text("case", "the one case, when there are no arms"),
       entries("arms", arm_keys(), "ways of caring for the same babies, by name"),
       file("cohort", "cohorts", "who the babies are"), vary_key(), correlations_key(),
       map("design", design_keys(), "which combinations are run").fallback("{}"),
       words("outputs", output_names(), "what is kept").length(1, 100).required(),
       quantities("times", "h", "when; the last is the end of the runs")
           .possible(0, 1000)
           .length(1, 50)
           .required(),
       map("series", series_keys(), "courses over time"),
       entries("bands", band_keys(), "ranges whose share is reported").fallback("{}"),
       quantities("quantiles", "1", "of the outputs")
           .possible(0, 1)
           .length(1, 50)
           .fallback("[5 %, 25 %, 50 %, 75 %, 95 %]"),
       quantity("confidence", "1", "of all intervals").possible(0.5, 0.9999).fallback("95 %"),
       word("failed_runs", {"report", "exclude"},
            "report: no statistics when a run failed; exclude: statistics of the others")
           .fallback("report")}};
  return table;
}

study::Law published_law(const ParameterEntry& p) {
  using study::Law;
  const double low = p.model_range.low, high = p.model_range.high, width = high - low;
  constexpr double two_sided = 2 * 1.9599639845400545;  // 95 % of a normal law
  switch (p.distribution) {
    case Distribution::uniform:
      return Law::uniform(low, high);
    case Distribution::triangular:
      return Law::triangular(low, p.model_value, high);
    case Distribution::normal:
      return Law::normal(0.5 * (low + high), width / two_sided, low - 0.5 * width,
                         high + 0.5 * width);
    case Distribution::lognormal:
      return Law::lognormal(physics::sqrt(low * high), physics::pow(high / low, 1 / two_sided),
                            std::max(0.0, low - 0.5 * width), high + 0.5 * width);
    case Distribution::fixed:
      break;
  }
  throw std::invalid_argument("this parameter is fixed and never drawn");
}

namespace {

std::vector<std::string> parts_of(std::string_view path) {
  std::vector<std::string> parts;
  while (true) {
    const auto dot = path.find('.');
    parts.emplace_back(path.substr(0, dot));
    if (dot == std::string_view::npos) return parts;
    path.remove_prefix(dot + 1);
  }
}

/// What a path of a case file leads to.
struct Target {
  const Key* key = nullptr;
  bool absent_act = false;  ///< it leads into an act that this case does not have
};

Target target_of(const Node& root, const std::string& path) {
  const KeyTable* table = &case_keys();
  const Node* node = &root;
  std::string entry_name;
  const auto parts = parts_of(path);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const std::string variant = node ? chosen_variant(*node, *table, entry_name) : std::string();
    const Key* const key = find_key(*table, variant, parts[i]);
    if (!key) return {};
    if (i + 1 == parts.size()) return {key};
    node = node ? node->find(parts[i]) : nullptr;
    table = key->table;
    entry_name.clear();
    if (key->kind == KeyKind::entries) {
      entry_name = parts[++i];
      node = node ? node->find(entry_name) : nullptr;
      if (!node) return {nullptr, true};
      if (i + 1 == parts.size()) return {};
    } else if (key->kind != KeyKind::map) {
      return {};
    }
  }
  return {};
}

/// The values of a column of a CSV file: headings in the first row, plain cells.
std::vector<double> column_of(const Source& table, const std::string& name, Reader& r) {
  const auto cells_of = [](const std::string& line) {
    std::vector<std::string> cells(1);
    bool quoted = false;
    for (const char c : line) {
      if (c == '"')
        quoted = !quoted;
      else if (c == ',' && !quoted)
        cells.emplace_back();
      else if (c != '\r')
        cells.back() += c;
    }
    return cells;
  };
  std::vector<double> values;
  if (table.lines.empty()) return values;
  const auto heads = cells_of(table.lines.front());
  const auto head = std::find(heads.begin(), heads.end(), name);
  if (head == heads.end()) {
    r.error("column", "there is no such column", fmt::format("one of {}", fmt::join(heads, ", ")));
    return values;
  }
  const auto place = static_cast<std::size_t>(head - heads.begin());
  for (std::size_t i = 1; i < table.lines.size(); ++i) {
    if (table.lines[i].find_first_not_of(" \r,") == std::string::npos) continue;
    const auto cells = cells_of(table.lines[i]);
    try {
      values.push_back(units::to_number(place < cells.size() ? cells[place] : std::string()));
    } catch (const units::Error&) {
      r.problems().error({std::make_shared<const Source>(table), static_cast<int>(i + 1), 1}, {},
                         "there is no number in the column " + quote(name));
      break;
    }
  }
  if (values.empty() && !r.problems().refused()) r.error("column", "the column is empty");
  return values;
}

/// Reads one study.
class StudyReader {
 public:
  StudyReader(const fs::path& path, const Models& models, Problems& problems)
      : path_(path), models_(models), problems_(problems) {}

  StudyFile read() {
    StudyFile f;
    f.study.name = path_.stem().string();
    auto document = read_document(path_, problems_);
    if (!document) return f;
    f.sources = document->sources;
    Reader r(document->root, study_keys(), problems_);
    study::Study& s = f.study;
    s.title = r.text("title");
    s.note = r.text("note");
    read_times(r, s);
    read_arms(r, f);
    read_inputs(r, f);
    read_design(r, s);
    read_outputs(r, s);
    if (problems_.refused()) return f;
    r.finish();
    bind(r, f);
    if (problems_.refused()) return f;
    understand(document->root, f);
    return f;
  }

 private:
  // ---- Arms --------------------------------------------------------------------------------

  struct ArmSource {
    Node root;  ///< complete
    Origin origin;
  };

  void read_times(Reader& r, study::Study& s) {
    s.times = r.quantities("times");
    if (problems_.refused()) return;
    std::sort(s.times.begin(), s.times.end());
    s.times.erase(std::unique(s.times.begin(), s.times.end()), s.times.end());
    if (s.times.back() <= 0) r.error("times", "the last time must lie after the birth");
  }

  fs::path case_path(const std::string& name, const Origin& origin, const std::string& key_path) {
    std::error_code ignored;
    const fs::path beside = path_.parent_path() / name;
    if (fs::is_regular_file(beside, ignored)) return beside;
    const std::string stem =
        fs::path(name).extension() == ".yaml" ? fs::path(name).stem().string() : name;
    return find_data_file(models_.folder, "cases", stem, origin, key_path, problems_)
        .value_or(fs::path());
  }

  void read_arm(const std::string& name, const std::string& file, const Origin& origin,
                const std::string& key_path, const Node* changes, StudyFile& f) {
    if (problems_.refused()) return;
    const fs::path path = case_path(file, origin, key_path);
    if (path.empty()) return;
    auto document = read_based_document(path, models_.folder, problems_);
    if (!document) return;
    for (const auto& source : document->sources) add_source(f, source);
    if (changes && !changes->is_map())
      return problems_.error(changes->origin, joined(key_path, "set"), "a map is expected",
                             "timeline.wrap.at: 20 min");
    if (changes)
      for (const Entry& change : changes->entries) {
        if (!change.value.is_text()) {
          problems_.error(change.value.origin, change.key, "a single value is expected");
          continue;
        }
        set_value(document->root, change.key + "=" + change.value.text, problems_);
      }
    const auto& times = f.study.times;
    set_value(document->root, "until=" + units::from_model(times.back(), "h"), problems_);
    std::string list;
    for (const double t : times) list += (list.empty() ? "" : ", ") + units::from_model(t, "h");
    set_value(document->root, "report_at=[" + list + "]", problems_);
    if (problems_.refused()) return;
    CaseFile c = read_case(std::move(document->root), name, models_, problems_);
    if (problems_.refused()) return;
    arms_.push_back({std::move(c.understood), origin});
    std::string title = c.c.title;
    if (changes)
      for (const Entry& change : changes->entries)
        title += (&change == &changes->entries.front() ? "; " : ", ") + change.key + " " +
                 change.value.text;
    f.study.arms.push_back({name, title, {}});
  }

  void read_arms(Reader& r, StudyFile& f) {
    const std::string single = r.text("case");
    auto arms = r.entries("arms");
    if (problems_.refused()) return;
    if (single.empty() == arms.empty())
      return r.error(single.empty() ? "" : "case", "a study names one `case`, or several `arms`",
                     "case: exposed.yaml");
    if (!single.empty())
      return read_arm(fs::path(single).stem().string(), single, r.origin("case"), "case", nullptr,
                      f);
    for (auto& [name, arm] : arms) {
      if (name.find_first_of("/\\\n\t\",;=") != std::string::npos || name.front() == '.') {
        arm.error("", "an arm's name becomes a file's: letters, digits, blanks and - only");
        continue;
      }
      const std::string file = arm.text("case");
      const Node* const changes = arm.anything("set");
      arm.finish();
      read_arm(name, file, arm.origin("case"), joined("arms", name), changes, f);
    }
  }

  void add_source(StudyFile& f, const std::shared_ptr<const Source>& source) {
    for (const auto& known : f.sources)
      if (known->path == source->path) return;
    f.sources.push_back(source);
  }

  // ---- Inputs ------------------------------------------------------------------------------

  void read_inputs(Reader& r, StudyFile& f) {
    if (problems_.refused()) return;
    const auto own_cohort = r.file("cohort", models_.folder);
    std::optional<Document> cohort;
    const Node* const vary = r.anything("vary");
    if (own_cohort) {
      f.cohort = own_cohort->stem().string();
      cohort = read_document(*own_cohort, problems_);
      if (!cohort) return;
      for (const auto& source : cohort->sources) add_source(f, source);
      Reader c(cohort->root, cohort_keys(), problems_);
      c.text("title");
      c.text("note");
      if (const Node* theirs = c.anything("vary")) read_vary(*theirs, true, f);
      for (auto& pair : c.maps("correlations")) read_correlation(pair, f);
      c.finish();
    }
    if (vary) read_vary(*vary, false, f);
    if (problems_.refused()) return;
    for (auto& pair : r.maps("correlations")) read_correlation(pair, f);
    tie(r, f);
  }

  void read_vary(const Node& vary, bool of_cohort, StudyFile& f) {
    if (vary.is_text()) return read_all(vary, f);
    if (!vary.is_map())
      return problems_.error(vary.origin, "vary", "a map of inputs is expected",
                             "baby.weight: {law: normal, mean: 2562 g, sd: 539 g}");
    std::vector<const Entry*> groups;
    for (const Entry& entry : vary.entries)
      if (entry.key == "parameters")
        groups.push_back(&entry);
      else
        read_input(entry, of_cohort, f);
    // Groups come last: an input named by itself keeps its own law.
    for (const Entry* group : groups) {
      if (group->value.is_text())
        read_all(group->value, f);
      else
        problems_.error(group->value.origin, "vary.parameters", "a text is expected",
                        "all graded assumption");
    }
  }

  /// `all`, or `all graded assumption, animal`.
  void read_all(const Node& node, StudyFile& f) {
    std::vector<Grade> grades;
    const std::string text = node.text;
    const auto refuse = [&] {
      std::vector<std::string> words;
      for (const auto grade : all_grades()) words.emplace_back(word_of(grade));
      problems_.error(
          node.origin, "vary", "this group of parameters is not known",
          fmt::format("all, or all graded followed by some of {}", fmt::join(words, ", ")));
    };
    constexpr std::string_view begin = "all graded ";
    if (text.starts_with(begin)) {
      std::string_view rest = std::string_view(text).substr(begin.size());
      while (!rest.empty()) {
        const auto comma = std::min(rest.find(','), rest.size());
        std::string_view one = rest.substr(0, comma);
        while (one.starts_with(' ')) one.remove_prefix(1);
        while (one.ends_with(' ')) one.remove_suffix(1);
        rest.remove_prefix(std::min(comma + 1, rest.size()));
        bool known = false;
        for (const auto grade : all_grades())
          if (word_of(grade) == one) grades.push_back(grade), known = true;
        if (!known) return refuse();
      }
    } else if (text == "all") {
      grades = all_grades();
    } else {
      return refuse();
    }
    for (const auto& p : models_.parameters) {
      if (p.distribution == Distribution::fixed ||
          std::find(grades.begin(), grades.end(), p.grade) == grades.end() ||
          find_input("parameters." + p.name, f))
        continue;
      study::Input input = parameter_input(p);
      publish(input, p);
      f.study.inputs.push_back(std::move(input));
      origins_.push_back(node.origin);
    }
  }

  static std::vector<Grade> all_grades() {
    return {
#define SEROSA_ITEM(name, word, meaning) Grade::name,
        SEROSA_GRADES(SEROSA_ITEM)
#undef SEROSA_ITEM
    };
  }

  static study::Input* find_input(const std::string& path, StudyFile& f) {
    for (auto& input : f.study.inputs)
      if (input.path == path) return &input;
    return nullptr;
  }

  study::Input parameter_input(const ParameterEntry& p) const {
    study::Input input;
    input.path = "parameters." + p.name;
    input.meaning = p.name;
    std::replace(input.meaning.begin(), input.meaning.end(), '_', ' ');
    input.unit = p.model_unit;
    input.parameter = static_cast<std::size_t>(&p - models_.parameters.data());
    return input;
  }

  void publish(study::Input& input, const ParameterEntry& p) const {
    input.law = published_law(p);
    input.law_text = fmt::format("{}, {} to {} (published)", word_of(p.distribution),
                                 units::shortest(p.model_range.low),
                                 units::from_model(p.model_range.high, p.model_unit));
    input.source = p.source_key + ", " + std::string(word_of(p.grade));
  }

  void read_input(const Entry& entry, bool of_cohort, StudyFile& f) {
    const std::string& path = entry.key;
    study::Input input;
    const Key* key = nullptr;
    const ParameterEntry* parameter = nullptr;
    constexpr std::string_view group = "parameters.";
    if (path.starts_with(group)) {
      parameter = models_.find(path.substr(group.size()));
      if (!parameter) {
        std::vector<std::string> names;
        for (const auto& p : models_.parameters) names.push_back(p.name);
        const std::string near = units::nearest(path.substr(group.size()), names);
        return problems_.error(
            entry.origin, "vary",
            "there is no such parameter" + (near.empty() ? "" : "; did you mean " + near + "?"));
      }
      input = parameter_input(*parameter);
    } else {
      bool absent = false;
      for (const auto& arm : arms_) {
        const Target target = target_of(arm.root, path);
        absent = absent || target.absent_act;
        if (!key) key = target.key;
      }
      if (!key)
        return problems_.error(
            entry.origin, "vary",
            absent ? "no arm of the study has such an act" : "a case file has no such input",
            "a path such as baby.weight, timeline.wrap.at or parameters.spread");
      input.path = path;
      input.meaning = key->help;
      input.unit = key->unit;
      input.possible_low = key->possible_range.low;
      input.possible_high = key->possible_range.high;
    }
    input.of_cohort = of_cohort;
    const std::size_t before = problems_.errors();
    if (parameter || key->kind == KeyKind::quantity)
      read_number_law(entry, key, parameter, input, f);
    else
      read_words(entry, *key, input);
    if (problems_.errors() != before) return;
    if (study::Input* known = find_input(path, f)) {
      input.of_cohort = input.of_cohort || known->of_cohort;
      *known = std::move(input);
      return;
    }
    f.study.inputs.push_back(std::move(input));
    origins_.push_back(entry.origin);
  }

  /// Texts of a list of values, with weights; nothing when it is something else.
  struct Values {
    std::vector<std::pair<std::string, Origin>> texts;
    std::vector<double> weights;
  };
  std::optional<Values> listed(const Entry& entry) {
    Values v;
    const auto take = [&](const Node& list) {
      for (const Node& item : list.items) {
        if (!item.is_text()) problems_.error(item.origin, entry.key, "a single value is expected");
        v.texts.emplace_back(item.text, item.origin);
      }
    };
    if (entry.value.is_list()) {
      take(entry.value);
      return v;
    }
    const Node* const law = entry.value.find("law");
    if (!law || law->text != "list") return std::nullopt;
    Reader r(entry.value, law_keys(), problems_, joined("vary", entry.key));
    r.texts("values");
    if (const Node* list = entry.value.find("values"); list && list->is_list()) take(*list);
    v.weights = r.quantities("weights");
    return v;
  }

  static std::string list_text(const Values& v) {
    std::string text = "one of ";
    for (std::size_t i = 0; i < v.texts.size() && i < 12; ++i) {
      text += (i ? ", " : "") + v.texts[i].first;
      if (!v.weights.empty()) text += fmt::format(" (weight {})", units::shortest(v.weights[i]));
    }
    if (v.texts.size() > 12) text += fmt::format(" … {}", v.texts.back().first);
    return text;
  }

  template <class Make>
  void make_law(study::Input& input, const Origin& origin, Make make) {
    try {
      input.law = make();
    } catch (const std::invalid_argument& refusal) {
      problems_.error(origin, joined("vary", input.path), refusal.what());
    }
  }

  void read_words(const Entry& entry, const Key& key, study::Input& input) {
    const auto v = listed(entry);
    if (!v)
      return problems_.error(entry.value.origin, joined("vary", entry.key),
                             "this input takes words or whole numbers: give a list of them",
                             "[a, b], or {law: list, values: [a, b], weights: [1, 2]}");
    if (v->texts.size() > 120)
      return problems_.error(entry.value.origin, joined("vary", entry.key), "at most 120 words");
    input.unit = "1";
    std::vector<double> numbers;
    for (const auto& [text, origin] : v->texts) {
      check_value(key, Node::make_text(text, origin), joined("vary", entry.key), problems_);
      if (key.kind == KeyKind::file)
        find_data_file(models_.folder, key.folder, text, origin, joined("vary", entry.key),
                       problems_);
      numbers.push_back(static_cast<double>(input.words.size()));
      input.words.push_back(text);
    }
    input.law_text = list_text(*v);
    note_source(entry, input);
    make_law(input, entry.value.origin, [&] { return study::Law::levels(numbers, v->weights); });
  }

  static void note_source(const Entry& entry, study::Input& input) {
    if (!entry.value.is_map()) return;
    if (const Node* source = entry.value.find("source")) input.source = source->text;
  }

  void read_number_law(const Entry& entry, const Key* key, const ParameterEntry* parameter,
                       study::Input& input, StudyFile& f) {
    const std::string here = joined("vary", entry.key);
    const auto number = [&](const std::string& text, const Origin& origin,
                            const std::string& unit) {
      try {
        return units::to_model(text, unit);
      } catch (const units::Error& error) {
        problems_.error(origin, here, error.what(), error.expected());
        return std::nan("");
      }
    };
    note_source(entry, input);
    if (const auto v = listed(entry)) {
      std::vector<double> numbers;
      for (const auto& [text, origin] : v->texts) {
        const double x = number(text, origin, input.unit);
        if (x < input.possible_low || x > input.possible_high)
          problems_.error(origin, here, quote(text) + " is not possible",
                          range_text({input.possible_low, input.possible_high}, input.unit));
        numbers.push_back(x);
      }
      input.law_text = list_text(*v);
      if (!problems_.refused())
        make_law(input, entry.value.origin,
                 [&] { return study::Law::levels(numbers, v->weights); });
      return;
    }
    const Node* const told = entry.value.is_map() ? entry.value.find("law") : nullptr;
    const bool published =
        entry.value.is_text() ? entry.value.text == "published" : told && told->text == "published";
    if (entry.value.is_text() && !published)
      return problems_.error(entry.value.origin, here, "a law or a list is expected",
                             "published, [1 min, 3 min], or {law: uniform, from: …, to: …}");
    if (published) {
      if (parameter && parameter->distribution != Distribution::fixed)
        return publish(input, *parameter);
      if (parameter)
        return problems_.error(entry.origin, here, "this parameter is fixed and never drawn");
      if (!std::isfinite(key->published_range.low) || !std::isfinite(key->published_range.high))
        return problems_.error(entry.value.origin, here,
                               "this input has no published range; give a law");
      input.law_text =
          "uniform over the published range, " + range_text(key->published_range, key->unit);
      input.source = key->published_source;
      return make_law(input, entry.value.origin, [&] {
        return study::Law::uniform(key->published_range.low, key->published_range.high);
      });
    }
    Reader r(entry.value, law_keys(), problems_, here);
    const std::string law = r.variant();
    if (law.empty()) return;  // reported
    const auto value = [&](const char* name) {
      return number(r.text(name), r.origin(name), input.unit);
    };
    const auto end = [&](const char* name, double otherwise) {
      return r.given(name) ? value(name) : otherwise;
    };
    const std::string spread_unit = input.unit == "degC" ? "K" : input.unit;
    input.law_text = law;
    for (const Entry& part : entry.value.entries)
      if (part.key != "law" && part.key != "source" && part.key != "note" && part.value.is_text())
        input.law_text += (part.key == entry.value.entries.front().key ? " " : ", ") + part.key +
                          " " + part.value.text;
    const double low = input.possible_low, high = input.possible_high;
    const auto make = [&](auto maker) {
      if (!problems_.refused()) make_law(input, entry.value.origin, maker);
    };
    using study::Law;
    if (law == "uniform") {
      const double a = value("from"), b = value("to");
      make([&] { return Law::uniform(a, b); });
    } else if (law == "normal") {
      const double mean = value("mean"), sd = number(r.text("sd"), r.origin("sd"), spread_unit);
      const double a = end("from", -std::numeric_limits<double>::infinity());
      const double b = end("to", std::numeric_limits<double>::infinity());
      make([&] { return Law::normal(mean, sd, a, b); });
    } else if (law == "lognormal") {
      const double median = value("median"), factor = r.quantity("factor");
      const double a = end("from", 0), b = end("to", std::numeric_limits<double>::infinity());
      make([&] { return Law::lognormal(median, factor, a, b); });
    } else if (law == "triangular") {
      const double a = value("from"), mode = value("mode"), b = value("to");
      make([&] { return Law::triangular(a, mode, b); });
    } else if (law == "beta") {
      const double p = r.quantity("a"), q = r.quantity("b"), a = value("from"), b = value("to");
      make([&] { return Law::beta(p, q, a, b); });
    } else if (law == "grid") {
      const double a = value("from"), b = value("to");
      const auto points = static_cast<std::size_t>(r.count("points"));
      const bool even = r.word("spacing") != "logarithmic";
      if (!even && !(a > 0 && b > 0))
        return r.error("spacing", "a logarithmic grid needs ends above zero");
      make([&] {
        std::vector<double> levels;
        for (std::size_t i = 0; i < points; ++i) {
          const double share = static_cast<double>(i) / static_cast<double>(points - 1);
          levels.push_back(
              i + 1 == points ? b
              : i == 0        ? a
              : even          ? a + share * (b - a)
                     : physics::exp(physics::log(a) + share * (physics::log(b) - physics::log(a))));
        }
        return Law::levels(levels);
      });
    } else if (law == "empirical") {
      auto values = measured(r, f);
      if (problems_.refused()) return;
      const std::string unit = r.given("unit") ? r.text("unit") : input.unit;
      try {
        for (double& x : values) x = units::convert(x, unit, input.unit);
      } catch (const units::Error& error) {
        return r.error("unit", error.what(), error.expected());
      }
      input.law_text += fmt::format(" ({} values)", values.size());
      make([&] { return Law::empirical(values); });
    }
    if (problems_.refused()) return;
    // Grids and lists are exact; a law's far ends may be cut by what is possible run by run.
    if (input.law.level_count() > 0 || law == "uniform" || law == "triangular" || law == "beta")
      if (input.law.lowest() < low || input.law.highest() > high)
        problems_.error(entry.value.origin, here, "the law reaches what is not possible",
                        range_text({low, high}, input.unit));
  }

  std::vector<double> measured(Reader& r, StudyFile& f) {
    const std::string name = r.text("file");
    const fs::path relative(name);
    if (relative.is_absolute() ||
        std::find(relative.begin(), relative.end(), fs::path("..")) != relative.end()) {
      r.error("file", "a file beside the study is expected", "weights.csv");
      return {};
    }
    auto source =
        read_source(path_.parent_path() / relative, problems_, {64u << 20}, r.origin("file"));
    if (!source) return {};
    auto named = std::make_shared<Source>(*source);
    named->name = relative.generic_string();
    bool known = false;
    for (const auto& table : f.tables) known = known || table->name == named->name;
    if (!known) f.tables.push_back(named), f.sources.push_back(source);
    return column_of(*source, r.text("column"), r);
  }

  // ---- Correlations, design, outputs -------------------------------------------------------

  struct Bound {
    std::string one, other;
    double rank;
    Origin origin;
  };

  void read_correlation(Reader& r, StudyFile&) {
    const auto inputs = r.texts("inputs");
    const double rank = r.quantity("rank");
    r.text("source");
    r.text("note");
    if (inputs.size() == 2) bound_.push_back({inputs[0], inputs[1], rank, r.origin("inputs")});
  }

  void tie(Reader& r, StudyFile& f) {
    std::vector<study::Copula::Pair> pairs;
    for (const Bound& b : bound_) {
      const auto place = [&](const std::string& path) {
        for (std::size_t j = 0; j < f.study.inputs.size(); ++j)
          if (f.study.inputs[j].path == path) return j;
        problems_.error(b.origin, "correlations", quote(path) + " does not vary in this study");
        return std::size_t{0};
      };
      const auto one = place(b.one), other = place(b.other);
      if (problems_.refused()) return;
      pairs.push_back({one, other, b.rank});
    }
    try {
      f.study.copula = study::Copula(pairs);
    } catch (const std::invalid_argument& refusal) {
      r.error("correlations", refusal.what());
    }
  }

  void read_design(Reader& r, study::Study& s) {
    Reader d = r.map("design");
    static constexpr study::DesignKind kinds[] = {
        study::DesignKind::random, study::DesignKind::latin_hypercube, study::DesignKind::sobol,
        study::DesignKind::full_grid};
    s.design.kind = kinds[d.which("kind")];
    const bool given = d.given("runs");
    const long runs = given ? d.count("runs") : 0;
    s.design.seed = static_cast<std::uint64_t>(d.count("seed"));
    if (problems_.refused()) return;
    for (const auto& input : s.inputs) s.design.names.push_back(input.path);
    if (s.design.kind == study::DesignKind::full_grid) {
      full_grid(d, s);
      if (given && s.design.runs != static_cast<std::uint64_t>(runs))
        d.error("runs",
                fmt::format("this full grid has {} combinations; leave `runs` out", s.design.runs));
      return;
    }
    if (!given) return d.error("runs", "the number of runs is missing", "runs: 1000");
    s.design.runs = static_cast<std::uint64_t>(runs);
    if (s.design.kind == study::DesignKind::sobol && s.inputs.size() > study::most_sobol_inputs)
      d.error("kind",
              fmt::format("a Sobol' sequence takes at most {} inputs", study::most_sobol_inputs));
  }

  void full_grid(Reader& d, study::Study& s) {
    double runs = 1;
    for (const auto& input : s.inputs) {
      if (input.law.level_count() == 0)
        return d.error("kind",
                       "a full grid needs lists or grids; " + quote(input.path) + " has a law");
      s.design.levels.push_back(input.law.level_count());
      runs *= static_cast<double>(input.law.level_count());
    }
    if (!bound_.empty()) return d.error("kind", "a full grid takes no correlations");
    if (runs > 1e9)
      return d.error("kind",
                     fmt::format("this full grid has {:.3g} combinations: at most 1e9", runs));
    s.design.runs = static_cast<std::uint64_t>(runs);
  }

  static simulate::output::Index output_of(const std::string& name) {
    std::size_t i = 0;
    while (i + 1 < simulate::output::count && simulate::output_list[i].name != name) ++i;
    return static_cast<simulate::output::Index>(i);
  }

  std::vector<simulate::output::Index> outputs_of(const std::vector<std::string>& names) {
    std::vector<simulate::output::Index> outputs;
    for (const auto& name : names) {
      const auto output = output_of(name);
      if (std::find(outputs.begin(), outputs.end(), output) == outputs.end())
        outputs.push_back(output);
    }
    return outputs;
  }

  static void in_order(std::vector<double>& quantiles) {
    std::sort(quantiles.begin(), quantiles.end());
    quantiles.erase(std::unique(quantiles.begin(), quantiles.end()), quantiles.end());
  }

  void read_outputs(Reader& r, study::Study& s) {
    s.outputs = outputs_of(r.words("outputs"));
    s.quantiles = r.quantities("quantiles");
    in_order(s.quantiles);
    s.confidence = r.quantity("confidence");
    s.exclude_failed = r.word("failed_runs") == "exclude";
    for (auto& [name, band] : r.entries("bands")) {
      study::Band b{name, output_of(band.word("output")), -std::numeric_limits<double>::infinity(),
                    std::numeric_limits<double>::infinity()};
      const std::string unit(simulate::output_list[b.output].unit);
      const auto end = [&](const char* key, double& value) {
        if (!band.given(key)) return;
        try {
          value = units::to_model(band.text(key), unit);
        } catch (const units::Error& error) {
          band.error(key, error.what(), error.expected());
        }
      };
      end("above", b.low);
      end("below", b.high);
      if (!(b.low < b.high)) band.error("", "the band is empty");
      if (std::find(s.outputs.begin(), s.outputs.end(), b.output) == s.outputs.end())
        band.error("output", "the study does not keep this output; add it to `outputs`");
      s.bands.push_back(b);
    }
    if (auto series = r.maybe_map("series")) {
      const double every = series->quantity("every");
      s.series_outputs =
          series->given("outputs") ? outputs_of(series->words("outputs")) : s.outputs;
      s.series_quantiles = series->quantities("quantiles");
      in_order(s.series_quantiles);
      s.series_of_all_runs = series->flag("all_runs");
      if (problems_.refused()) return;
      s.series_times = simulate::grid(0, s.times.back(), every);
      if (s.series_times.size() > 5000) series->error("every", "at most 5000 times");
    }
  }

  // ---- Binding -----------------------------------------------------------------------------

  /// A value in words of a case file.
  static std::string text_of(const study::Input& input, double value) {
    return input.is_number() ? units::from_model(value, input.unit)
                             : input.words[static_cast<std::size_t>(value)];
  }

  static std::string assignment(const study::Input& input, double value) {
    return input.path + "=" + text_of(input, value);
  }

  /// A case with its timeline in the order of the file.
  static care::Case in_file_order(const CaseFile& file) {
    care::Case c = file.c;
    const Node* const timeline = file.understood.find("timeline");
    std::map<std::string, std::size_t> place;
    if (timeline)
      for (const Entry& entry : timeline->entries) place.emplace(entry.key, place.size());
    std::stable_sort(c.timeline.begin(), c.timeline.end(), [&](const auto& a, const auto& b) {
      return place.at(a.name) < place.at(b.name);
    });
    return c;
  }

  std::optional<CaseFile> try_case(Node root, const std::vector<std::string>& assignments,
                                   std::string* why = nullptr) {
    Problems here;
    for (const auto& a : assignments)
      if (!set_value(root, a, here)) break;
    CaseFile c;
    if (!here.refused()) c = read_case(std::move(root), "run", models_, here);
    if (!here.refused()) return c;
    if (why)
      for (const auto& problem : here.all())
        if (problem.weight == Problem::Weight::error) {
          *why = problem.path + ": " + problem.message;
          break;
        }
    return std::nullopt;
  }

  void bind(Reader& r, StudyFile& f) {
    auto& s = f.study;
    std::size_t scenes = 1;
    for (const auto& input : s.inputs)
      if (!input.is_number()) scenes *= input.words.size();
    if (scenes > 2000)
      return r.error("vary", fmt::format("the words make {} combinations: at most 2000", scenes));
    for (std::size_t a = 0; a < s.arms.size(); ++a) {
      for (std::size_t scene = 0; scene < scenes && !problems_.refused(); ++scene)
        bind_scene(a, scene, f);
      Node middle = arms_[a].root;
      Problems ignored;
      for (const auto& input : s.inputs)
        if (input.parameter || target_of(arms_[a].root, input.path).key)
          set_value(middle, assignment(input, input.law.quantile(0.5)), ignored);
      f.arms.push_back(std::move(middle));
    }
    if (problems_.refused()) return;
    for (std::size_t j = 0; j < s.inputs.size(); ++j) {
      if (!s.inputs[j].is_number() || s.inputs[j].parameter) continue;
      const bool bound = std::any_of(s.arms.begin(), s.arms.end(), [&](const auto& arm) {
        return std::any_of(arm.scenes.begin(), arm.scenes.end(),
                           [&](const auto& scene) { return !scene.places[j].empty(); });
      });
      if (!bound)
        problems_.error(origins_[j], "vary",
                        quote(s.inputs[j].path) + " changes nothing that can vary from run to run");
    }
  }

  void bind_scene(std::size_t a, std::size_t scene, StudyFile& f) {
    auto& s = f.study;
    const Node& root = arms_[a].root;
    std::vector<std::string> settings;
    std::vector<bool> here(s.inputs.size(), false);
    std::size_t left = scene;
    for (std::size_t j = s.inputs.size(); j-- > 0;) {
      const auto& input = s.inputs[j];
      here[j] = target_of(root, input.path).key != nullptr;
      if (input.is_number()) continue;
      const std::size_t word = left % input.words.size();
      left /= input.words.size();
      if (here[j]) settings.push_back(input.path + "=" + input.words[word]);
    }
    const std::size_t with_words = settings.size();
    for (std::size_t j = 0; j < s.inputs.size(); ++j)
      if (here[j] && s.inputs[j].is_number())
        settings.push_back(assignment(s.inputs[j], s.inputs[j].law.quantile(0.5)));
    std::string why;
    const auto middle = try_case(root, settings, &why);
    if (!middle) {
      std::string words;
      for (std::size_t i = 0; i < with_words; ++i) words += (i ? ", " : "") + settings[i];
      return problems_.error(arms_[a].origin, joined("arms", s.arms[a].name),
                             "the inputs at their middle values" +
                                 (words.empty() ? "" : " with " + words) +
                                 " make no possible case: " + why);
    }
    study::Scene made{in_file_order(*middle), middle->parameters, {}};
    made.places.resize(s.inputs.size());
    std::size_t at = with_words;
    for (std::size_t j = 0; j < s.inputs.size(); ++j) {
      if (!here[j] || !s.inputs[j].is_number()) continue;
      bind_number(j, root, settings, at++, made, f);
    }
    append_numbers(made, f.parameters_text);
    s.arms[a].scenes.push_back(std::move(made));
  }

  /// Finds the numbers that follow an input, by reading the case with two values of it.
  void bind_number(std::size_t j, const Node& root, std::vector<std::string> settings,
                   std::size_t at, study::Scene& scene, StudyFile& f) {
    const auto& input = f.study.inputs[j];
    const double first = input.law.quantile(0.5);
    for (const double u : {0.6, 0.4, 0.55, 0.45, 0.75, 0.25, 0.9, 0.1, 0.51, 0.49}) {
      const double second = input.law.quantile(u);
      if (second == first) continue;
      settings[at] = assignment(input, second);
      const auto other = try_case(root, settings);
      if (!other) continue;
      care::Case one = scene.c, two = in_file_order(*other);
      compare(study::numbers(one), study::numbers(two), first, second, study::Place::of_case,
              scene.places[j], j);
      for (std::size_t act = 0; act < one.timeline.size(); ++act)
        compare(study::numbers(one.timeline[act]), study::numbers(two.timeline[act]), first, second,
                act, scene.places[j], j);
      return;
    }
    if (input.law.level_count() == 1) return;  // nothing ever differs from the middle
    problems_.error(origins_[j], "vary",
                    "next to no value of " + quote(input.path) + " makes a possible case");
  }

  void compare(const std::vector<double*>& one, const std::vector<double*>& two, double first,
               double second, std::size_t act, std::vector<study::Place>& places, std::size_t j) {
    for (std::size_t i = 0; i < one.size(); ++i) {
      if (*one[i] == *two[i] || (std::isnan(*one[i]) && std::isnan(*two[i]))) continue;
      // A length is kept in cm and given in m.
      for (const double factor : {1.0, 100.0})
        if (*one[i] == first * factor && *two[i] == second * factor) {
          places.push_back({act, i, factor});
          break;
        } else if (factor == 100.0) {
          problems_.error(origins_[j], "vary", "this input can't vary from run to run");
        }
    }
  }

  static void append_numbers(const study::Scene& scene, std::string& text) {
    care::Case c = scene.c;
    const auto add = [&](const double& x) {
      text.append(reinterpret_cast<const char*>(&x), sizeof x);
    };
    for (const double* x : study::numbers(c)) add(*x);
    for (care::Act& act : c.timeline)
      for (const double* x : study::numbers(act)) add(*x);
    auto p = scene.parameters;
    for (std::size_t i = 0; i < baby::parameter::count; ++i) add(parameter(p, i));
  }

  void understand(const Node& root, StudyFile& f) {
    f.understood = with_defaults(root, study_keys());
    std::erase_if(f.understood.entries, [](const Entry& e) { return e.key == "case"; });
    Node arms = Node::make_map();
    for (const auto& arm : f.study.arms) {
      Node one = Node::make_map();
      one.entries.push_back({"case", {}, Node::make_text("cases/" + arm.name + ".yaml")});
      arms.entries.push_back({arm.name, {}, std::move(one)});
    }
    if (Node* there = f.understood.find("arms"))
      *there = std::move(arms);
    else
      f.understood.entries.push_back({"arms", {}, std::move(arms)});
  }

  fs::path path_;
  const Models& models_;
  Problems& problems_;
  std::vector<ArmSource> arms_;
  std::vector<Origin> origins_;  ///< of the inputs
  std::vector<Bound> bound_;
};

}  // namespace

StudyFile read_study(const fs::path& path, const Models& models, Problems& problems) {
  return StudyReader(path, models, problems).read();
}

Node case_of_run(const StudyFile& file, std::size_t arm, const std::vector<double>& values) {
  Node root = file.arms.at(arm);
  Problems problems;
  for (std::size_t j = 0; j < values.size(); ++j) {
    const auto& input = file.study.inputs[j];
    if (!input.parameter && !target_of(root, input.path).key) continue;
    const std::string value = input.is_number() ? units::from_model(values[j], input.unit)
                                                : input.words[static_cast<std::size_t>(values[j])];
    set_value(root, input.path + "=" + value, problems);
  }
  problems.refuse_if_any();
  return root;
}

std::string fingerprint(const StudyFile& file, const std::string& build) {
  Sha256 hash;
  hash.add(build + "\n");
  hash.add(write_document(file.understood));
  for (const Node& arm : file.arms) hash.add(write_document(arm));
  for (const auto& table : file.tables) hash.add(table->text);
  for (const auto& input : file.study.inputs) {
    hash.add(input.path + "\n" + input.law_text + "\n");
    for (int i = 1; i < 16; ++i) {
      const double x = input.law.quantile(i / 16.0);
      hash.add({reinterpret_cast<const char*>(&x), sizeof x});
    }
  }
  hash.add(file.parameters_text);
  return hash.digest();
}

std::vector<std::string> cohort_names(const fs::path& models) {
  std::vector<std::string> names;
  for (const auto& file : file_names(models / "cohorts"))
    if (fs::path(file).extension() == ".yaml") names.push_back(fs::path(file).stem().string());
  return names;
}

}  // namespace serosa::files
