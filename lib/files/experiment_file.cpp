// SPDX-License-Identifier: Apache-2.0
#include "files/experiment_file.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "care/carer.hpp"
#include "files/paths.hpp"
#include "files/reader.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

namespace fs = std::filesystem;
constexpr double infinite = std::numeric_limits<double>::infinity();
/// An arm without `until` may be read out at any time up to this, h; the longest a case may last.
constexpr const char* longest = "1000 h";

template <std::size_t N>
std::vector<std::string> words_of(const std::array<study::Word, N>& list) {
  std::vector<std::string> words;
  for (const auto& item : list) words.emplace_back(item.word);
  return words;
}

template <std::size_t N>
std::string meanings_of(const std::array<study::Word, N>& list) {
  std::string text;
  for (const auto& item : list)
    text += (text.empty() ? "" : "; ") + std::string(item.word) + ": " + std::string(item.meaning);
  return text;
}

/// An arm is a case that may be based on another arm of the file or on a shipped case.
const KeyTable& arm_keys() {
  static const KeyTable table = [] {
    KeyTable arm = case_keys();
    arm.name = "arm";
    arm.help = "A case: the subject, the room and what was done.";
    for (Key& key : arm.keys)
      if (key.name == "title") {
        key.is_required = false;
        key.help = "a few words; that of the experiment when left out";
      }
    arm.keys.insert(arm.keys.begin(),
                    text("based_on",
                         "another arm of this file, or a shipped case such as wrapped.yaml; what "
                         "stands here is merged over it, `remove` deletes"));
    return arm;
  }();
  return table;
}

const std::vector<Key>& figure_keys() {
  static const std::vector<Key> keys = {
      text("arm", "which arm; may be left out when there is only one"),
      text("output", "what is read out, by a name that `serosa explain --outputs` lists"),
      word("take", words_of(study::takings), meanings_of(study::takings)),
      quantity("at", "h", "hour after birth (or after the start of the experiment)")
          .possible(-24, 1000),
      quantity("from", "h", "begin of the time over which it is taken").possible(-24, 1000),
      quantity("to", "h", "end of the time over which it is taken").possible(-24, 1000),
      text("level", "for take: reaches; in the unit of the output, with its unit"),
      word("per", words_of(study::divisors),
           "divides by a size of the subject: " + meanings_of(study::divisors))};
  return keys;
}

const KeyTable& against_keys() {
  static const KeyTable table = [] {
    KeyTable t{"against",
               "Another figure that the reading is compared with. What is left out is as in the "
               "reading itself.",
               figure_keys()};
    t.keys.insert(t.keys.begin(),
                  word("as", words_of(study::comparisons), meanings_of(study::comparisons))
                      .fallback("ratio"));
    return t;
  }();
  return table;
}

const KeyTable& published_keys() {
  static const KeyTable table{
      "published",
      "What was published, as plain numbers in the unit of the reading. The band is the mean ± 2 "
      "SD, the stated interval, or ± 20 % of the value where no spread is given.",
      {text("value", "mean or median"), text("sd", "standard deviation"),
       text("se", "standard error; needs n"), text("n", "number of subjects, with se"),
       texts("interval", "95 % interval: [low, high]").length(2, 2),
       texts("range", "lowest and highest value found: [low, high]").length(2, 2),
       texts("quartiles",
             "first and third quartile: [low, high]; taken as the value ± 1.48 times "
             "their distance")
           .length(2, 2),
       text("more_than", "for facts of which only the direction is known"),
       text("less_than", "for facts of which only the direction is known")}};
  return table;
}

const KeyTable& reading_keys() {
  static const KeyTable table = [] {
    KeyTable t{"reading", "Something that is read out, and what was published of it.",
               figure_keys()};
    const std::vector<Key> more = {
        map("against", against_keys(), "another figure that it is compared with"),
        text("formula",
             "instead of an output: numbers, + - * / ( ) ln() and names of other readings of this "
             "file, blanks and hyphens written as underscores"),
        text("unit", "unit of the published numbers; that of the model when left out"),
        map("published", published_keys(), "what was published; shown only when left out"),
        text("known_failure", "why the model is known to miss it"),
        text("note", "conditions, reasons, doubts")};
    t.keys.insert(t.keys.end(), more.begin(), more.end());
    return t;
  }();
  return table;
}

const simulate::OutputInfo& info(simulate::output::Index o) { return simulate::output_list[o]; }

