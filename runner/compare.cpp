// SPDX-License-Identifier: Apache-2.0
#include <memory>

#include "runner/commands.hpp"
#include "runner/computation.hpp"

namespace serosa::runner {

void add_compare(CLI::App& app, Command& chosen, const std::string& command_line) {
  const auto request = std::make_shared<Request>();
  request->command_line = command_line;
  CLI::App* const command = app.add_subcommand(
      "compare", "Computes several cases and explains what makes their deficits differ");
  command->add_option("CASES", request->cases, "Two or more case files; the first is the measure")
      ->required()
      ->expected(2, 100)
      ->type_name("FILE");
  add_options(*command, *request);
  command->footer(
      "--set, --at and --until apply to all cases.\n\n"
      "Examples:\n"
      "  serosa compare models/cases/exposed.yaml models/cases/wrapped.yaml\n"
      "  serosa compare models/cases/wrapped.yaml models/cases/wrapped-late.yaml --at \"1 h\" "
      "--at \"6 h\"\n"
      "  serosa compare models/cases/exposed.yaml models/cases/wrapped.yaml "
      "--set \"baby.gestation=34 wk\"\n"
      "  serosa compare models/cases/exposed.yaml models/cases/wrapped.yaml --spread 400\n\n" +
      help_end());
  command->callback([request, &chosen] { chosen = [request] { return carry_out(*request); }; });
}

}  // namespace serosa::runner
