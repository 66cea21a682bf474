// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <fstream>
#include <map>
#include <memory>
#include <set>
#include <sstream>

#include "files/case_file.hpp"
#include "files/experiment_file.hpp"
#include "files/fit_file.hpp"
#include "files/models.hpp"
#include "files/protocol_file.hpp"
#include "files/results.hpp"
#include "files/review_file.hpp"
#include "files/study_file.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "simulate/output_formulas.hpp"
#include "simulate/run_status.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

namespace fs = std::filesystem;

struct Page {
  std::string name;
  std::string text;
};

/// A cell of a Markdown table.
std::string cell(std::string_view text) {
  std::string safe;
  for (const char c : text) {
    if (c == '|') safe += '\\';
    safe += c == '\n' ? ' ' : c;
  }
  return safe;
}

std::string row(std::initializer_list<std::string_view> cells) {
  std::string text = "|";
  for (const auto c : cells) text += " " + cell(c) + " |";
  return text + "\n";
}

std::string page_head(const std::string& title, const std::string& about) {
  return fmt::format(
      "# {}\n\n> **{}**\n\n{} Written by `serosa document` from the lists that the program itself "
      "uses.\n\n",
      title, files::caution, about);
}

/// A name that other pages link to.
std::string anchored(std::string_view name) { return fmt::format("<a id=\"{0}\"></a>`{0}`", name); }

Page inputs() {
  using files::DataKind;
  std::string text = page_head(
      "Inputs", "Every key of the files that are read: what it takes, its default, its meaning.");
  text += files::documentation(files::case_keys());
  text +=
      "Every map may also say `remove` for a key, and a case may begin with `based_on: FILE` and "
      "say only what differs from that file.\n\n";
  for (const auto kind : {DataKind::cover, DataKind::fluid, DataKind::warmer, DataKind::room})
    text += files::documentation(files::data_keys(kind));
  text += files::documentation(files::experiment_keys());
  text += files::documentation(files::protocol_keys());
  text += files::documentation(files::review_keys());
  text += files::documentation(files::study_keys());
  text += files::documentation(files::cohort_keys());
  text += files::documentation(files::fit_keys());
  text += "Each number of these data files, and each parameter, is a map of its own:\n\n";
  return {"inputs.md", text + files::documentation(files::parameter_keys())};
}

Page controls() {
  std::string text =
      page_head("What `hold` may hold",
                "What people and the room do to the baby at a moment; the act `hold` "
                "sets one of these directly.");
  text += row({"name", "unit", "meaning"}) + "|---|---|---|\n";
  for (const auto& c : baby::control_list) text += row({anchored(c.name), c.unit, c.meaning});
  return {"controls.md", text};
}

Page outputs() {
  std::string text = page_head("Outputs", "Every figure a run tells.");
  text += "In the formulas " + std::string(simulate::formula_letters) + ".\n\n";
  text += row({"name", "unit", "meaning", "formula"}) + "|---|---|---|---|\n";
  for (std::size_t i = 0; i < simulate::output::count; ++i) {
    const auto& o = simulate::output_list[i];
    text += row(
        {anchored(o.name), o.unit, o.meaning, fmt::format("`{}`", simulate::output_formulas[i])});
  }
  return {"outputs.md", text};
}

Page states() {
  std::string text =
      page_head("States", "Every number that is integrated, with the tolerance it is kept to.");
  const auto part = [&](std::size_t from, std::size_t to) {
    text += row({"name", "unit", "absolute tolerance", "meaning"}) + "|---|---|---|---|\n";
    for (std::size_t i = from; i < to; ++i) {
      const auto& s = baby::state_list[i];
      text += row({anchored(s.name), s.unit, units::shortest(s.absolute_tolerance), s.meaning});
    }
    text += "\n";
  };
  text += "## Stores, which the rates read\n\n";
  part(0, baby::state::stores);
  text += "## Ledgers, which only count\n\n";
  part(baby::state::stores, baby::state::count);
  return {"states.md", text};
}

