// SPDX-License-Identifier: Apache-2.0
#include <memory>
#include <string>
#include <vector>

#include "files/results.hpp"
#include "runner/build_info.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/lesson_data.hpp"
#include "runner/lesson_file.hpp"
#include "runner/lesson_parts.hpp"
#include "runner/page_text.hpp"

namespace serosa::runner {

namespace {

struct Wish {
  std::string out = "lesson.html";
  std::string models;
  std::vector<std::string> own;
  bool quiet = false;
  bool json = false;
};

nlohmann::ordered_json data_of(const Wish& wish) {
  const auto folder = models_folder(wish.models);
  files::Problems problems;
  const auto bibliography = files::read_bibliography(folder / "references.bib", problems);
  const auto models = files::read_models(folder, bibliography ? &*bibliography : nullptr, problems);
  problems.refuse_if_any();
  const auto build = build_info();
  nlohmann::ordered_json data = {
      {"format", 1},
      {"kind", "lesson"},
      {"caution", files::caution},
      {"program", {{"name", "serosa"}, {"version", build.version}, {"commit", build.commit}}}};
  data.update(lesson_models(models));
  data.update(read_lessons(models, wish.own, data["cases"]));
  return data;
}

/// One HTML file with all in it. Its policy allows its own script and style, and compiling the
/// model that it carries; nothing may be fetched.
std::string lesson_html(const nlohmann::ordered_json& data) {
  const std::string script(lesson_parts::bundle), style(lesson_parts::style);
  const std::string policy = "default-src 'none'; script-src " + policy_hash(script) +
                             " 'wasm-unsafe-eval'; style-src " + policy_hash(style) +
                             "; img-src blob: data:; base-uri 'none'; form-action 'none'";
  return filled(lesson_parts::form, {{"@CAUTION@", escaped(std::string(files::caution))},
                                     {"@POLICY@", policy},
                                     {"@STYLE@", style},
                                     {"@DATA@", embedded(data)},
                                     {"@MODULE@", std::string(lesson_parts::module)},
                                     {"@SCRIPT@", script}});
}

}  // namespace

void add_lesson(CLI::App& app, Command& chosen) {
  const auto wish = std::make_shared<Wish>();
  CLI::App* const command = app.add_subcommand(
      "lesson", "Writes the lesson: one page that opens offline, with the model inside");
  command->add_option("--out", wish->out, "The page; one that is there is replaced")
      ->type_name("FILE")
      ->capture_default_str();
  command
      ->add_option("--add", wish->own,
                   "A lesson of your own, beside those that come along; may be repeated")
      ->type_name("FILE")
      ->allow_extra_args(false);
  auto* const quiet =
      command->add_flag("--quiet", wish->quiet, "Print nothing but the path of the page");
  command->add_flag("--json", wish->json, "Print what the page knows as JSON and write no page")
      ->excludes(quiet);
  command
      ->add_option("--models", wish->models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command->footer(
      "Two newborns side by side, one difference between them, and the curves move with the\n"
      "controls; lessons with questions to be guessed first, and worksheets to print. Opens in\n"
      "a browser from disk, without a network.\n\n"
      "Examples:\n"
      "  serosa lesson --out lesson.html\n"
      "  serosa lesson --add our-lesson.yaml\n\n" +
      help_end());
  command->callback([wish, &chosen] {
    chosen = [wish] {
      const auto data = data_of(*wish);
      if (wish->json) {
        print(data.dump(1) + "\n");
        return files::ExitCode::done;
      }
      write_whole(wish->out, lesson_html(data));
      print(wish->quiet ? wish->out + "\n" : "Lesson: " + wish->out + "\n");
      return files::ExitCode::done;
    };
  });
}

}  // namespace serosa::runner
