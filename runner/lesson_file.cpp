// SPDX-License-Identifier: Apache-2.0
#include "runner/lesson_file.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

#include "files/case_file.hpp"
#include "files/document.hpp"
#include "files/paths.hpp"
#include "files/reader.hpp"
#include "runner/lesson_data.hpp"
#include "simulate/outputs.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;
using files::KeyTable;

namespace {

using Json = nlohmann::ordered_json;
using files::file, files::flag, files::map, files::maps, files::quantity, files::text, files::texts,
    files::word;

constexpr const char* own_language = "en";

const KeyTable& newborn_keys() {
  static const KeyTable table{
      "newborn",
      "One of the two newborns of a lesson.",
      {file("case", "cases", "the case it starts from").required(),
       texts("change", "what differs, such as \"timeline.wrap.at=20 min\"").length(0, 30)}};
  return table;
}

std::vector<std::string> output_names() {
  std::vector<std::string> names;
  for (const auto& output : simulate::output_list) names.emplace_back(output.name);
  return names;
}

const KeyTable& guess_keys() {
  static const KeyTable table{
      "guess",
      "What the group guesses: one figure at one time, on a chart that is still empty.",
      {word("output", output_names(), "the figure, by its name").required(),
       word("of", {"A", "B", "both"}, "whose curve is shown").fallback("A"),
       quantity("at", "h", "time after birth").possible(0, 1000).required(),
       flag("per_kg", "per kilogram of birth weight").fallback("false"),
       quantity("low", "1", "bottom of the axis").required(),
       quantity("high", "1", "top of the axis").required()}};
  return table;
}

const KeyTable& step_keys() {
  static const KeyTable table{
      "step",
      "One step of a lesson.",
      {text("text", "what to do, or what is told").required(),
       text("question", "what the group is asked"), map("guess", guess_keys(), "what is guessed"),
       text("why", "the explanation, shown after the guess"),
       map("first", newborn_keys(), "newborn A from this step on"),
       map("second", newborn_keys(), "newborn B from this step on")}};
  return table;
}

const KeyTable& step_word_keys() {
  static const KeyTable table{
      "step",
      "The words of one step.",
      {text("text", "what to do").required(), text("question", "what the group is asked"),
       text("why", "the explanation")}};
  return table;
}

std::vector<files::Key> common_keys() {
  return {text("title", "a few words").required(),
          texts("aims", "what the group can do afterwards").length(1, 8).required(),
          texts("limits", "what the model cannot say about it").length(1, 8).required(),
          texts("worksheet", "questions to print, beside those of the steps").length(0, 12)};
}

std::vector<files::Key> with(std::vector<files::Key> keys, std::vector<files::Key> more) {
  keys.insert(keys.end(), more.begin(), more.end());
  return keys;
}

/// A text that may be absent.
Json told(files::Reader& r, std::string_view key) {
  return r.given(key) ? Json(r.text(key)) : (r.text(key), Json(nullptr));
}

/// Title, aims, limits and worksheet.
Json common_words(files::Reader& r) {
  return {{"title", r.text("title")},
          {"aims", r.texts("aims")},
          {"limits", r.texts("limits")},
          {"worksheet", r.given("worksheet") ? r.texts("worksheet")
                                             : (r.texts("worksheet"), std::vector<std::string>{})}};
}

class LessonReader {
 public:
  LessonReader(const files::Models& models, Json& cases) : models_(models), cases_(cases) {}

  Json read(const fs::path& path) {
    files::Problems problems;
    const auto document = files::read_document(path, problems);
    problems.refuse_if_any();
    files::Reader r(document->root, lesson_keys(), problems);
    const std::string id = path.stem().string();
    Json lesson{{"id", id}, {"hours", r.quantity("hours")}};
    Json words = common_words(r);
    words["steps"] = Json::array();
    lesson["steps"] = Json::array();
    std::string first = newborn(r, "first", id + "/A", problems);
    std::string second = newborn(r, "second", id + "/B", problems);
    auto steps = r.maps("steps");
    for (std::size_t n = 0; n < steps.size(); ++n) {
      const std::string place = id + "/" + std::to_string(n + 1);
      files::Reader& s = steps[n];
      if (const auto own = newborn(s, "first", place + "/A", problems); !own.empty()) first = own;
      if (const auto own = newborn(s, "second", place + "/B", problems); !own.empty()) second = own;
      words["steps"].push_back(
          {{"text", s.text("text")}, {"question", told(s, "question")}, {"why", told(s, "why")}});
      Json step{{"first", first}, {"second", second}};
      if (auto guess = s.maybe_map("guess")) {
        if (!s.given("question") || !s.given("why"))
          s.error("guess", "a guess needs a question and, for afterwards, why");
        step["guess"] = guess_of(*guess);
      }
      s.finish();
      lesson["steps"].push_back(std::move(step));
    }
    r.finish();
    problems.refuse_if_any();
    lesson["words"] = Json{{own_language, std::move(words)}};
    return lesson;
  }

