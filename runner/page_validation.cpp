// SPDX-License-Identifier: Apache-2.0
#include "runner/page_validation.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <sstream>

#include "runner/page_common.hpp"
#include "runner/page_inputs.hpp"
#include "runner/page_section.hpp"
#include "runner/page_words.hpp"

namespace serosa::runner {

namespace {

using Json = PageData;
using page::said;
using study::Role;
using study::Verdict;

/// More rows than this make a chart taller than a sheet of paper.
constexpr std::size_t rows_per_chart = 11;

std::string capital(std::string text) {
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

class ValidationPage {
 public:
  explicit ValidationPage(const Validation& all) : all_(all) {}

  Json page() {
    Json made = page::document("The model against published experiments",
                               "Does the model find what was measured, and where does it not?");
    Json& list = made["sections"];
    list.push_back(overview());
    for (std::size_t part = 0; part < study::model_parts.size(); ++part)
      if (Json s = part_section(part); !s.is_null()) list.push_back(std::move(s));
    list.push_back(misses());
    for (auto& s : document_sections()) list.push_back(std::move(s));
    list.push_back(words_section(
        {{"SD, SE", "standard deviation, and standard error of a mean"},
         {"Check", "an experiment that was never used to set a number of the model"},
         {"Calibration", "an experiment that set a number of the model, or states it"},
         {"Band",
          "the published mean ± 2 SD, the stated interval, or ± 20 % where no spread is given"}}));
    return made;
  }

 private:
  struct Row {
    const study::Experiment* experiment;
    const study::Reading* reading;
    const study::Finding* finding;
  };

  std::vector<Row> rows(std::size_t part) const {
    std::vector<Row> list;
    for (std::size_t i = 0; i < all_.experiments.size(); ++i) {
      const auto& e = all_.experiments[i];
      if (static_cast<std::size_t>(e.part) != part) continue;
      for (std::size_t k = 0; k < e.readings.size(); ++k)
        if (e.readings[k].published)
          list.push_back({&e, &e.readings[k], &all_.outcomes[i].findings[k]});
    }
    return list;
  }

  static std::string unit_of(const study::Reading& r) { return behind_figure(r.unit); }

  static std::string band_words(const study::Reading& r) {
    const auto& p = *r.published;
    if (std::isinf(p.low)) return "less than " + said(p.high) + unit_of(r);
    if (std::isinf(p.high)) return "more than " + said(p.low) + unit_of(r);
    return said(p.low) + " to " + said(p.high) + unit_of(r);
  }

  static bool two_sided(const study::Reading& r) {
    const auto& p = *r.published;
    return std::isfinite(p.low) && std::isfinite(p.high) && p.high > p.low;
  }

  // ---- In all

  Json overview() const {
    page::Shares chart;
    chart.counted = "experiments";
    page::SharePanel panel{"Checks, by part of the model", {}, {}, {}};
    panel.parts = {{"in the published band", "inside"},
                   {"outside, known and explained", "over"},
                   {"outside, not explained", "failed"}};
    page::Table table{{"Part of the model", "What it covers", "Checks", "hold", "known failures",
                       "unexplained", "Calibrations", "hold"},
                      {}};
    for (std::size_t i = 0; i < study::model_parts.size(); ++i) {
      const auto part = static_cast<study::ModelPart>(i);
      const auto c = study::tally(all_.experiments, all_.outcomes, Role::check, part);
      const auto k = study::tally(all_.experiments, all_.outcomes, Role::calibration, part);
      if (c.all + k.all == 0) continue;
      const std::string name = capital(std::string(study::model_parts[i].word));
      table.rows.push_back({name, std::string(study::model_parts[i].meaning),
                            fmt::format("{}", c.all), fmt::format("{}", c.holding),
                            fmt::format("{}", c.known_failures), fmt::format("{}", c.failing),
                            fmt::format("{}", k.all), fmt::format("{}", k.holding)});
      if (c.all == 0) continue;
      const auto n = static_cast<double>(c.all);
      panel.categories.push_back(
          fmt::format("{} ({} {})", name, c.all, c.all == 1 ? "experiment" : "experiments"));
      panel.shares.push_back({static_cast<double>(c.holding) / n,
                              static_cast<double>(c.known_failures) / n,
                              static_cast<double>(c.failing) / n});
    }
    const std::vector<std::string> text{
        "A check was never used to set a number of the model; a calibration was, or states the "
        "number "
        "itself. An experiment holds when all its readings lie in their published bands."};
    if (panel.categories.empty())
      return page::section({"overview", "In all", summary_line(all_), text}, table);
    chart.panels.push_back(std::move(panel));
    Json s = page::section({"overview", "In all", summary_line(all_), text}, chart);
    s["below"] = page::section({"o", "o", "o"}, table)["data"];
    return s;
  }

  // ---- By part

  Json part_section(std::size_t part) const {
    const auto list = rows(part);
    if (list.empty()) return {};
    const std::string name = capital(std::string(study::model_parts[part].word));
    std::size_t in = 0;
    page::Intervals chart;
    page::Table table{
        {"Experiment", "Reading", "Published", "Band", "Simulated", "Outcome", "Source"}, {}};
    std::vector<const Row*> drawn;
    for (const auto& row : list) {
      const bool holds = row.reading->published->holds(row.finding->simulated);
      in += holds;
      if (two_sided(*row.reading) && std::isfinite(row.finding->simulated)) drawn.push_back(&row);
      const auto& r = *row.reading;
      table.rows.push_back(
          {in_words(row.experiment->title) +
               (row.experiment->role == Role::calibration ? " (calibration)" : ""),
           capital(in_words(r.name)),
           r.published->value ? said(*r.published->value) + unit_of(r) : "–",
           band_words(r) + (r.published->spread.empty() ? "" : " (" + r.published->spread + ")"),
           said(row.finding->simulated) + unit_of(r),
           std::string(study::verdicts[static_cast<std::size_t>(row.finding->verdict)].meaning),
           source_of(*row.experiment)});
    }
    const std::size_t charts = (drawn.size() + rows_per_chart - 1) / rows_per_chart;
    for (std::size_t k = 0; k < charts; ++k) {
      const std::size_t first = k * drawn.size() / charts, end = (k + 1) * drawn.size() / charts;
      chart.panels.push_back(
          panel(std::span(drawn).subspan(first, end - first),
                charts == 1 ? name : fmt::format("{}, {} of {}", name, k + 1, charts)));
    }
    const page::About about{
        "part-" + std::to_string(part + 1),
        name,
        fmt::format("{}: {} of {} published readings met", name, in, list.size()),
        {capital(std::string(study::model_parts[part].meaning)) +
         ". Each published band is drawn from its lower to its upper end; the figures stand in the "
         "rows and below."}};
    Json s = chart.panels.empty() ? page::section(about, table) : page::section(about, chart);
    if (chart.panels.empty()) {
      s["data"]["prose"] = true;
    } else {
      s["below"] = page::section({"t", "t", "t"}, table)["data"];
      s["below"]["prose"] = true;
    }
    return s;
  }

  /// All bands from 0 to 1, so that readings of any unit stand on one axis.
  page::IntervalPanel panel(std::span<const Row* const> list, const std::string& title) const {
    page::IntervalPanel p{
        title, {"Place in the published band: 0 its lower, 1 its upper end", ""}, {}};
    page::IntervalSeries published{"Published, with its band", "case:5", {}},
        in{"Simulated, in the band", "case:1", {}},
        out{"Simulated, outside the band", "case:2", {}};
    out.hollow = true;
    for (const Row* row : list) {
      const auto& r = *row->reading;
      const auto place = [&](double x) {
        return (x - r.published->low) / (r.published->high - r.published->low);
      };
      p.categories.push_back(
          fmt::format("{}, {}: published {}, simulated {}", in_words(row->experiment->title),
                      in_words(r.name), band_words(r), said(row->finding->simulated) + unit_of(r)));
      published.points.push_back({r.published->value ? place(*r.published->value) : 0.5, 0, 1});
      // Far outside is far outside: an axis that reached everything would press all others
      // together.
      const double x = std::clamp(place(row->finding->simulated), -1.5, 2.5);
      const bool holds = r.published->holds(row->finding->simulated);
      in.points.push_back(holds ? page::Interval{x} : page::Interval{});
      out.points.push_back(holds ? page::Interval{} : page::Interval{x});
    }
    p.series = {published, in, out};
    p.hollow = false;
    p.together = true;
    return p;
  }

  std::string source_of(const study::Experiment& e) const {
    if (!e.practice.empty()) return in_words(e.practice);
    const auto found = all_.bibliography.find(e.source);
    if (found == all_.bibliography.end()) return in_words(e.source);
    return found->second.short_citation() + (e.where.empty() ? "" : ", " + in_words(e.where));
  }

  // ---- Misses

  /// Keys of works and names of files and numbers, as people read them.
  std::string in_words(const std::string& text) const {
    const std::string plain = remark_in_words(text, all_.models);
    std::string result;
    const auto of_key = [](char c) {
      return std::isalnum(static_cast<unsigned char>(c)) || c == '_';
    };
    for (std::size_t at = 0; at < plain.size();) {
      std::size_t end = at;
      while (end < plain.size() && of_key(plain[end])) ++end;
      if (end == at) {
        result += plain[at++];
        continue;
      }
      const std::string word = plain.substr(at, end - at);
      const auto work = all_.bibliography.find(word);
      const bool key =
          work != all_.bibliography.end() && word.find_first_of("0123456789_") != std::string::npos;
      result += key ? work->second.short_citation() : word;
      at = end;
    }
    return result;
  }

  Json misses() const {
    page::Table table{{"Experiment", "Reading", "Published band", "Simulated", "Why"}, {}};
    for (std::size_t part = 0; part < study::model_parts.size(); ++part)
      for (const auto& row : rows(part)) {
        const auto v = row.finding->verdict;
        if (v == Verdict::holds || v == Verdict::shown) continue;
        table.rows.push_back(
            {in_words(row.experiment->title), capital(in_words(row.reading->name)),
             band_words(*row.reading), said(row.finding->simulated) + unit_of(*row.reading),
             row.reading->known_failure.empty()
                 ? capital(std::string(study::verdicts[static_cast<std::size_t>(v)].meaning))
                 : in_words(row.reading->known_failure)});
      }
    if (table.rows.empty())
      return page::section({"misses", "Where it misses, and why", "Nowhere"},
                           page::List{{"Every reading lies in its band."}});
    Json s = page::section({"misses", "Where it misses, and why",
                            fmt::format("{} readings outside their band", table.rows.size())},
                           table);
    s["data"]["prose"] = true;
    return s;
  }

  // ---- The credibility document

  /// The document's chapters as sections: paragraphs, lists and tables of its Markdown. The
  /// chapters that stand above with their figures are left out.
  std::vector<Json> document_sections() const {
    std::vector<Json> list;
    std::istringstream in(credibility_document(all_));
    Json section;
    const auto finish = [&] {
      if (!section.is_null() && !section["data"]["blocks"].empty())
        list.push_back(std::move(section));
      section = nullptr;
    };
    for (std::string line; std::getline(in, line);) {
      if (line.rfind("## ", 0) == 0) {
        finish();
        const std::string title = line.substr(3);
        if (title.rfind("Evidence", 0) == 0 || title.rfind("Where it misses", 0) == 0) continue;
        section =
            page_section("document-" + std::to_string(list.size() + 1), "document", title, title);
        section["data"] = {{"blocks", Json::array()}};
        continue;
      }
      if (section.is_null() || line.empty()) continue;
      Json& blocks = section["data"]["blocks"];
      const std::string last = blocks.empty() ? "" : blocks.back().value("kind", "");
      if (line.rfind("### ", 0) == 0) {
        blocks.push_back({{"kind", "heading"}, {"text", line.substr(4)}});
      } else if (line[0] == '|') {
        if (line.rfind("|---", 0) == 0) continue;
        Json cells = Json::array();
        for (auto& cell : cells_of(line)) cells.push_back(plain(cell));
        if (last != "table")
          blocks.push_back({{"kind", "table"}, {"head", cells}, {"rows", Json::array()}});
        else
          blocks.back()["rows"].push_back(cells);
      } else if (line.rfind("- ", 0) == 0) {
        if (last != "list") blocks.push_back({{"kind", "list"}, {"items", Json::array()}});
        blocks.back()["items"].push_back(plain(line.substr(2)));
      } else {
        blocks.push_back({{"kind", "paragraph"}, {"text", plain(line)}});
      }
    }
    finish();
    return list;
  }

  static std::vector<std::string> cells_of(const std::string& line) {
    std::vector<std::string> cells;
    std::string cell;
    for (std::size_t i = 1; i < line.size(); ++i) {
      if (line[i] == '\\' && i + 1 < line.size() && line[i + 1] == '|') {
        cell += line[++i];
      } else if (line[i] == '|') {
        const auto first = cell.find_first_not_of(' ');
        cells.push_back(first == std::string::npos
                            ? ""
                            : cell.substr(first, cell.find_last_not_of(' ') - first + 1));
        cell.clear();
      } else {
        cell += line[i];
      }
    }
    return cells;
  }

  /// Without the marks of Markdown; names of numbers become their labels. What is no name of a
  /// parameter stays in its back quotes' place: folders and commands.
  std::string plain(const std::string& text) const {
    std::string result;
    for (std::size_t at = 0; at < text.size();) {
      if (text[at] == '`') {
        const auto end = text.find('`', at + 1);
        if (end == std::string::npos) break;
        const std::string name = text.substr(at + 1, end - at - 1);
        result += all_.models.find(name) ? input_in_words(name) : name;
        at = end + 1;
      } else if (text.compare(at, 2, "**") == 0) {
        at += 2;
      } else {
        result += text[at++];
      }
    }
    return in_words(result);
  }

  const Validation& all_;
};

}  // namespace

PageData page_of_validation(const Validation& all) { return ValidationPage(all).page(); }

}  // namespace serosa::runner
