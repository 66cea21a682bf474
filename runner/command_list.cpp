// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>

#include "files/case_file.hpp"
#include "files/experiment_file.hpp"
#include "files/fit_file.hpp"
#include "files/models.hpp"
#include "files/paths.hpp"
#include "files/protocol_file.hpp"
#include "files/reader.hpp"
#include "files/review_file.hpp"
#include "files/results.hpp"
#include "files/study_file.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/lesson_file.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner {

namespace {

namespace fs = std::filesystem;

struct Wish {
  std::string what;
  std::string schema;
  std::string models;
  bool json = false;
};

/// One line: what is called how, and what it is.
struct Item {
  std::string name;
  std::string title;
  std::string note;
};

/// The cases of the models, with what they are based on taken into account.
std::vector<Item> cases(const fs::path& folder) {
  std::vector<Item> items;
  for (const auto& name : files::file_names(folder / "cases")) {
    const fs::path path = folder / "cases" / name;
    if (path.extension() != ".yaml") continue;
    files::Problems problems;
    const auto document = files::read_based_document(path, folder, problems);
    problems.refuse_if_any();
    const auto text = [&](const char* key) {
      const files::Node* node = document->root.find(key);
      return node ? node->text : std::string();
    };
    items.push_back({path.stem().string(), text("title"), text("note")});
  }
  // By name, not by file name: `bleeding` before `bleeding-untreated`.
  std::sort(items.begin(), items.end(),
            [](const Item& a, const Item& b) { return a.name < b.name; });
  return items;
}

std::vector<Item> data_files(const fs::path& folder, files::DataKind kind) {
  std::vector<Item> items;
  for (const auto& name : files::data_names(folder, kind)) {
    files::Problems problems;
    const auto file = files::read_data_file(
        kind, folder / files::folder_of(kind) / (name + ".yaml"), nullptr, problems);
    problems.refuse_if_any();
    items.push_back({name, file.title, file.note});
  }
  return items;
}

std::vector<Item> protocols(const fs::path& folder) {
  std::vector<Item> items;
  for (const auto& name : files::protocol_names(folder)) {
    files::Problems problems;
    const auto document = files::read_document(folder / "protocols" / (name + ".yaml"), problems);
    problems.refuse_if_any();
    const auto text = [&](const char* key) {
      const files::Node* node = document->root.find(key);
      return node ? node->text : std::string();
    };
    items.push_back({name, text("title"), text("note")});
  }
  return items;
}

using Group = std::pair<std::string, std::vector<Item>>;

std::vector<Group> groups(const Wish& wish) {
  const fs::path folder = models_folder(wish.models);
  std::vector<Group> all;
  const auto wanted = [&](std::string_view what) { return wish.what.empty() || wish.what == what; };
  if (wanted("cases")) all.emplace_back("cases", cases(folder));
  using files::DataKind;
  for (const auto kind : {DataKind::cover, DataKind::fluid, DataKind::warmer, DataKind::room})
    if (wanted(files::folder_of(kind)))
      all.emplace_back(files::folder_of(kind), data_files(folder, kind));
  if (wanted("protocols")) all.emplace_back("protocols", protocols(folder));
  return all;
}

std::string as_lines(const std::vector<Group>& all) {
  std::string text;
  for (const auto& [what, items] : all) {
    std::size_t width = 0;
    for (const auto& item : items) width = std::max(width, item.name.size());
    text += (text.empty() ? "" : "\n") + what + "\n";
    for (const auto& item : items)
      text += "  " + left(item.name, width) + "  " +
              cut(files::visible(item.title, 300), page_width - width - 4) + "\n";
  }
  return text;
}

std::string as_json(const std::vector<Group>& all) {
  nlohmann::ordered_json out{{"format", 1}, {"kind", "list"}, {"caution", files::caution}};
  for (const auto& [what, items] : all) {
    auto& list = out[what] = nlohmann::ordered_json::array();
    for (const auto& item : items)
      list.push_back({{"name", item.name}, {"title", item.title}, {"note", item.note}});
  }
  return out.dump(2) + "\n";
}

/// What a JSON Schema can be had of.
const std::vector<std::pair<std::string, const files::KeyTable*>>& schemas() {
  using files::DataKind;
  static const std::vector<std::pair<std::string, const files::KeyTable*>> all = {
      {"case", &files::case_keys()},
      {"cover", &files::data_keys(DataKind::cover)},
      {"fluid", &files::data_keys(DataKind::fluid)},
      {"warmer", &files::data_keys(DataKind::warmer)},
      {"room", &files::data_keys(DataKind::room)},
      {"experiment", &files::experiment_keys()},
      {"fit", &files::fit_keys()},
      {"study", &files::study_keys()},
      {"protocol", &files::protocol_keys()},
      {"review", &files::review_keys()},
      {"cohort", &files::cohort_keys()},
      {"lesson", &lesson_keys()}};
  return all;
}

std::vector<std::string> kinds_with_schema() {
  std::vector<std::string> kinds;
  for (const auto& [kind, table] : schemas()) kinds.push_back(kind);
  return kinds;
}

/// The JSON Schema of a kind of file, for editors.
std::string schema_of(const std::string& wanted) {
  for (const auto& [kind, table] : schemas())
    if (kind == wanted) return files::json_schema(*table);
  return {};
}

files::ExitCode list(const Wish& wish) {
  if (!wish.schema.empty()) {
    print(schema_of(wish.schema));
    return files::ExitCode::done;
  }
  const auto all = groups(wish);
  print(wish.json ? as_json(all) : as_lines(all) + "\n" + std::string(files::caution) + "\n");
  return files::ExitCode::done;
}

}  // namespace

void add_list(CLI::App& app, Command& chosen) {
  const auto wish = std::make_shared<Wish>();
  CLI::App* const command = app.add_subcommand(
      "list", "Shows the cases, covers, fluids, warmers, rooms and protocols, a line each");
  auto* const what =
      command
          ->add_option("WHAT", wish->what,
                       "Only these: cases, covers, fluids, warmers, rooms or protocols")
          ->check(CLI::IsMember({"cases", "covers", "fluids", "warmers", "rooms", "protocols"}))
          ->type_name("WHAT");
  auto* const schema = command
                           ->add_option("--schema", wish->schema,
                                        "Prints the JSON Schema of a kind of file, for editors")
                           ->check(CLI::IsMember(kinds_with_schema()))
                           ->type_name("KIND");
  schema->excludes(what);
  command->add_flag("--json", wish->json, "The list as JSON")->excludes(schema);
  command
      ->add_option("--models", wish->models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command->footer(
      "Examples:\n"
      "  serosa list\n"
      "  serosa list covers\n"
      "  serosa list --schema case > models/schema/case.schema.json\n\n" +
      help_end());
  command->callback([wish, &chosen] { chosen = [wish] { return list(*wish); }; });
}

}  // namespace serosa::runner