  /// Adds the words of a translation.
  void translate(Json& lesson, const std::string& code, const fs::path& path) {
    files::Problems problems;
    const auto document = files::read_document(path, problems);
    problems.refuse_if_any();
    files::Reader r(document->root, lesson_translation_keys(), problems);
    Json words = common_words(r);
    words["steps"] = Json::array();
    for (auto& s : r.maps("steps")) {
      words["steps"].push_back(
          {{"text", s.text("text")}, {"question", told(s, "question")}, {"why", told(s, "why")}});
      s.finish();
    }
    r.finish();
    const Json& own = lesson["words"][own_language];
    for (const char* list : {"steps", "aims", "limits", "worksheet"})
      if (words[list].size() != own[list].size())
        r.error(list, "the lesson itself has " + std::to_string(own[list].size()) +
                          " of these, here are " + std::to_string(words[list].size()));
    problems.refuse_if_any();
    lesson["words"][code] = std::move(words);
  }

 private:
  /// Puts the newborn's case into the page's cases and gives its name there; empty when absent.
  std::string newborn(files::Reader& r, std::string_view key, const std::string& place,
                      files::Problems& problems) {
    auto told = r.maybe_map(key);
    if (!told) return {};
    const auto path = told->file("case", models_.folder);
    const auto changes = told->given("change")
                             ? told->texts("change")
                             : (told->texts("change"), std::vector<std::string>{});
    told->finish();
    if (!path) return {};
    const auto file = files::read_case(*path, models_, changes, problems);
    if (problems.refused()) return {};
    cases_["lesson/" + place] = lesson_case(file, models_);
    return "lesson/" + place;
  }

  static Json guess_of(files::Reader& r) {
    const auto output = r.which("output");
    Json guess{{"output", r.word("output")},
               {"of", r.word("of")},
               {"at", r.quantity("at")},
               {"per_kg", r.flag("per_kg")},
               {"low", r.quantity("low")},
               {"high", r.quantity("high")},
               {"unit", simulate::output_list[output].unit}};
    if (!(guess["low"].get<double>() < guess["high"].get<double>()))
      r.error("high", "the axis has no height: high must lie above low");
    r.finish();
    return guess;
  }

  const files::Models& models_;
  Json& cases_;
};

/// A file of words: a map from keys to texts.
Json words_of(const fs::path& path) {
  files::Problems problems;
  const auto document = files::read_document(path, problems);
  problems.refuse_if_any();
  Json words = Json::object();
  for (const auto& entry : document->root.entries) {
    if (!entry.value.is_text()) problems.error(entry.value.origin, entry.key, "a text is expected");
    words[entry.key] = entry.value.text;
  }
  problems.refuse_if_any();
  return words;
}

/// Titles of cases and protocols stand in their own files in the first language.
bool is_title(std::string_view key) {
  return key.starts_with("case.") || key.starts_with("protocol.");
}

/// Every language has the same keys as the first, and the titles that it translates.
void compare_keys(const Json& own, const Json& other, const fs::path& path) {
  files::Problems problems;
  for (const auto& [key, text] : own.items())
    if (!other.contains(key))
      problems.error({}, {},
                     path.filename().string() + ": the words of \"" + key + "\" are missing");
  for (const auto& [key, text] : other.items())
    if (!own.contains(key) && !is_title(key))
      problems.error({}, {}, path.filename().string() + ": the page has no words \"" + key + "\"");
  problems.refuse_if_any();
}

}  // namespace

const KeyTable& lesson_keys() {
  using namespace files;
  static const KeyTable table{
      "lesson", "A lesson: two newborns, and steps with questions to be guessed.",
      with(common_keys(),
           {map("first", newborn_keys(), "newborn A").required(),
            map("second", newborn_keys(), "newborn B").required(),
            quantity("hours", "h", "how much of the course is shown")
                .possible(0.5, 200)
                .fallback("6 h"),
            maps("steps", step_keys(), "the steps in their order").length(1, 20).required()})};
  return table;
}

const KeyTable& lesson_translation_keys() {
  using namespace files;
  static const KeyTable table{
      "lesson translation", "The words of a lesson in another language.",
      with(
          common_keys(),
          {maps("steps", step_word_keys(), "as many as the lesson has").length(1, 20).required()})};
  return table;
}

Json read_lessons(const files::Models& models, const std::vector<std::string>& own, Json& cases) {
  const fs::path folder = models.folder / "lessons";
  Json page{{"languages", Json::array()}, {"lessons", Json::array()}};
  const fs::path first = folder / "words" / (std::string(own_language) + ".yaml");
  page["languages"].push_back({{"code", own_language}, {"words", words_of(first)}});
  for (const auto& name : files::file_names(folder / "words")) {
    const fs::path path = folder / "words" / name;
    if (path == first || path.extension() != ".yaml") continue;
    Json words = words_of(path);
    compare_keys(page["languages"][0]["words"], words, path);
    page["languages"].push_back({{"code", path.stem().string()}, {"words", std::move(words)}});
  }
  std::vector<fs::path> paths;
  for (const auto& name : files::file_names(folder))
    if (fs::path(name).extension() == ".yaml") paths.push_back(folder / name);
  paths.insert(paths.end(), own.begin(), own.end());
  LessonReader reader(models, cases);
  for (const auto& path : paths) {
    Json lesson = reader.read(path);
    for (std::size_t i = 1; i < page["languages"].size(); ++i) {
      const std::string code = page["languages"][i]["code"];
      const fs::path translation = path.parent_path() / code / path.filename();
      if (fs::exists(translation)) reader.translate(lesson, code, translation);
    }
    page["lessons"].push_back(std::move(lesson));
  }
  return page;
}

}  // namespace serosa::runner