/// The unit of a difference: degC becomes K.
std::string of_difference(std::string unit) { return unit == "degC" ? "K" : unit; }

/// The unit in which the model gives a figure.
std::string model_unit(const study::Figure& f) {
  if (f.taking == study::Taking::reaches) return "h";
  std::string unit(info(f.output).unit);
  if (f.taking == study::Taking::change) unit = of_difference(unit);
  if (f.taking == study::Taking::rate) unit = of_difference(unit) + "/h";
  switch (f.per) {
#define SEROSA_ITEM(name, word, divisor_unit, member, meaning) \
  case study::Divisor::name:                                   \
    return unit + "/" divisor_unit;
    SEROSA_DIVISORS(SEROSA_ITEM)
#undef SEROSA_ITEM
    case study::Divisor::none:
      break;
  }
  return unit;
}

/// Factor from one unit to another; water counts as mass or volume, also below a line (mOsm/kg).
/// Throws units::Error.
double factor(const std::string& from, const std::string& to) {
  if (from == to) return 1;
  const std::string water = to + " water";
  for (const char* density : {"", "(kg/L) ", "(L/kg) "}) {
    try {
      return units::convert(1, density + from, water);
    } catch (const units::Error&) {
    }
  }
  return units::convert(1, from, to);
}

class ExperimentReader {
 public:
  ExperimentReader(const Models& models, const Bibliography* bibliography, Problems& problems)
      : models_(models), bibliography_(bibliography), problems_(problems) {}

  void read(Reader r, ExperimentFile& f) {
    study::Experiment& e = f.experiment;
    e.title = r.text("title");
    e.done = r.text("done");
    e.note = r.text("note");
    e.practice = r.text("grade");
    e.role = static_cast<study::Role>(r.which("role"));
    e.part = static_cast<study::ModelPart>(r.which("part"));
    read_source(r, e);
    read_arms(r, f);
    for (auto& [name, reading] : r.entries("readings")) read_reading(name, reading, e);
    r.finish();
    if (problems_.refused()) return;
    if (e.readings.empty()) return r.error("readings", "there is nothing to read out");
    try {
      study::check_formulas(e);
    } catch (const study::FormulaError& error) {
      r.error("readings", error.what());
    }
  }

 private:
  void read_source(Reader& r, study::Experiment& e) {
    const std::string source = r.text("source");
    const std::size_t comma = source.find(',');
    e.source = source.substr(0, comma);
    if (comma != std::string::npos) {
      const std::size_t start = source.find_first_not_of(' ', comma + 1);
      if (start != std::string::npos) e.where = source.substr(start);
    }
    check_source(e.source, r.origin("source"), "source");
  }
  void check_source(const std::string& source, const Origin& origin, const std::string& path) {
    const std::string key = source.substr(0, source.find(','));
    if (key.empty() || !bibliography_ || bibliography_->contains(key)) return;
    std::vector<std::string> known;
    for (const auto& work : *bibliography_) known.push_back(work.first);
    const std::string near = units::nearest(key, known);
    problems_.error(origin, path,
                    quote(key) + " is not in the bibliography" +
                        (near.empty() ? std::string() : "; did you mean " + near + "?"));
  }

  void read_arms(Reader& r, ExperimentFile& f) {
    std::map<std::string, const Node*> arms;
    std::vector<std::string> names;
    for (auto& [name, arm] : r.entries("arms")) {
      arms[name] = &arm.node();
      names.push_back(name);
    }
    if (names.empty()) r.error("arms", "there is no arm");
    for (const std::string& name : names) {
      const auto root = whole(name, arms, {}, f);
      if (!root) continue;
      Node tree = *root;
      const auto set = [&](const char* key, const std::string& text) {
        if (!tree.find(key)) tree.entries.push_back({key, tree.origin, Node::make_text(text)});
      };
      set("title", f.experiment.title + ": " + name);
      set("until", longest);
      set("every", "1 h");
      CaseFile read = read_case(std::move(tree), name, models_, problems_, "arms." + name);
      for (const auto& told : read.override_sources)
        check_source(told.source, told.origin,
                     "arms." + name + ".parameters." + told.parameter + ".source");
      f.experiment.arms.push_back({name, std::move(read.c), read.parameters});
    }
  }