Page parameters(const files::Models& models, const files::Bibliography& bibliography) {
  std::string text =
      page_head("Parameters", "Every number of the model, with range, source and grade.");
  text += row({"name", "value", "range", "unit", "grade", "source", "note", "stands in"}) +
          "|---|---|---|---|---|---|---|---|\n";
  std::set<std::string> sources;
  for (const auto& p : models.parameters) {
    const bool known = bibliography.count(p.source_key) != 0;
    if (known) sources.insert(p.source_key);
    const std::string source =
        known ? fmt::format("[{0}](#source-{0})", p.source_key) : p.source_key;
    const std::string where = p.source_where.empty() ? "" : ", " + p.source_where;
    const std::string file =
        p.origin.source ? fmt::format("models/parameters/{}:{}",
                                      p.origin.source->path.filename().string(), p.origin.line)
                        : "";
    text += row({anchored(p.name), units::shortest(p.value),
                 units::shortest(p.range.low) + " to " + units::shortest(p.range.high),
                 units::shown(p.unit), files::word_of(p.grade), source + where, p.note, file});
  }
  text += "\n## Sources\n\n";
  for (const auto& key : sources)
    text += fmt::format("- <a id=\"source-{0}\"></a>`{0}`: {1}\n", key,
                        bibliography.at(key).full_citation());
  return {"parameters.md", text};
}

Page statuses() {
  std::string text =
      page_head("How it ends", "The numbers that the program returns, and the ways a run can end.");
  text += "## Exit codes\n\n" + row({"code", "name", "meaning"}) + "|---|---|---|\n";
  for (const auto& e : files::exit_codes())
    text += row({std::to_string(static_cast<int>(e.code)), e.name, e.sentence});
  text += "\n## Run status\n\n" + row({"number", "name", "meaning"}) + "|---|---|---|\n";
  for (const auto& s : simulate::run_statuses)
    text += row({std::to_string(static_cast<int>(s.status)), s.name, s.message});
  return {"statuses.md", text};
}

/// What a name in braces stands for; empty when nothing is called so.
std::string linked(const std::string& name, const files::Models& models) {
  const auto link = [&](const char* page) { return fmt::format("[{0}]({1}#{0})", name, page); };
  if (name.find('/') != std::string::npos) return fmt::format("`{}`", name);
  if (models.find(name)) return link("parameters.md");
  for (const auto& s : baby::state_list)
    if (s.name == name) return link("states.md");
  for (const auto& c : baby::control_list)
    if (c.name == name) return link("controls.md");
  for (const auto& o : simulate::output_list)
    if (o.name == name) return link("outputs.md");
  return {};
}

/// The equations' text with every `{name}` turned into a link to the parameter, state, control or
/// output, and every `{lib/…}` into the source file's name.
Page equations(const files::Models& models) {
  const fs::path path = models.folder / "documentation" / "equations.md";
  files::Problems problems;
  const auto source = files::read_source(path, problems);
  problems.refuse_if_any();
  std::string text;
  const std::string& from = source->text;
  for (std::size_t at = 0; at < from.size();) {
    const std::size_t open = from.find('{', at);
    const std::size_t close = open == std::string::npos ? open : from.find('}', open);
    if (close == std::string::npos) {
      text += from.substr(at);
      break;
    }
    const std::string name = from.substr(open + 1, close - open - 1);
    const std::string link = linked(name, models);
    if (link.empty()) {
      files::Problems unknown;
      const auto line = 1 + std::count(from.begin(), from.begin() + static_cast<long>(open), '\n');
      unknown.error({source, static_cast<int>(line), 0}, {},
                    "no parameter, state, control or output is called " + files::quote(name));
      unknown.refuse_if_any();
    }
    text += from.substr(at, open - at) + link;
    at = close + 1;
  }
  return {"equations.md", text};
}

files::ExitCode document(const std::string& folder, const std::string& models_option) {
  files::Problems problems;
  const fs::path place = models_folder(models_option);
  const auto bibliography = files::read_bibliography(place / "references.bib", problems);
  problems.refuse_if_any();
  const auto models = files::read_models(place, &*bibliography, problems);
  problems.refuse_if_any();
  auto out = files::ResultsFolder::claim(folder);
  std::string list;
  for (const Page& page : {inputs(), outputs(), states(), controls(),
                           parameters(models, *bibliography), equations(models), statuses()}) {
    out.write(page.name, page.text);
    list += (out.path() / page.name).string() + "\n";
  }
  out.keep();
  print(list);
  return files::ExitCode::done;
}

}  // namespace

void add_document(CLI::App& app, Command& chosen) {
  const auto folder = std::make_shared<std::string>();
  const auto models = std::make_shared<std::string>();
  CLI::App* const command = app.add_subcommand(
      "document", "Writes the documentation of every input, output, state, parameter and equation");
  command->add_option("DIR", *folder, "A folder that is new or empty")
      ->required()
      ->type_name("DIR");
  command
      ->add_option("--models", *models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command->footer("Example:\n  serosa document serosa-documentation\n\n" + help_end());
  command->callback([folder, models, &chosen] {
    chosen = [folder, models] { return document(*folder, *models); };
  });
}

}  // namespace serosa::runner
