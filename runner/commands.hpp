// SPDX-License-Identifier: Apache-2.0
// The commands of the program, one source file each.
#pragma once
#include <CLI/CLI.hpp>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "files/exit_codes.hpp"

namespace serosa::runner {

/// What a command does once the command line has been understood.
using Command = std::function<files::ExitCode()>;

/// Each adds its command to the program; when the user chose it, `chosen` becomes what to do.
/// @param command_line  as typed, for the log
void add_run(CLI::App& app, Command& chosen, const std::string& command_line);
/// plan, sweep, merge and case.
void add_batches(CLI::App& app, Command& chosen, const std::string& command_line);
/// sensitivity.
void add_sensitivity(CLI::App& app, Command& chosen, const std::string& command_line);
void add_compare(CLI::App& app, Command& chosen, const std::string& command_line);
void add_about(CLI::App& app, Command& chosen);
void add_explain(CLI::App& app, Command& chosen);
void add_new(CLI::App& app, Command& chosen);
void add_list(CLI::App& app, Command& chosen);
void add_document(CLI::App& app, Command& chosen);
void add_page(CLI::App& app, Command& chosen);
void add_lesson(CLI::App& app, Command& chosen);
void add_validate(CLI::App& app, Command& chosen);
void add_review(CLI::App& app, Command& chosen, const std::string& command_line);
void add_target(CLI::App& app, Command& chosen);

/// The caution and the list of exit codes, for the end of every help text.
std::string help_end();

/// Writes to standard output; throws files::WriteError when it can't be written.
void print(const std::string& text);

}  // namespace serosa::runner
