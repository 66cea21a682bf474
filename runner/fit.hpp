// SPDX-License-Identifier: Apache-2.0
#pragma once
#include <string>

#include "runner/commands.hpp"

namespace serosa::runner {

/// The command `fit`, as the commands of commands.hpp.
void add_fit(CLI::App& app, Command& chosen, const std::string& command_line);

}  // namespace serosa::runner
