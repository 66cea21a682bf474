// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <memory>
#include <optional>

#include "files/csv.hpp"
#include "files/models.hpp"
#include "files/results.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/json_report.hpp"
#include "runner/text_table.hpp"
#include "simulate/output_formulas.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

struct Question {
  std::string name;
  std::string output;
  bool all = false;
  bool csv = false;
  bool outputs = false;
  bool json = false;
  std::string models;
};

/// The data files with their bibliography.
struct Library {
  files::Models models;
  files::Bibliography bibliography;
};

Library read_library(const std::string& option) {
  files::Problems problems;
  Library library;
  const auto folder = models_folder(option);
  if (auto read = files::read_bibliography(folder / "references.bib", problems))
    library.bibliography = std::move(*read);
  library.models = files::read_models(folder, &library.bibliography, problems);
  problems.refuse_if_any();
  return library;
}

std::string meaning_of(files::Grade grade) {
  switch (grade) {
#define SEROSA_ITEM(name, word, meaning) \
  case files::Grade::name:               \
    return meaning;
    SEROSA_GRADES(SEROSA_ITEM)
#undef SEROSA_ITEM
  }
  return {};
}

std::string meaning_of(files::Distribution distribution) {
  switch (distribution) {
#define SEROSA_ITEM(name, word, meaning) \
  case files::Distribution::name:        \
    return meaning;
    SEROSA_DISTRIBUTIONS(SEROSA_ITEM)
#undef SEROSA_ITEM
  }
  return {};
}

std::string citation(const files::ParameterEntry& p, const files::Bibliography& bibliography) {
  const auto found = bibliography.find(p.source_key);
  return found == bibliography.end() ? std::string() : found->second.full_citation();
}

std::string quantity(double value, const std::string& unit) {
  return units::shortest(value) + (unit == "1" ? "" : " " + units::shown(unit));
}

std::string described(const files::ParameterEntry& p, const files::Bibliography& bibliography) {
  std::string text = files::visible(p.name) + "\n";
  // wrapped() takes several blanks as one, so the label is put in front afterwards.
  const auto labelled = [&](const std::string& label, const std::string& content) {
    if (content.empty()) return;
    const std::string body = wrapped(files::visible(content, 2000), 16, 16);
    text += "  " + left(label, 14) + body.substr(16);
  };
  labelled("value", quantity(p.value, p.unit));
  labelled("range", quantity(p.range.low, p.unit) + " to " + quantity(p.range.high, p.unit));
  labelled("drawn",
           std::string(files::word_of(p.distribution)) + ": " + meaning_of(p.distribution));
  labelled("grade", std::string(files::word_of(p.grade)) + ": " + meaning_of(p.grade));
  labelled("source", p.source_key + (p.source_where.empty() ? "" : ", " + p.source_where));
  labelled("", citation(p, bibliography));
  if (const auto found = bibliography.find(p.source_key); found != bibliography.end())
    labelled("seen", found->second.field("note"));
  labelled("note", p.note);
  if (p.unit != p.model_unit) labelled("in the model", quantity(p.model_value, p.model_unit));
  if (p.origin.source)
    labelled("stands in", p.origin.source->name + ":" + std::to_string(p.origin.line));
  return text;
}

std::string table_csv(const Library& library) {
  files::CsvWriter csv;
  for (const char* head : {"name", "value", "unit", "low", "high", "distribution", "grade",
                           "source", "where", "reference", "note"})
    csv.text(head);
  csv.end_row();
  for (const auto& p : library.models.parameters) {
    csv.text(p.name).number(p.value).text(p.unit).number(p.range.low).number(p.range.high);
    csv.text(files::word_of(p.distribution)).text(files::word_of(p.grade));
    csv.text(p.source_key).text(p.source_where).text(citation(p, library.bibliography));
    csv.text(p.note).end_row();
  }
  return csv.bytes();
}

std::string list_of_parameters(const Library& library) {
  TextTable table({"value", "unit", "grade", "source"});
  for (const auto& p : library.models.parameters)
    table.row(p.name, {units::shortest(p.value), units::shown(p.unit),
                       std::string(files::word_of(p.grade)), cut(p.source_key, 18)});
  return table.text();
}

std::string list_of_outputs() {
  std::string text;
  for (const auto& o : simulate::output_list)
    text += fmt::format("  {} {}{}\n", left(o.name, 22), left("[" + std::string(o.unit) + "]", 13),
                        o.meaning);
  return text;
}

/// Reports a name that is not known, with the nearest that is.
[[noreturn]] void refuse_unknown(const char* what, const std::string& name,
                                 const std::vector<std::string>& known, const char* list) {
  const std::string near = units::nearest(name, known);
  throw CLI::ValidationError(fmt::format("there is no {} {}{}. `serosa explain {}` lists them",
                                         what, files::quote(name),
                                         near.empty() ? "" : "; did you mean " + near + "?", list));
}

std::string explain_output(const std::string& name) {
  std::vector<std::string> known;
  for (std::size_t i = 0; i < simulate::output::count; ++i) {
    const auto& o = simulate::output_list[i];
    known.emplace_back(o.name);
    if (o.name != name) continue;
    const auto labelled = [](const std::string& label, const std::string& content) {
      return "  " + left(label, 14) + wrapped(content, 16, 16).substr(16);
    };
    return std::string(name) + "\n" +
           labelled("unit", o.unit == "1" ? "1 (a fraction or ratio)" : std::string(o.unit)) +
           labelled("what it is", std::string(o.meaning)) +
           labelled("formula", std::string(simulate::output_formulas[i])) +
           labelled("where", "lib/simulate/outputs.hpp; in the formula " +
                                 std::string(simulate::formula_letters));
  }
  refuse_unknown("output", name, known, "--outputs");
}

