// SPDX-License-Identifier: Apache-2.0
// plan, sweep, merge and case: the commands of a batch.
#include <fmt/format.h>

#include <fstream>
#include <memory>

#include "runner/batch.hpp"
#include "runner/commands.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner {

namespace {

constexpr const char* design_words[] = {"full grid",       "random",
                                        "Latin hypercube", "scrambled Sobol' sequence",
                                        "radial design",   "trajectories"};

files::ExitCode plan(const BatchRequest& request) {
  const auto study = load_study(request);
  const auto& s = study->file.study;
  const int threads = thread_count(request, false);
  const Needs needs = needs_of(*study, threads);
  std::string text = s.title + "\n\n";
  if (!s.note.empty()) text += wrapped(s.note, 0, 0) + "\n";
  const bool grid = s.design.kind == study::DesignKind::full_grid;
  text += fmt::format("Design   {} {}, {}{}\n", s.runs(), what_is_drawn(s),
                      design_words[static_cast<std::size_t>(s.design.kind)],
                      grid ? "" : fmt::format(", seed {}", s.design.seed));
  for (std::size_t a = 0; a < s.arms.size(); ++a)
    text += fmt::format("{}  {}: {}\n", a == 0 ? "Arms   " : "       ", s.arms[a].name,
                        s.arms[a].title);
  text += fmt::format("Runs     {} of {}\n", s.runs() * s.arms.size(),
                      files::time_label(s.times.back()));
  text += fmt::format("Time     {} on {} thread{} of this machine ({:.0f} runs/s in a trial)\n",
                      duration_text(needs.seconds), threads, threads == 1 ? "" : "s",
                      needs.runs_per_second * static_cast<double>(s.arms.size()));
  text += fmt::format("Memory   about {}\n", size_text(needs.memory));
  text += fmt::format("Disk     {} while it runs, then at most {}\n",
                      size_text(needs.journal + needs.results), size_text(needs.results));
  std::string outputs, times;
  for (const auto o : s.outputs)
    outputs += (outputs.empty() ? "" : ", ") + std::string(simulate::output_list[o].name);
  for (const double t : s.times) times += (times.empty() ? "" : ", ") + files::time_label(t);
  text += wrapped("Outputs: " + outputs, 0, 9) + wrapped("Times: " + times, 0, 9);
  text += fmt::format("\nInputs that vary ({})\n{}", s.inputs.size(), inputs_table(s));
  print(study->problems.warnings_text() + text + "\n" + std::string(files::caution) + "\n");
  return files::ExitCode::done;
}

struct CaseRequest : BatchRequest {
  std::uint64_t run = 0;
  std::string arm;
  std::string file;
};

files::ExitCode write_case(const CaseRequest& request) {
  const auto study = load_study(request);
  const auto& s = study->file.study;
  if (request.run >= s.runs())
    throw CLI::ValidationError(
        fmt::format("--run {}: the study's runs are 0 to {}", request.run, s.runs() - 1));
  std::size_t arm = 0;
  std::string names;
  while (!request.arm.empty() && arm < s.arms.size() && s.arms[arm].name != request.arm)
    names += (arm ? ", " : "") + s.arms[arm].name, ++arm;
  if (arm == s.arms.size())
    throw CLI::ValidationError("--arm " + files::quote(request.arm) + ": one of " + names);
  study::Drawer drawer(s);
  std::vector<double> values;
  drawer.draw(request.run, values);
  files::Node root = files::case_of_run(study->file, arm, values, request.run);
  if (files::Node* title = root.find("title"))
    *title =
        files::Node::make_text(fmt::format("{} (run {} of {})", title->text, request.run, s.name));
  const std::string text = "# " + std::string(files::caution) + "\n" + files::write_document(root);
  if (request.file.empty()) {
    print(text);
    return files::ExitCode::done;
  }
  if (std::filesystem::exists(request.file))
    throw files::WriteError(files::quote(request.file) + " is there already");
  std::ofstream out(request.file, std::ios::binary);
  out << text;
  out.close();
  if (!out) throw files::WriteError("cannot write " + files::quote(request.file));
  return files::ExitCode::done;
}

}  // namespace

void add_batches(CLI::App& app, Command& chosen, const std::string& command_line) {
  {
    const auto request = std::make_shared<BatchRequest>();
    CLI::App* const command =
        app.add_subcommand("plan", "Says what a study will ask for, before anything starts");
    add_batch_options(*command, *request);
    command->footer("Examples:\n  serosa plan models/studies/demo.yaml\n\n" + help_end());
    command->callback([request, &chosen] { chosen = [request] { return plan(*request); }; });
  }
  {
    const auto request = std::make_shared<BatchRequest>();
    request->command_line = command_line;
    CLI::App* const command =
        app.add_subcommand("sweep", "Carries a study out: many babies, each under every arm");
    add_batch_options(*command, *request);
    command->add_option("--out", request->out,
                        "Folder for the results: new, empty, or of the same study unfinished. "
                        "Default: the next results/STUDY-n, or an unfinished one");
    command->add_option("--part", request->part, "One part of a job array, such as 3/40")
        ->type_name("N/M");
    command->add_flag("--quiet", request->quiet,
                      "Print nothing but the path of the results folder");
    command->footer(
        "Stopped by Ctrl-C or killed, the same command goes on.\n"
        "Examples:\n"
        "  serosa sweep models/studies/demo.yaml\n"
        "  serosa sweep models/studies/cohort.yaml --out results/cohort --threads 4\n"
        "  serosa sweep models/studies/cohort.yaml --out results/cohort --part 3/40\n"
        "  mpirun -n 8 serosa sweep models/studies/cohort.yaml --out results/cohort\n\n" +
        help_end());
    command->callback([request, &chosen] { chosen = [request] { return sweep(*request); }; });
  }
  {
    const auto request = std::make_shared<BatchRequest>();
    request->command_line = command_line;
    CLI::App* const command = app.add_subcommand(
        "merge", "Joins the parts of a study or a review that ran as a job array");
    add_batch_options(*command, *request);
    command->add_option("--out", request->out, "The folder of the parts")->required();
    command->add_flag("--quiet", request->quiet,
                      "Print nothing but the path of the results folder");
    command->footer(
        "Examples:\n  serosa merge models/studies/cohort.yaml --out results/cohort\n"
        "  serosa merge models/reviews/protocols.yaml --out results/protocols\n\n" +
        help_end());
    command->callback([request, &chosen] { chosen = [request] { return merge(*request); }; });
  }
  {
    const auto request = std::make_shared<CaseRequest>();
    CLI::App* const command =
        app.add_subcommand("case", "Writes the case file of one run of a study");
    add_batch_options(*command, *request);
    command->add_option("--run", request->run, "Number of the run, from 0")->required();
    command->add_option("--arm", request->arm, "Name of the arm; the first when left out");
    command->add_option("--out", request->file, "File to write, instead of printing it");
    command->footer(
        "`serosa run` on that file repeats the run to the bit.\n"
        "Examples:\n  serosa case models/studies/demo.yaml --run 17 --arm wrapped --out 17.yaml\n"
        "  serosa run 17.yaml\n\n" +
        help_end());
    command->callback([request, &chosen] { chosen = [request] { return write_case(*request); }; });
  }
}

}  // namespace serosa::runner
