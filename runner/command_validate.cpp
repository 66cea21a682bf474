// SPDX-License-Identifier: Apache-2.0
// `serosa validate`: the model against published experiments.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "files/csv.hpp"
#include "files/experiment_file.hpp"
#include "files/results.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/credibility.hpp"
#include "runner/page_section.hpp"
#include "runner/page_validation.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner {

namespace {

namespace fs = std::filesystem;
using study::Verdict;

constexpr std::size_t widest_reading = 40;

struct Wish {
  std::vector<std::string> files;
  std::string out;
  std::string models;
  bool summary = false;
  bool document = false;
  bool format = false;
  bool quiet = false;
};

Validation validate(const Wish& wish) {
  Validation all;
  files::Problems problems;
  const fs::path folder = models_folder(wish.models);
  auto bibliography = files::read_bibliography(folder / "references.bib", problems);
  all.models = files::read_models(folder, bibliography ? &*bibliography : nullptr, problems);
  problems.refuse_if_any();
  all.bibliography = std::move(*bibliography);
  std::vector<fs::path> paths(wish.files.begin(), wish.files.end());
  const bool shipped = paths.empty();
  if (shipped) paths = files::published_experiments(folder);
  for (const fs::path& path : paths) {
    // A file of somebody else may cite works that the bibliography here does not hold.
    const bool ours = shipped || path.lexically_normal().parent_path() == folder / "published";
    auto read =
        files::read_experiment(path, all.models, ours ? &all.bibliography : nullptr, problems);
    all.experiments.push_back(std::move(read.experiment));
  }
  problems.refuse_if_any();
  all.outcomes = study::carry_out(all.experiments);
  return all;
}

std::string verdict_word(Verdict v) {
  switch (v) {
    case Verdict::holds:
      return "holds";
    case Verdict::fails:
      return "FAILS";
    case Verdict::known_failure:
      return "known failure";
    case Verdict::known_failure_holds:
      return "holds (listed)";
    case Verdict::not_computed:
      return "NOT COMPUTED";
    case Verdict::shown:
      return "shown";
  }
  return {};
}

std::string published_text(const study::Reading& r) {
  return r.published && r.published->value ? figure(*r.published->value) : "";
}

std::string band_text(const study::Reading& r) {
  if (!r.published) return "";
  const auto& p = *r.published;
  if (std::isinf(p.low)) return "< " + figure(p.high);
  if (std::isinf(p.high)) return "> " + figure(p.low);
  return figure(p.low) + " to " + figure(p.high);
}

std::string in_sentence(const study::Reading& r) {
  return r.unit == "1" ? r.name : r.name + " [" + r.unit + "]";  // as in the CSV of a run
}

std::string table(const Validation& all) {
  TextTable t({"published", "band", "simulated", "verdict"});
  for (std::size_t part = 0; part < study::model_parts.size(); ++part)
    for (std::size_t i = 0; i < all.experiments.size(); ++i) {
      const auto& e = all.experiments[i];
      if (static_cast<std::size_t>(e.part) != part) continue;
      const auto role = study::roles[static_cast<std::size_t>(e.role)].word;
      t.heading(fmt::format("{}: {} ({}; {}; {})", study::model_parts[part].word, e.title, e.name,
                            role, e.practice.empty() ? e.source : e.practice));
      for (std::size_t k = 0; k < e.readings.size(); ++k) {
        const auto& finding = all.outcomes[i].findings[k];
        // Longer names would push columns below the table.
        t.row("  " + cut(in_sentence(e.readings[k]), widest_reading),
              {published_text(e.readings[k]), band_text(e.readings[k]), figure(finding.simulated),
               verdict_word(finding.verdict)});
      }
    }
  return t.text();
}

/// What a reader must be told beside the table.
std::string remarks(const Validation& all) {
  std::string text;
  const auto add = [&](const std::string& sentence) {
    text += wrapped(files::visible(sentence, 2000), 0, 2);
  };
  for (std::size_t i = 0; i < all.experiments.size(); ++i) {
    const auto& e = all.experiments[i];
    for (std::size_t arm = 0; arm < e.arms.size(); ++arm) {
      const auto& run = all.outcomes[i].runs[arm];
      if (run.status == simulate::RunStatus::finished) continue;
      add(fmt::format(
          "{}, arm {}: {}{}, at {}", e.name, e.arms[arm].name, simulate::message(run.status),
          run.state < 0
              ? std::string()
              : fmt::format(" ({})", baby::state_list[static_cast<std::size_t>(run.state)].meaning),
          files::time_label(run.time)));
    }
    for (std::size_t k = 0; k < e.readings.size(); ++k) {
      const auto& reading = e.readings[k];
      const Verdict v = all.outcomes[i].findings[k].verdict;
      if (v == Verdict::known_failure)
        add(fmt::format("{}, {}: known failure: {}", e.name, reading.name, reading.known_failure));
      if (v == Verdict::known_failure_holds)
        add(fmt::format("{}, {}: listed as a known failure, but it holds", e.name, reading.name));
    }
  }
  return text;
}

std::string csv(const Validation& all) {
  files::CsvWriter w;
  for (const char* head : {"experiment", "title", "part", "role", "source", "reading", "unit",
                           "published", "low", "high", "spread", "simulated", "verdict", "reason"})
    w.text(head);
  w.end_row();
  const double none = std::nan("");
  for (std::size_t i = 0; i < all.experiments.size(); ++i) {
    const auto& e = all.experiments[i];
    for (std::size_t k = 0; k < e.readings.size(); ++k) {
      const auto& r = e.readings[k];
      const auto& finding = all.outcomes[i].findings[k];
      w.text(e.name).text(e.title);
      w.text(study::model_parts[static_cast<std::size_t>(e.part)].word);
      w.text(study::roles[static_cast<std::size_t>(e.role)].word).text(e.source);
      w.text(r.name).text(r.unit);
      w.number(r.published ? r.published->value.value_or(none) : none);
      w.number(r.published && std::isfinite(r.published->low) ? r.published->low : none);
      w.number(r.published && std::isfinite(r.published->high) ? r.published->high : none);
      w.text(r.published ? r.published->spread : "").number(finding.simulated);
      w.text(study::verdicts[static_cast<std::size_t>(finding.verdict)].word);
      w.text(r.known_failure).end_row();
    }
  }
  return w.bytes();
}

bool failed(const Validation& all) {
  return std::any_of(all.outcomes.begin(), all.outcomes.end(), [](const auto& outcome) {
    return outcome.verdict == Verdict::fails || outcome.verdict == Verdict::not_computed;
  });
}

files::ExitCode carry_out(const Wish& wish) {
  if (wish.format) {
    print(files::documentation(files::experiment_keys()) + "\n" + std::string(files::caution) +
          "\n");
    return files::ExitCode::done;
  }
  const Validation all = validate(wish);
  const auto code = failed(all) ? files::ExitCode::published_check_failed : files::ExitCode::done;
  if (wish.summary) {
    print(summary_line(all) + "\n");
    return code;
  }
  const std::string document = credibility_document(all);
  if (wish.document) {
    print(document);
    return code;
  }
  const std::string remarked = remarks(all);
  const std::string text = table(all) + (remarked.empty() ? "" : "\n" + remarked) + "\n" +
                           summary_line(all) + "\n" + std::string(files::caution) + "\n";
  auto folder = wish.out.empty() ? files::ResultsFolder::claim_next("results", "validation")
                                 : files::ResultsFolder::claim(wish.out);
  folder.write("table.txt", text);
  folder.write("validation.csv", csv(all));
  folder.write("credibility.md", document);
  page::write(folder, page_of_validation(all));
  folder.keep();
  print(wish.quiet ? folder.path().string() + "\n"
                   : text + "\nResults: " + folder.path().string() +
                         "\nPage:    " + (folder.path() / "report.html").string() + "\n");
  return code;
}

}  // namespace

