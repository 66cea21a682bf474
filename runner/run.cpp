// SPDX-License-Identifier: Apache-2.0
#include <memory>

#include "runner/commands.hpp"
#include "runner/computation.hpp"

namespace serosa::runner {

void add_run(CLI::App& app, Command& chosen, const std::string& command_line) {
  const auto request = std::make_shared<Request>();
  request->command_line = command_line;
  CLI::App* const command =
      app.add_subcommand("run", "Computes one case: where the water went, and what it leaves");
  request->cases.resize(1);
  command->add_option("CASE", request->cases.front(), "The case file")
      ->required()
      ->type_name("FILE");
  add_options(*command, *request);
  command->footer(
      "Examples:\n"
      "  serosa run models/cases/exposed.yaml\n"
      "  serosa run models/cases/wrapped.yaml --at \"30 min, 2 h\" --until \"12 h\"\n"
      "  serosa run models/cases/wrapped.yaml --set \"baby.weight=2.1 kg\" "
      "--set \"timeline.wrap.at=10 min\"\n"
      "  serosa run models/cases/day-one.yaml --out results/first-try --quiet\n"
      "  serosa run models/cases/exposed.yaml --spread 400\n\n" +
      help_end());
  command->callback([request, &chosen] { chosen = [request] { return carry_out(*request); }; });
}

}  // namespace serosa::runner
