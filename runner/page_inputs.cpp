// SPDX-License-Identifier: Apache-2.0
#include "runner/page_inputs.hpp"

#include <cctype>
#include <nlohmann/json.hpp>

#include "files/bibliography.hpp"
#include "runner/page_words.hpp"
#include "simulate/outputs.hpp"

namespace serosa::runner {

using Json = nlohmann::ordered_json;

namespace {

bool of_name(char c) {
  return std::islower(static_cast<unsigned char>(c)) ||
         std::isdigit(static_cast<unsigned char>(c)) || c == '_' || c == '-';
}

/// The title of a published experiment; empty when there is none of this name.
std::string experiment_title(const std::filesystem::path& models, const std::string& name) {
  const auto path = models / "published" / (name + ".yaml");
  std::error_code failure;
  if (!std::filesystem::is_regular_file(path, failure)) return {};
  files::Problems ignored;
  const auto document = files::read_document(path, ignored);
  const auto* title = document ? document->root.find("title") : nullptr;
  return title && title->is_text() ? title->text : std::string();
}

/// What a name stands for, in words; empty when it is an ordinary word.
std::string words_for(const std::string& name, const files::Models& models) {
  const bool low = name.find('_') != std::string::npos, high = name.find('-') != std::string::npos;
  if (high)
    if (const auto title = experiment_title(models.folder, name); !title.empty())
      return "“" + title + "”";
  if (!low) return {};
  if (models.find(name)) return "“" + input_in_words(name) + "”";
  for (const auto& output : simulate::output_list)
    if (output.name == name)
      return "“" +
             output_in_words(name, std::string(output.meaning), std::string(output.unit)).label +
             "”";
  return plain_name(name);
}

void replace_all(std::string& text, const std::string& from, const std::string& to) {
  for (auto at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size()))
    text.replace(at, from.size(), to);
}

}  // namespace

std::string remark_in_words(const std::string& note, const files::Models& models) {
  std::string text;
  for (std::size_t at = 0; at < note.size();) {
    std::size_t end = at;
    while (end < note.size() && of_name(note[end])) ++end;
    if (end == at) {
      text += note[at++];
      continue;
    }
    const std::string name = note.substr(at, end - at);
    const std::string words = words_for(name, models);
    text += words.empty() ? name : words;
    at = end;
  }
  replace_all(text, "degC", "°C");
  replace_all(text, "cm2", "cm²");
  replace_all(text, "m2", "m²");
  return text;
}

std::string inputs_json(const LoadedStudy& study) {
  files::Problems ignored;
  const auto works = files::read_bibliography(study.models.folder / "references.bib", ignored);
  Json list = Json::array();
  for (const auto& input : study.file.study.inputs) {
    std::string key = input.source, where, work;
    if (const auto comma = key.find(','); comma != std::string::npos) {
      where = key.substr(comma);
      key = key.substr(0, comma);
    }
    std::string source = input.source;
    if (works)
      if (const auto found = works->find(key); found != works->end()) {
        source = found->second.short_citation() + where;
        if (key != "own") work = found->second.full_citation();
      }
    Json one{{"path", input.path},
             {"label", varied_in_words(input.path)},
             {"law", input.law_text},
             {"unit", input.unit},
             {"source", source},
             {"work", work},
             {"of_cohort", input.of_cohort}};
    if (input.parameter) {
      const auto& p = study.models.parameters[*input.parameter];
      one["grade"] = files::word_of(p.grade);
      one["remark"] = remark_in_words(p.note, study.models);
      if (work.empty() && p.source_key == "own") one["source"] = "own reckoning";
    }
    list.push_back(std::move(one));
  }
  return Json{{"format", 1}, {"inputs", list}}.dump(1) + "\n";
}

}  // namespace serosa::runner
