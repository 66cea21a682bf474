// SPDX-License-Identifier: Apache-2.0
#include "runner/credibility.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "files/results.hpp"
#include "runner/text_table.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

using study::Role;
using study::Verdict;

constexpr std::array grades{
#define SEROSA_ITEM(name, word, meaning) std::pair{files::Grade::name, meaning},
    SEROSA_GRADES(SEROSA_ITEM)
#undef SEROSA_ITEM
};

/// A cell of a Markdown table.
std::string cell(std::string_view text) {
  std::string safe;
  for (const char c : text) {
    if (c == '|') safe += '\\';
    safe += c == '\n' ? ' ' : c;
  }
  return safe;
}

std::size_t count(const files::Models& models, files::Grade grade) {
  return static_cast<std::size_t>(std::count_if(models.parameters.begin(), models.parameters.end(),
                                                [&](const auto& p) { return p.grade == grade; }));
}

std::string number(double value, const std::string& unit) {
  return units::shortest(value) + (unit == "1" ? "" : " " + std::string(units::shown(unit)));
}

std::string context() {
  return "## Question of interest and context of use\n\n"
         "Question: how much water does an exposed bowel cost a newborn against a wrapped one, "
         "where "
         "does the water go, and what difference do warmer, draught, seal, tension, timing and "
         "fluids "
         "make?\n\n"
         "Context of use: teaching, and review of a unit's protocol by people who know the care of "
         "such babies. The program compares invented cases. Model influence: it supplements "
         "judgement and is never the only ground of a decision. Consequence of a wrong answer: a "
         "wrong emphasis in teaching; harm only if somebody doses by it, which it forbids. In the "
         "terms of ASME V&V 40 the model risk is low in this use and would be high in any use at "
         "the "
         "bedside, for which it is not credible.\n\n";
}

std::string evidence_by_part(const Validation& all) {
  std::string text =
      "## Evidence for each part of the model\n\n"
      "Comparator: published experiments, read as data (`models/published`). A check was never "
      "used "
      "to set a parameter; a calibration experiment was, or states the value that a parameter has. "
      "The band is the published mean ± 2 SD, the stated interval, or ± 20 % where no spread is "
      "given.\n\n"
      "| part | checks | hold | known failures | unexplained | calibration | hold |\n"
      "|---|---|---|---|---|---|---|\n";
  for (std::size_t i = 0; i < study::model_parts.size(); ++i) {
    const auto part = static_cast<study::ModelPart>(i);
    const auto check = study::tally(all.experiments, all.outcomes, Role::check, part);
    const auto calibration = study::tally(all.experiments, all.outcomes, Role::calibration, part);
    text += fmt::format("| {} | {} | {} | {} | {} | {} | {} |\n", study::model_parts[i].word,
                        check.all, check.holding, check.known_failures, check.failing,
                        calibration.all, calibration.holding);
  }
  return text + "\n" + summary_line(all) + "\n\n";
}

std::string misses(const Validation& all) {
  std::string text = "## Where it misses, and why\n\n";
  bool any = false;
  for (std::size_t i = 0; i < all.experiments.size(); ++i)
    for (std::size_t k = 0; k < all.experiments[i].readings.size(); ++k) {
      const auto& e = all.experiments[i];
      const auto& r = e.readings[k];
      const auto& finding = all.outcomes[i].findings[k];
      if (finding.verdict == Verdict::holds || finding.verdict == Verdict::shown) continue;
      any = true;
      text +=
          fmt::format("- **{}** ({}, {}), {}: {} {}, {}.{}\n", cell(e.title), e.name, e.source,
                      cell(r.name), figure(finding.simulated), r.unit == "1" ? "" : cell(r.unit),
                      study::verdicts[static_cast<std::size_t>(finding.verdict)].meaning,
                      r.known_failure.empty() ? "" : " " + cell(r.known_failure) + ".");
    }
  return text + (any ? "\n" : "Nowhere.\n\n");
}

std::string pedigree(const Validation& all) {
  std::string text =
      "## Pedigree of the numbers\n\n| grade | parameters | meaning |\n|---|---|---|\n";
  for (const auto& [grade, meaning] : grades)
    text += fmt::format("| {} | {} | {} |\n", files::word_of(grade), count(all.models, grade),
                        cell(meaning));
  text +=
      "\n### Set from calibration experiments\n\n| parameter | value | range | from |\n"
      "|---|---|---|---|\n";
  const std::string mark = "set from ";
  for (const auto& p : all.models.parameters) {
    const auto at = p.note.find(mark);
    if (at == std::string::npos) continue;
    const auto from = p.note.substr(at + mark.size());
    text += fmt::format("| `{}` | {} | {} to {} | {} |\n", p.name, number(p.value, p.unit),
                        units::shortest(p.range.low), units::shortest(p.range.high),
                        cell(from.substr(0, from.find_first_of(":;"))));
  }
  return text + "\n";
}