void add_validate(CLI::App& app, Command& chosen) {
  const auto wish = std::make_shared<Wish>();
  CLI::App* const command =
      app.add_subcommand("validate", "Holds the model against published experiments");
  command->add_option("FILES", wish->files,
                      "Files of experiments; all that come along when none is given");
  command->add_option("--out", wish->out,
                      "Folder for the results; new or empty. Default: the next "
                      "results/validation-n");
  command->add_flag("--quiet", wish->quiet, "Print nothing but the path of the results folder");
  auto* const summary = command->add_flag("--summary", wish->summary,
                                          "Only say how many checks hold, in one line; no folder");
  auto* const document = command->add_flag("--document", wish->document,
                                           "Print the credibility document (Markdown); no folder");
  auto* const format =
      command->add_flag("--format", wish->format, "Print the keys of a file of an experiment");
  summary->excludes(document)->excludes(format);
  document->excludes(format);
  command
      ->add_option("--models", wish->models,
                   "Folder of the data files, instead of the one that belongs to the program")
      ->type_name("DIR");
  command->footer(
      "Examples:\n"
      "  serosa validate\n"
      "  serosa validate models/published/adult-ringer.yaml my-experiment.yaml\n"
      "  serosa validate --document > credibility.md\n\n" +
      help_end());
  command->callback([wish, &chosen] { chosen = [wish] { return carry_out(*wish); }; });
}

}  // namespace serosa::runner
