// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "files/paths.hpp"
#include "files/study_reading.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace {

class InputReader {
 public:
  explicit InputReader(StudyReading& all) : all_(all) {}

  void read(Reader& r, StudyFile& f) {
    const auto own_cohort = r.file("cohort", all_.models.folder);
    std::optional<Document> cohort;
    const Node* const vary = r.anything("vary");
    if (own_cohort) {
      f.cohort = own_cohort->stem().string();
      cohort = read_document(*own_cohort, all_.problems);
      if (!cohort) return;
      for (const auto& source : cohort->sources) add_source(f, source);
      Reader c(cohort->root, cohort_keys(), all_.problems);
      c.text("title");
      c.text("note");
      if (const Node* theirs = c.anything("vary")) read_vary(*theirs, true, f);
      for (auto& pair : c.maps("correlations")) read_correlation(pair, f);
      c.finish();
    }
    if (vary) read_vary(*vary, false, f);
    if (all_.problems.refused()) return;
    for (auto& pair : r.maps("correlations")) read_correlation(pair, f);
    tie(r, f);
  }

 private:
  void read_vary(const Node& vary, bool of_cohort, StudyFile& f) {
    if (vary.is_text()) return read_all(vary, f);
    if (!vary.is_map())
      return all_.problems.error(vary.origin, "vary", "a map of inputs is expected",
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
        all_.problems.error(group->value.origin, "vary.parameters", "a text is expected",
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
      all_.problems.error(
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
    for (const auto& p : all_.models.parameters) {
      if (p.distribution == Distribution::fixed ||
          std::find(grades.begin(), grades.end(), p.grade) == grades.end() ||
          find_input("parameters." + p.name, f))
        continue;
      study::Input input = parameter_input(p);
      publish(input, p);
      f.study.inputs.push_back(std::move(input));
      all_.origins.push_back(node.origin);
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
    input.parameter = static_cast<std::size_t>(&p - all_.models.parameters.data());
    return input;
  }
  void read_input(const Entry& entry, bool of_cohort, StudyFile& f) {
    const std::string& path = entry.key;
    study::Input input;
    const Key* key = nullptr;
    const ParameterEntry* parameter = nullptr;
    constexpr std::string_view group = "parameters.";
    if (path.starts_with(group)) {
      parameter = all_.models.find(path.substr(group.size()));
      if (!parameter) {
        std::vector<std::string> names;
        for (const auto& p : all_.models.parameters) names.push_back(p.name);
        const std::string near = units::nearest(path.substr(group.size()), names);
        return all_.problems.error(
            entry.origin, "vary",
            "there is no such parameter" + (near.empty() ? "" : "; did you mean " + near + "?"));
      }
      input = parameter_input(*parameter);
    } else {
      bool absent = true;
      std::string near;
      for (const auto& arm : all_.arms) {
        const CasePath target = place_in_case(arm.root, path);
        absent = absent && target.absent_act;
        if (!target.key && (near.empty() || !target.absent_act)) near = target.near;
        if (!key) key = target.key;
      }
      if (!key)
        return all_.problems.error(
            entry.origin, "vary",
            std::string(absent ? "no arm of the study has such an act"
                               : "a case file has no such input") +
                (near.empty() ? "" : "; did you mean " + near + "?"),
            "a path such as baby.weight, timeline.wrap.at or parameters.spread");
      input.path = path;
      input.meaning = key->help;
      input.unit = key->unit;
      input.possible_low = key->possible_range.low;
      input.possible_high = key->possible_range.high;
    }
    input.of_cohort = of_cohort;
    const std::size_t before = all_.problems.errors();
    if (parameter || key->kind == KeyKind::quantity)
      read_number_law(all_, entry, key, parameter, input, f);
    else
      read_words(all_, entry, *key, input);
    if (all_.problems.errors() != before) return;
    if (study::Input* known = find_input(path, f)) {
      input.of_cohort = input.of_cohort || known->of_cohort;
      *known = std::move(input);
      return;
    }
    f.study.inputs.push_back(std::move(input));
    all_.origins.push_back(entry.origin);
  }

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
        all_.problems.error(b.origin, "correlations", quote(path) + " does not vary in this study");
        return std::size_t{0};
      };
      const auto one = place(b.one), other = place(b.other);
      if (all_.problems.refused()) return;
      pairs.push_back({one, other, b.rank});
      all_.correlated.push_back({one, other, b.origin});
    }
    try {
      f.study.copula = study::Copula(pairs);
    } catch (const std::invalid_argument& refusal) {
      r.error("correlations", refusal.what());
    }
  }

  StudyReading& all_;
  std::vector<Bound> bound_;
};

}  // namespace

void read_inputs(StudyReading& all, Reader& study, StudyFile& file) {
  InputReader(all).read(study, file);
}

}  // namespace serosa::files