/// The cover, fluid, warmer or room of this name; the names of all go to `known`.
std::optional<files::DataFile> find_data(const std::string& name, const Library& library,
                                         std::vector<std::string>& known) {
  using files::DataKind;
  std::optional<files::DataFile> found;
  for (const auto kind : {DataKind::cover, DataKind::fluid, DataKind::warmer, DataKind::room})
    for (const auto& file : files::data_names(library.models.folder, kind)) {
      known.push_back(file);
      if (file != name || found) continue;
      files::Problems problems;
      found = files::read_data_file(
          kind, library.models.folder / files::folder_of(kind) / (file + ".yaml"),
          &library.bibliography, problems);
      problems.refuse_if_any();
    }
  return found;
}

const simulate::OutputInfo* find_output(const std::string& name) {
  for (const auto& o : simulate::output_list)
    if (o.name == name) return &o;
  return nullptr;
}

std::string explain_name(const std::string& name, const Library& library) {
  if (const auto* p = library.models.find(name)) return described(*p, library.bibliography);
  std::vector<std::string> known;
  for (const auto& p : library.models.parameters) known.push_back(p.name);
  if (const auto data = find_data(name, library, known)) {
    std::string text = wrapped(files::visible(data->title, 300), 0, 2);
    if (!data->note.empty()) text += wrapped(files::visible(data->note, 2000), 2, 2);
    for (const auto& number : data->numbers) text += "\n" + described(number, library.bibliography);
    return text;
  }
  if (find_output(name)) return explain_output(name);
  for (const auto& o : simulate::output_list) known.emplace_back(o.name);
  refuse_unknown("parameter, cover, fluid, warmer, room or output", name, known, "--all");
}

/// The same choice as the text makes, as JSON.
std::string explain_json(const Question& q) {
  const Library library = read_library(q.models);
  Explanation what;
  const std::string& name = q.output.empty() ? q.name : q.output;
  std::vector<std::string> known;
  if (q.all) {
    what.numbers = library.models.parameters;
  } else if (q.outputs) {
    what.outputs.assign(simulate::output_list.begin(), simulate::output_list.end());
  } else if (const auto* p = q.output.empty() ? library.models.find(name) : nullptr) {
    what.numbers = {*p};
  } else if (const auto* o = find_output(name)) {
    what.outputs = {*o};
  } else if (const auto data = find_data(name, library, known); data && q.output.empty()) {
    what.title = data->title;
    what.note = data->note;
    what.numbers = data->numbers;
  } else {
    return explain_name(name, library);  // says what is wrong
  }
  return json_explanation(what, library.bibliography);
}

files::ExitCode explain(const Question& q) {
  const std::string end = "\n" + std::string(files::caution) + "\n";
  if (q.json) {
    if (!q.all && !q.outputs && q.output.empty() && q.name.empty())
      throw CLI::ValidationError("--json goes with a NAME, --output NAME, --outputs or --all");
    print(explain_json(q));
  } else if (q.csv) {
    if (!q.all) throw CLI::ValidationError("--csv goes with --all");
    print(table_csv(read_library(q.models)));
  } else if (q.all) {
    print(list_of_parameters(read_library(q.models)) + end);
  } else if (q.outputs) {
    print(list_of_outputs() + end);
  } else if (!q.output.empty()) {
    print(explain_output(q.output) + end);
  } else if (!q.name.empty()) {
    print(explain_name(q.name, read_library(q.models)) + end);
  } else {
    throw CLI::ValidationError("give a NAME, --output NAME, --outputs or --all");
  }
  return files::ExitCode::done;
}

}  // namespace

void add_explain(CLI::App& app, Command& chosen) {
  const auto question = std::make_shared<Question>();
  CLI::App* const command = app.add_subcommand(
      "explain", "Shows a number of the model with its unit, range, source and grade");
  auto* const name = command->add_option("NAME", question->name,
                                         "A parameter, cover, fluid, warmer, room or output");
  auto* const output =
      command->add_option("--output", question->output, "An output: its unit and meaning")
          ->type_name("NAME");
  auto* const all = command->add_flag("--all", question->all, "All parameters, a line each");
  auto* const outputs =
      command->add_flag("--outputs", question->outputs, "All outputs, a line each");
  auto* const csv =
      command->add_flag("--csv", question->csv,
                        "With --all: a table for spreadsheets; the caution then stands here only");
  command->add_flag("--json", question->json, "The answer as JSON")->excludes(csv);
  command
      ->add_option("--models", question->models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  name->excludes(output)->excludes(all)->excludes(outputs);
  output->excludes(all)->excludes(outputs);
  all->excludes(outputs);
  command->footer(
      "Examples:\n"
      "  serosa explain dried_serosa_resistance\n"
      "  serosa explain polyethylene-film\n"
      "  serosa explain --output circulating_deficit\n"
      "  serosa explain --all --csv > parameters.csv\n\n" +
      help_end());
  command->callback([question, &chosen] { chosen = [question] { return explain(*question); }; });
}

}  // namespace serosa::runner