/// Ratio of the ends of a range about the value; the widest first.
double width(const files::ParameterEntry& p) {
  const double size = std::abs(p.value);
  return size > 0 ? (p.range.high - p.range.low) / size : 0;
}

std::string assumptions(const Validation& all) {
  std::vector<const files::ParameterEntry*> assumed;
  for (const auto& p : all.models.parameters)
    if (p.grade == files::Grade::assumption) assumed.push_back(&p);
  std::stable_sort(assumed.begin(), assumed.end(),
                   [](const auto* a, const auto* b) { return width(*a) > width(*b); });
  std::string text = fmt::format(
      "## What is assumption, and what would change the conclusions\n\n"
      "{} numbers are assumptions; these twenty have the widest ranges for their value. A "
      "conclusion "
      "that turns when one of them moves through its range is not supported. `serosa sweep` shows "
      "that; the order here says nothing about influence.\n\n"
      "| parameter | value | range | note |\n|---|---|---|---|\n",
      assumed.size());
  for (std::size_t i = 0; i < std::min<std::size_t>(20, assumed.size()); ++i) {
    const auto& p = *assumed[i];
    text += fmt::format("| `{}` | {} | {} to {} | {} |\n", p.name, number(p.value, p.unit),
                        units::shortest(p.range.low), units::shortest(p.range.high), cell(p.note));
  }
  return text +
         "\nBeside the parameters: the area that loops of bowel expose, the seal that hands "
         "achieve "
         "and the share that is herniated are inputs of each case and as uncertain as any of "
         "these.\n\n";
}

std::string ten_rules(const Validation& all) {
  const auto check = study::tally(all.experiments, all.outcomes, Role::check);
  return fmt::format(
      "## Ten rules of credible practice\n\n(erdemir2020; the list is from memory.)\n\n"
      "| rule | here |\n|---|---|\n"
      "| define the context | above |\n"
      "| use the right data | {} parameters, each with unit, range, source and grade; {} measured "
      "in "
      "newborns, {} assumptions |\n"
      "| evaluate in the context | {} of {} checks hold; none is a bowel of a newborn in the open "
      "|\n"
      "| state the limits | below |\n"
      "| version control | every result names version and commit |\n"
      "| document | inputs, outputs and this page come from the lists the program itself uses |\n"
      "| disseminate | source, data and cases under an open licence |\n"
      "| independent review | not yet: nobody outside has reviewed the model |\n"
      "| compare implementations | the same rates by a second and a third solver, scalar against "
      "eight abreast, derivatives against differences (`tests/simulate`, `tests/laws`) |\n"
      "| conform to standards | CF conventions for results, BibTeX, JSON Schema; no clinical "
      "standard is claimed |\n\n",
      all.models.parameters.size(), count(all.models, files::Grade::measured),
      count(all.models, files::Grade::assumption), check.holding, check.all);
}

std::string limits() {
  return "## Limits\n\n"
         "- No evaporation of human gastroschisis bowel has been measured, nor a cover of it on "
         "the "
         "bench; exposed against wrapped rests on physics, on animals and on grown people.\n"
         "- Blood glucose, potassium, lactate, infection and diseases of the heart are not in the "
         "model; meconium and stool are not in its weight.\n"
         "- The checks test parts, under conditions that are often not printed; what was assumed "
         "of "
         "them stands in each file.\n"
         "- Calibration is by hand within the ranges; the fit has no stated uncertainty.\n";
}

}  // namespace

std::string summary_line(const Validation& all) {
  const auto check = study::tally(all.experiments, all.outcomes, Role::check);
  const auto calibration = study::tally(all.experiments, all.outcomes, Role::calibration);
  return fmt::format(
      "{} of {} checks against published experiments hold ({} known failures, {} unexplained); {} "
      "of {} calibration experiments hold.",
      check.holding, check.all, check.known_failures, check.failing, calibration.holding,
      calibration.all);
}

std::string credibility_document(const Validation& all) {
  return fmt::format(
             "# How far serosa can be believed\n\n> **{}**\n\nWritten by `serosa validate "
             "--document` from the grades of the parameters and from runs of the published "
             "experiments.\n\n",
             files::caution) +
         context() + evidence_by_part(all) + misses(all) + pedigree(all) + assumptions(all) +
         ten_rules(all) + limits();
}

}  // namespace serosa::runner
