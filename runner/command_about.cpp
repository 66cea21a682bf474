// SPDX-License-Identifier: Apache-2.0
// `serosa about`: what this installation is and can do.
#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <thread>

#include "files/models.hpp"
#include "files/results.hpp"
#include "runner/build_info.hpp"
#include "runner/commands.hpp"
#include "runner/materials.hpp"
#include "runner/ranks.hpp"
#include "runner/text_table.hpp"
#include "simulate/isa.hpp"

namespace serosa::runner {
namespace {

namespace fs = std::filesystem;

/// One line of the checklist.
struct Fact {
  std::string name;
  std::string value;
};

std::string instruction_sets() {
  std::string text;
  for (const auto set : simulate::available_instruction_sets())
    text += (text.empty() ? "" : ", ") + std::string(simulate::name(set));
  return text;
}

/// Where the Python module stands: beside the build, or in the installation.
std::string python_module() {
  std::error_code ignored;
  const fs::path program = fs::read_symlink("/proc/self/exe", ignored).parent_path();
  for (const char* place : {"../python/serosa", "../lib/python3/dist-packages/serosa"})
    if (fs::exists(program / place / "__init__.py", ignored))
      return fs::weakly_canonical(program / place, ignored).parent_path().string();
  return {};
}

std::vector<Fact> facts() {
  const auto build = build_info();
  const auto models = files::default_models_folder();
  const auto python = python_module();
  const auto mpi = ranks_part();
  return {
      {"Version", build.version},
      {"Commit", build.commit},
      {"Compiler", build.compiler + ", " + build.build_type},
      {"Instruction sets", instruction_sets()},
      {"Runs use", std::string(simulate::name(simulate::chosen_instruction_set())) +
                       " (SEROSA_ISA=v2 and the like force another; results are the same)"},
      {"Processors", std::to_string(std::thread::hardware_concurrency())},
      {"Ranks (MPI)",
       mpi.empty() ? "no: the part that speaks MPI is not installed" : "yes, " + mpi},
      {"Python module", python.empty() ? "no: not built or not installed" : "yes, " + python},
      {"Models", models.empty() ? "none found: --models names the folder" : models.string()},
  };
}

files::ExitCode tell(bool json) {
  if (json) {
    nlohmann::ordered_json j{{"format", 1}, {"kind", "about"}, {"caution", files::caution}};
    for (const Fact& fact : facts()) j["installation"][fact.name] = fact.value;
    j["materials"] = nlohmann::ordered_json::array();
    for (const Material& m : materials)
      j["materials"].push_back({{"name", m.name},
                                {"version", m.version},
                                {"license", m.license},
                                {"use", m.use},
                                {"trust", m.trust}});
    print(j.dump(2) + "\n");
    return files::ExitCode::done;
  }
  std::string text;
  for (const Fact& fact : facts()) text += fmt::format("{:<18}{}\n", fact.name, fact.value);
  text += "\nMade with\n";
  int charts = 0;
  for (const Material& m : materials) {
    if (std::string_view(m.use) == "charts of the page") {
      ++charts;
      continue;
    }
    text += wrapped(fmt::format("{} {} ({}): {}", m.name, m.version, m.license, m.use), 2, 4);
  }
  text += fmt::format(
      "  and {} small libraries in the page's bundle of charts; --json lists them\n", charts);
  print(text + "\n" + std::string(files::caution) + "\n");
  return files::ExitCode::done;
}

}  // namespace

void add_about(CLI::App& app, Command& chosen) {
  auto* command = app.add_subcommand("about", "What this installation is and can do");
  auto json = std::make_shared<bool>(false);
  command->add_flag("--json", *json, "As one JSON object, with why each library is trusted");
  command->footer("Examples:\n  serosa about\n  serosa about --json\n\n" + help_end());
  command->callback([&chosen, json] { chosen = [json] { return tell(*json); }; });
}

}  // namespace serosa::runner
