// SPDX-License-Identifier: Apache-2.0
// The program `serosa`.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <exception>

#include "files/problems.hpp"
#include "files/results.hpp"
#include "runner/build_info.hpp"
#include "runner/commands.hpp"
#include "runner/fit.hpp"
#include "runner/text_table.hpp"
#include "simulate/isa.hpp"

namespace serosa::runner {

std::string help_end() {
  std::string text = "Exit codes:\n";
  for (const auto& row : files::exit_codes())
    text += wrapped(fmt::format("{}  {}", static_cast<int>(row.code), row.sentence), 2, 5);
  return text + "\n" + std::string(files::caution);
}

void print(const std::string& text) {
  if (std::fwrite(text.data(), 1, text.size(), stdout) != text.size() || std::fflush(stdout) != 0)
    throw files::WriteError("cannot write to standard output");
}

namespace {

std::string version_text() {
  const auto build = build_info();
  std::string sets;
  for (const auto set : simulate::available_instruction_sets())
    sets += (sets.empty() ? "" : ", ") + std::string(simulate::name(set));
  return fmt::format("serosa {} (commit {}; {}, {}; instruction sets {})\n{}", build.version,
                     build.commit, build.compiler, build.build_type, sets, files::caution);
}

/// Standard streams that whoever started us had closed lead nowhere; else the next file opened
/// would take their numbers, and messages would land in it.
void close_gaps() {
  for (int stream = 0; stream <= 2; ++stream)
    if (::fcntl(stream, F_GETFD) == -1 && ::open("/dev/null", O_RDWR) != stream) std::abort();
}

std::string typed(int count, char** arguments) {
  std::string text = "serosa";
  for (int i = 1; i < count; ++i) {
    const std::string argument = arguments[i];
    const bool plain =
        !argument.empty() && argument.find_first_of(" \"'\\$&|;<>()*?\n") == std::string::npos;
    text += plain ? " " + argument : " '" + argument + "'";
  }
  return text;
}

/// Runs what was chosen; every way out has its number.
files::ExitCode finish(const Command& command) {
  using files::ExitCode;
  try {
    return command();
  } catch (const files::InputError& refusal) {
    fmt::print(stderr, "{}", refusal.what());
    return ExitCode::input_refused;
  } catch (const files::WriteError& failure) {
    fmt::print(stderr, "serosa: {}\n", failure.what());
    return ExitCode::could_not_write;
  } catch (const CLI::ValidationError& misuse) {
    fmt::print(stderr, "serosa: {}\n", misuse.what());
    return ExitCode::usage;
  } catch (const std::exception& fault) {
    fmt::print(stderr, "serosa: a fault of the program itself, please report it: {}\n",
               fault.what());
    return ExitCode::internal;
  }
}

int main_of_program(int count, char** arguments) {
  close_gaps();
  CLI::App app("serosa: water, volume and heat of a newborn with exposed bowel", "serosa");
  app.set_version_flag("--version", version_text());
  app.require_subcommand(1);
  app.get_formatter()->column_width(26);
  Command chosen;
  const std::string command_line = typed(count, arguments);
  add_run(app, chosen, command_line);
  add_compare(app, chosen, command_line);
  add_batches(app, chosen, command_line);
  add_sensitivity(app, chosen, command_line);
  add_fit(app, chosen, command_line);
  add_explain(app, chosen);
  add_new(app, chosen);
  add_list(app, chosen);
  add_document(app, chosen);
  add_page(app, chosen);
  add_lesson(app, chosen);
  add_validate(app, chosen);
  add_about(app, chosen);
  add_review(app, chosen, command_line);
  add_target(app, chosen);
  app.footer(
      "Examples:\n"
      "  serosa run models/cases/exposed.yaml\n"
      "  serosa compare models/cases/exposed.yaml models/cases/wrapped.yaml\n"
      "  serosa explain dried_serosa_resistance\n"
      "  serosa validate\n"
      "`serosa run --help` and the like tell more.\n\n" +
      help_end());
  try {
    app.parse(count, arguments);
  } catch (const CLI::ParseError& end) {
    // Help and version come this way too, with 0.
    if (app.exit(end) == 0) return static_cast<int>(files::ExitCode::done);
    return static_cast<int>(files::ExitCode::usage);
  }
  return static_cast<int>(finish(chosen));
}

}  // namespace
}  // namespace serosa::runner

int main(int count, char** arguments) { return serosa::runner::main_of_program(count, arguments); }
