// SPDX-License-Identifier: Apache-2.0
#include <memory>

#include "runner/commands.hpp"
#include "runner/page.hpp"

namespace serosa::runner {

void add_page(CLI::App& app, Command& chosen) {
  struct Wish {
    std::string folder;
    bool quiet = false;
  };
  const auto wish = std::make_shared<Wish>();
  CLI::App* const command = app.add_subcommand(
      "page", "Makes the page report.html of a results folder again, from its data files alone");
  command->add_option("FOLDER", wish->folder, "The folder that a command left")
      ->required()
      ->type_name("DIR");
  command->add_flag("--quiet", wish->quiet, "Print nothing but the path of the page");
  command->footer("Example:\n  serosa page results/exposed-vs-wrapped-1\n\n" + help_end());
  command->callback([wish, &chosen] {
    chosen = [wish] {
      write_page(wish->folder);
      const std::string path = (std::filesystem::path(wish->folder) / "report.html").string();
      print(wish->quiet ? path + "\n" : "Page: " + path + "\n");
      return files::ExitCode::done;
    };
  });
}

}  // namespace serosa::runner
