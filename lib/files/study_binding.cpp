// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

#include "files/key_values.hpp"
#include "files/paths.hpp"
#include "files/protocol_file.hpp"
#include "files/study_reading.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

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

}  // namespace

CasePath place_in_case(const Node& root, const std::string& path) {
  const KeyTable* table = &case_keys();
  const Node* node = &root;
  std::string entry_name;
  const auto parts = parts_of(path);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const std::string variant = node ? chosen_variant(*node, *table, entry_name) : std::string();
    const Key* const key = find_key(*table, variant, parts[i]);
    if (!key) {
      std::vector<std::string> names;
      for (const Key* known : keys_of(*table, variant)) names.push_back(known->name);
      return {nullptr, false, units::nearest(parts[i], names)};
    }
    if (i + 1 == parts.size()) return {key, false};
    node = node ? node->find(parts[i]) : nullptr;
    table = key->table;
    // A protocol is any tree to the case that holds it; here it has keys like the rest.
    const bool protocol = i == 0 && key->name == "protocol" && node && node->is_map();
    if (protocol) table = &protocol_keys();
    entry_name.clear();
    if (key->kind == KeyKind::entries) {
      if (i + 1 == parts.size()) return {};
      entry_name = parts[++i];
      const Node* const entry = node ? node->find(entry_name) : nullptr;
      if (!entry) {
        std::vector<std::string> names;
        if (node)
          for (const Entry& known : node->entries) names.push_back(known.key);
        return {nullptr, true, units::nearest(entry_name, names)};
      }
      node = entry;
      if (i + 1 == parts.size()) return {};
    } else if (key->kind != KeyKind::map && !protocol) {
      return {};
    }
  }
  return {};
}

namespace {

class Binder {
 public:
  explicit Binder(StudyReading& all) : all_(all) {}

  void bind(Reader& r, StudyFile& f) {
    auto& s = f.study;
    std::size_t scenes = 1;
    for (const auto& input : s.inputs)
      if (!input.is_number()) scenes *= input.words.size();
    if (scenes > 2000)
      return r.error("vary", fmt::format("the words make {} combinations: at most 2000", scenes));
    for (std::size_t a = 0; a < s.arms.size(); ++a) {
      for (std::size_t scene = 0; scene < scenes && !all_.problems.refused(); ++scene)
        bind_scene(a, scene, f);
      Node middle = all_.arms[a].root;
      Problems ignored;
      for (const auto& input : s.inputs)
        if (input.parameter || place_in_case(all_.arms[a].root, input.path).key)
          set_value(middle, assignment(input, input.law.quantile(0.5)), ignored);
      f.arms.push_back(std::move(middle));
    }
    if (all_.problems.refused()) return;
    for (std::size_t j = 0; j < s.inputs.size(); ++j) {
      if (!s.inputs[j].is_number() || s.inputs[j].parameter || is_constant(s.inputs[j].law))
        continue;
      const bool bound = std::any_of(s.arms.begin(), s.arms.end(), [&](const auto& arm) {
        return std::any_of(arm.scenes.begin(), arm.scenes.end(),
                           [&](const auto& scene) { return !scene.places[j].empty(); });
      });
      if (!bound)
        all_.problems.error(
            all_.origins[j], "vary",
            quote(s.inputs[j].path) + " changes nothing that can vary from run to run");
    }
  }

 private:
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
    // What a protocol orders comes last.
    const auto place_of = [&](const care::Act& act) {
      const auto found = place.find(act.name);
      return found == place.end() ? place.size() : found->second;
    };
    std::stable_sort(c.timeline.begin(), c.timeline.end(),
                     [&](const auto& a, const auto& b) { return place_of(a) < place_of(b); });
    return c;
  }

  std::optional<CaseFile> try_case(Node root, const std::vector<std::string>& assignments,
                                   std::string* why = nullptr) {
    Problems here;
    for (const auto& a : assignments)
      if (!set_value(root, a, here)) break;
    CaseFile c;
    if (!here.refused()) c = read_case(std::move(root), "run", all_.models, here);
    if (!here.refused()) return c;
    if (why)
      for (const auto& problem : here.all())
        if (problem.weight == Problem::Weight::error) {
          *why = problem.path + ": " + problem.message;
          break;
        }
    return std::nullopt;
  }

  void bind_scene(std::size_t a, std::size_t scene, StudyFile& f) {
    auto& s = f.study;
    const Node& root = all_.arms[a].root;
    std::vector<std::string> settings;
    std::vector<bool> here(s.inputs.size(), false);
    std::size_t left = scene;
    for (std::size_t j = s.inputs.size(); j-- > 0;) {
      const auto& input = s.inputs[j];
      here[j] = place_in_case(root, input.path).key != nullptr;
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
      return all_.problems.error(all_.arms[a].origin, joined("arms", s.arms[a].name),
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

  static bool is_constant(const study::Law& law) { return law.lowest() == law.highest(); }

  /// Values to try beside the middle one: those listed, however rare, or some of all over the law.
  static std::vector<double> others_of(const study::Law& law) {
    if (law.level_count() > 0) return law.values();
    std::vector<double> values;
    for (const double u : {0.6, 0.4, 0.55, 0.45, 0.75, 0.25, 0.9, 0.1, 0.51, 0.49})
      values.push_back(law.quantile(u));
    return values;
  }

  /// Finds the numbers that follow an input, by reading the case with two values of it.
  void bind_number(std::size_t j, const Node& root, std::vector<std::string> settings,
                   std::size_t at, study::Scene& scene, StudyFile& f) {
    const auto& input = f.study.inputs[j];
    if (is_constant(input.law)) return;  // the scene has it
    const double first = input.law.quantile(0.5);
    for (const double second : others_of(input.law)) {
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
    all_.problems.error(all_.origins[j], "vary",
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
          all_.problems.error(all_.origins[j], "vary", "this input can't vary from run to run");
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

  StudyReading& all_;
};

}  // namespace

void bind_inputs(StudyReading& all, Reader& study, StudyFile& file) {
  Binder(all).bind(study, file);
}

}  // namespace serosa::files