  /// An arm with everything it is based on.
  std::optional<Node> whole(const std::string& name, const std::map<std::string, const Node*>& arms,
                            std::vector<std::string> chain, ExperimentFile& f) {
    const Node& own = *arms.at(name);
    if (!own.is_map()) return std::nullopt;  // reported
    const Node* named = own.find("based_on");
    const std::string path = "arms." + name;
    if (!named) return own;
    if (!named->is_text()) {
      problems_.error(named->origin, path + ".based_on", "the name of an arm is expected");
      return std::nullopt;
    }
    chain.push_back(name);
    std::optional<Node> base;
    if (arms.contains(named->text)) {
      if (std::find(chain.begin(), chain.end(), named->text) != chain.end()) {
        problems_.error(named->origin, path + ".based_on",
                        "this arm is in the end based on itself");
        return std::nullopt;
      }
      base = whole(named->text, arms, chain, f);
    } else if (named->text.ends_with(".yaml") && named->text.find('/') == std::string::npos) {
      auto document =
          read_based_document(models_.folder / "cases" / named->text, models_.folder, problems_);
      if (document) {
        base = std::move(document->root);
        f.sources.insert(f.sources.end(), document->sources.begin(), document->sources.end());
      }
    } else {
      std::vector<std::string> known;
      for (const auto& arm : arms) known.push_back(arm.first);
      const std::string near = units::nearest(named->text, known);
      problems_.error(named->origin, path + ".based_on",
                      "there is no arm " + quote(named->text) +
                          (near.empty() ? std::string() : "; did you mean " + near + "?"),
                      "an arm of this file, or a shipped case such as wrapped.yaml");
    }
    if (!base) return std::nullopt;
    Node changes = own;
    std::erase_if(changes.entries, [](const Entry& entry) { return entry.key == "based_on"; });
    merge(*base, changes, problems_, path);
    return base;
  }

  void read_reading(const std::string& name, Reader& r, study::Experiment& e) {
    study::Reading reading;
    reading.name = name;
    reading.note = r.text("note");
    reading.known_failure = r.text("known_failure");
    reading.formula = r.text("formula");
    std::string unit_here;
    std::optional<study::Figure> own;
    if (reading.formula.empty()) {
      own = figure(r, e, nullptr);
      if (!own) return;
      reading.figure = *own;
      unit_here = model_unit(reading.figure);
    } else {
      for (const char* key :
           {"arm", "output", "take", "at", "from", "to", "level", "per", "against"})
        if (r.given(key)) r.error(key, "a formula takes its numbers from other readings");
    }
    if (auto other = r.maybe_map("against")) {
      if (!own) return;
      const auto against = figure(*other, e, &*own);
      const auto as = static_cast<study::Comparison>(other->which("as"));
      if (!against) return;
      reading.against = study::Against{*against, as, 1};
      unit_here = compared_unit(reading, unit_here, *other);
    }
    read_unit(r, reading, unit_here);
    if (auto published = r.maybe_map("published")) read_published(*published, reading);
    if (!reading.known_failure.empty() && !reading.published)
      r.error("known_failure", "nothing was published that it could fail");
    e.readings.push_back(std::move(reading));
  }

  /// The figure of a map; what is left out is as in `other`.
  std::optional<study::Figure> figure(Reader& r, const study::Experiment& e,
                                      const study::Figure* other) {
    const std::size_t before = problems_.errors();
    study::Figure f = other ? *other : study::Figure{};
    if (r.given("arm"))
      f.arm = arm(r, e);
    else if (!other && e.arms.size() > 1)
      r.error({}, "which arm? the key \"arm\" is missing");
    if (r.given("output"))
      f.output = output(r);
    else if (!other)
      r.error({}, "the key \"output\" is missing");
    if (r.given("per")) f.per = static_cast<study::Divisor>(r.which("per"));
    read_times(r, f, other);
    if (r.given("level")) f.level = level(r, f);
    if (f.taking == study::Taking::reaches && !r.given("level") && !other)
      r.error({}, "which level? the key \"level\" is missing");
    if (problems_.errors() > before) return std::nullopt;
    if (f.arm < e.arms.size()) check_times(r, f, e.arms[f.arm].c);
    return problems_.errors() > before ? std::nullopt : std::optional(f);
  }

  std::size_t arm(Reader& r, const study::Experiment& e) {
    const std::string name = r.text("arm");
    std::vector<std::string> names;
    for (std::size_t i = 0; i < e.arms.size(); ++i) {
      if (e.arms[i].name == name) return i;
      names.push_back(e.arms[i].name);
    }
    // An arm that was refused is missing here; its own fault is the news.
    if (!problems_.refused()) unknown(r, "arm", name, names);
    return 0;
  }

  simulate::output::Index output(Reader& r) {
    const std::string name = r.text("output");
    std::vector<std::string> names;
    for (std::size_t i = 0; i < simulate::output::count; ++i) {
      if (simulate::output_list[i].name == name) return static_cast<simulate::output::Index>(i);
      names.emplace_back(simulate::output_list[i].name);
    }
    unknown(r, "output", name, names);
    return {};
  }

  static void unknown(Reader& r, std::string_view key, const std::string& name,
                      const std::vector<std::string>& known) {
    const std::string near = units::nearest(name, known);
    r.error(key, "there is no " + std::string(key) + " " + quote(name) +
                     (near.empty() ? std::string() : "; did you mean " + near + "?"));
  }

  void read_times(Reader& r, study::Figure& f, const study::Figure* other) {
    using study::Taking;
    const bool at = r.given("at");
    const bool span = r.given("from") || r.given("to");
    if (r.given("take"))
      f.taking = static_cast<Taking>(r.which("take"));
    else if (at)
      f.taking = Taking::at;
    else if (span && (!other || other->taking == Taking::at))
      r.error({}, "from and to need `take`, which says what is taken over that time");
    if (!at && !span && other) return;
    if (f.taking == Taking::at) {
      if (span) r.error("take", "a value at one hour has no from and to");
      if (!at) return r.error({}, "when? the key \"at\" is missing");
      f.from = f.to = r.quantity("at");
      return;
    }
    if (at) return r.error("at", "this is taken over a time: write from and to");
    if (!r.given("to") && !other) return r.error({}, "until when? the key \"to\" is missing");
    f.from = r.maybe_quantity("from").value_or(other ? f.from : 0.0);
    f.to = r.maybe_quantity("to").value_or(f.to);
    if (!(f.to > f.from)) r.error("to", "the time ends before it begins");
  }

  void check_times(Reader& r, const study::Figure& f, const care::Case& c) {
    if (f.from < care::Carer<double>::first_hour(c) || f.to < f.from)
      r.error(f.taking == study::Taking::at ? "at" : "from",
              "lies before the arm begins, at birth or with its first act");
    if (f.to > c.until)
      r.error(f.taking == study::Taking::at ? "at" : "to", "lies after the end of the arm");
  }

  double level(Reader& r, const study::Figure& f) {
    const std::string text = r.text("level");
    try {
      return units::to_model(text, info(f.output).unit);
    } catch (const units::Error& error) {
      r.error("level", error.what(), error.expected());
      return 0;
    }
  }

  /// The unit of the comparison; sets the factor of the other figure.
  std::string compared_unit(study::Reading& reading, const std::string& unit, Reader& r) {
    study::Against& a = *reading.against;
    const std::string other = model_unit(a.figure);
    try {
      a.scale = factor(other, unit);
      const bool difference = a.comparison == study::Comparison::difference;
      return difference ? of_difference(unit) : "1";
    } catch (const units::Error& error) {
      if (a.comparison == study::Comparison::ratio) return unit + "/(" + other + ")";
      r.error("as", "the two have different dimensions: " + unit + " and " + other);
      return "1";
    }
  }

  void read_unit(Reader& r, study::Reading& reading, const std::string& model) {
    reading.unit = r.text("unit");
    if (!reading.formula.empty()) {
      if (reading.unit.empty()) reading.unit = "1";
      if (!units::is_unit(reading.unit)) r.error("unit", "this is no unit");
      reading.scale = reading.unit == "%" ? 100 : 1;
      return;
    }
    if (reading.unit.empty()) reading.unit = model;
    if ((reading.unit == "degC") != (model == "degC"))
      return r.error("unit", model == "K" ? "a difference of temperatures is written in K"
                                          : "the reading is " + units::description(model) +
                                                "; it can't be given in " + quote(reading.unit));
    try {
      reading.scale = factor(model, reading.unit);
    } catch (const units::Error&) {
      r.error("unit", "the reading is " + units::description(model) + "; it can't be given in " +
                          quote(reading.unit));
    }
  }

  void read_published(Reader& r, study::Reading& reading) {
    const auto number = [&](std::string_view key, const std::string& text) {
      try {
        return units::to_number(text);
      } catch (const units::Error& error) {
        r.error(key, std::string(error.what()) + "; the unit of the reading stands beside it",
                error.expected());
        return std::nan("");
      }
    };
    const auto maybe = [&](std::string_view key) -> std::optional<double> {
      const std::string text = r.text(key);
      return text.empty() ? std::nullopt : std::optional(number(key, text));
    };
    const auto pair = [&](std::string_view key) -> std::optional<Interval> {
      const auto ends = r.texts(key);
      if (ends.size() != 2) return std::nullopt;
      const Interval i{number(key, ends[0]), number(key, ends[1])};
      if (i.low > i.high) r.error(key, "it ends before it begins", "[low, high]");
      return i;
    };
    const auto value = maybe("value"), sd = maybe("sd"), se = maybe("se"), n = maybe("n");
    const auto interval = pair("interval"), range = pair("range"), quartiles = pair("quartiles");
    const auto more = maybe("more_than"), less = maybe("less_than");
    r.finish();
    const int spreads = sd.has_value() + se.has_value() + interval.has_value() + range.has_value() +
                        quartiles.has_value() + (more || less);
    if (spreads > 1) return r.error({}, "give one kind of spread");
    if ((sd || se || quartiles) && !value)
      return r.error({}, "a spread without its mean: the key \"value\" is missing");
    if (se.has_value() != n.has_value())
      return r.error(se ? "se" : "n", "a standard error and the number of subjects go together");
    if ((sd && *sd < 0) || (se && *se < 0) || (n && !(*n >= 1)))
      return r.error({}, "a spread can't be negative, and there is at least one subject");
    using namespace study;
    if (sd)
      reading.published = with_deviation(*value, *sd);
    else if (se)
      reading.published = with_deviation(*value, *se * std::sqrt(*n));
    else if (interval)
      reading.published = with_interval(value, interval->low, interval->high, "95 % interval");
    else if (range)
      reading.published = with_interval(value, range->low, range->high, "range found");
    else if (quartiles)
      // A normal law's quartiles lie 0.674 SD from its middle; two SD are 1.48 of their distance.
      reading.published =
          with_interval(value, *value - 1.48 * (quartiles->high - quartiles->low),
                        *value + 1.48 * (quartiles->high - quartiles->low), "quartiles");
    else if (more || less)
      reading.published = bounded(more.value_or(-infinite), less.value_or(infinite));
    else if (value)
      reading.published = without_spread(*value);
    else
      r.error({}, "nothing was published here: give a value, an interval or a bound");
  }

  const Models& models_;
  const Bibliography* bibliography_;
  Problems& problems_;
};

}  // namespace

const KeyTable& experiment_keys() {
  static const KeyTable table{
      "published experiment",
      "An experiment from the literature: who did what to whom, and what was found.",
      {text("title", "a few words for tables").required(),
       text("source",
            "a key of the bibliography, optionally a comma and where in it; `own` for "
            "common practice")
           .required(),
       text("grade",
            "how good the evidence is when it is no publication, such as: common "
            "practice, no source"),
       text("done", "what was done, in words").required(),
       word("role", words_of(study::roles), meanings_of(study::roles)).required(),
       word("part", words_of(study::model_parts), meanings_of(study::model_parts)).required(),
       text("note", "conditions, reasons, doubts"),
       entries("arms", arm_keys(), "the arms by name").required(),
       entries("readings", reading_keys(), "what is read out, by name").required()}};
  return table;
}

ExperimentFile read_experiment(const fs::path& path, const Models& models,
                               const Bibliography* bibliography, Problems& problems) {
  ExperimentFile f;
  f.experiment.name = path.stem().string();
  // Its own problems decide whether it can be used, whatever else was refused before.
  Problems own;
  if (auto document = read_document(path, own)) {
    f.sources = document->sources;
    ExperimentReader(models, bibliography, own)
        .read(Reader(document->root, experiment_keys(), own), f);
  }
  for (const Problem& problem : own.all())
    if (problem.weight == Problem::Weight::error)
      problems.error(problem.origin, problem.path, problem.message, problem.remark);
  return f;
}

std::vector<fs::path> published_experiments(const fs::path& models) {
  std::vector<fs::path> paths;
  for (const std::string& name : file_names(models / "published"))
    if (fs::path(name).extension() == ".yaml") paths.push_back(models / "published" / name);
  return paths;
}

}  // namespace serosa::files
