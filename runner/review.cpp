// SPDX-License-Identifier: Apache-2.0
// review: protocols under covers, over a cohort; or a corridor over two inputs.
#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <memory>

#include "files/batch.hpp"
#include "files/netcdf.hpp"
#include "files/review_results.hpp"
#include "runner/batch.hpp"
#include "runner/build_info.hpp"
#include "runner/commands.hpp"
#include "runner/computation.hpp"
#include "runner/page_section.hpp"
#include "runner/text_table.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

namespace fs = std::filesystem;
namespace judgement = study::judgement;
using files::Corridor;
using files::ExitCode;
using files::ReviewFile;
using files::ReviewResult;
using study::Estimate;

struct Loaded {
  files::LoadedStudy study;
  ReviewFile review;
};

std::unique_ptr<Loaded> load(const BatchRequest& request) {
  auto all = std::make_unique<Loaded>();
  auto& problems = all->study.problems;
  const fs::path folder = models_folder(request.models);
  const auto bibliography = files::read_bibliography(folder / "references.bib", problems);
  all->study.models = files::read_models(folder, bibliography ? &*bibliography : nullptr, problems);
  problems.refuse_if_any();
  all->review = files::read_review(request.study, all->study.models, problems);
  problems.refuse_if_any();
  all->study.file = all->review.study;
  const auto build = build_info();
  all->study.fingerprint = files::fingerprint(all->study.file, build.version + " " + build.commit);
  return all;
}

/// `10 %`.
std::string per_cent(double fraction) { return percent(fraction) + " %"; }

// ---- In words -----------------------------------------------------------------------------

struct Row {
  judgement::Index which;
  const char* label;
  bool per_cent;
};
constexpr Row under_rows[] = {{judgement::under, "Babies under-filled, %", true},
                              {judgement::hours_under, "Hours under-filled, %", true}};
constexpr Row over_rows[] = {{judgement::over, "Babies over-filled, %", true},
                             {judgement::hours_over, "Hours over-filled, %", true},
                             {judgement::hours_over_volume, "  by blood volume", true},
                             {judgement::hours_oedema, "  by water between the cells", true},
                             {judgement::hours_dilution, "  by dilution", true},
                             {judgement::hours_weight, "  by weight", true}};
constexpr Row band_rows[] = {{judgement::in_band, "Babies in band, %", true},
                             {judgement::hours_in_band, "Hours in band, %", true}};
constexpr Row other_rows[] = {
    {judgement::sodium_out, "Babies with sodium out of band, %", true},
    {judgement::hours_sodium_low, "Hours with low sodium, %", true},
    {judgement::hours_sodium_high, "Hours with high sodium, %", true},
    {judgement::hours_urine_half, "Hours, urine below 0.5 mL/kg/h, %", true},
    {judgement::hours_urine_one, "Hours, urine below 1 mL/kg/h, %", true},
    {judgement::hours_cold, "Hours with the core below normal, %", true},
    {judgement::hours_warm, "Hours with the core above normal, %", true},
    {judgement::utility, "Utility", false}};
constexpr Row fluid_rows[] = {
    {judgement::fluid, "Fluid given, mL/kg", false},
    {judgement::boluses, "Boluses per baby", false},
    {judgement::bolus_fluid, "Given as boluses, mL/kg", false},
    {judgement::weight_gain, "Weight gained, %", true},
    {judgement::third_space, "In bowel wall, lumen, surface, mL/kg", false}};
constexpr Row chart_rows[] = {{judgement::charted, "Deficit on the chart, mL/kg", false},
                              {judgement::external, "Deficit by every route, mL/kg", false},
                              {judgement::chart_misses, "What the chart misses, mL/kg", false},
                              {judgement::circulating, "Circulating deficit, mL/kg", false},
                              {judgement::uncharted_loss, "Share of loss on no chart, %", true}};

std::string cell(const Estimate& e, bool per_cent) {
  if (std::isnan(e.value)) return "-";
  const double f = per_cent ? 100.0 : 1.0;
  if (std::isnan(e.low)) return figure(f * e.value);
  return fmt::format("{} ({} to {})", figure(f * e.value), figure(f * e.low), figure(f * e.high));
}

std::string ranks_text(const Loaded& all, const ReviewResult& r) {
  TextTable table({"utility", "less the first in rank"});
  table.heading("PROTOCOLS BY UTILITY, all covers together (95 % intervals)");
  for (const auto& rank : r.ranking)
    table.row(all.review.protocols[rank.protocol].name,
              {cell(rank.utility, false),
               &rank == &r.ranking.front() ? "-" : cell(rank.less_best, false)});
  return table.text();
}

std::string cover_text(const Loaded& all, const ReviewResult& r, std::size_t cover) {
  const auto& review = all.review;
  std::vector<std::string> heads;
  for (const auto& p : review.protocols) heads.push_back(p.name);
  TextTable table(heads);
  const auto rows = [&](const char* heading, const auto& list) {
    table.heading(heading);
    for (const Row& row : list) {
      std::vector<std::string> cells;
      for (std::size_t p = 0; p < review.protocols.size(); ++p)
        cells.push_back(cell(r.arms[review.arm(p, cover)][row.which], row.per_cent));
      table.row(row.label, cells);
    }
  };
  rows("TOO LITTLE", under_rows);
  rows("TOO MUCH", over_rows);
  rows("BETWEEN", band_rows);
  rows("SODIUM, URINE, TEMPERATURE", other_rows);
  rows("FLUID, to the end", fluid_rows);
  rows("CHART AGAINST TRUTH, at the end", chart_rows);
  const std::string title = "COVER: " + review.covers[cover] + " ";
  return title + std::string(title.size() < page_width ? page_width - title.size() : 0, '=') +
         "\n" + table.text();
}

std::string corridor_text(const Loaded& all, const ReviewResult& r) {
  const Corridor& c = *all.review.corridor;
  std::string text = fmt::format("SHARE OF HOURS IN BAND, %; * at least {}\n", per_cent(c.level));
  text += "Down: " + c.y.label + "; across: " + c.x.label + "\n";
  TextTable table(c.x.values);
  for (std::size_t iy = c.y.values.size(); iy-- > 0;) {
    std::vector<std::string> cells;
    for (std::size_t ix = 0; ix < c.x.values.size(); ++ix) {
      const double share = r.arms[c.arm(ix, iy)][judgement::hours_in_band].value;
      cells.push_back(figure(100 * share) + (share >= c.level ? " *" : "  "));
    }
    table.row(c.y.values[iy], cells);
  }
  return text + table.text();
}

/// What counts as what, in one paragraph.
std::string bands_text(const Loaded& all) {
  const auto& b = all.review.bands;
  return fmt::format(
      "Under-filled: circulating deficit above {} mL/kg. Over-filled: below {} mL/kg, or more than "
      "{} mL/kg gained between the cells, haematocrit fallen by more than {}, or more than {} of "
      "weight gained. Judged from {} on, each hour; a baby counts when out of band for more than "
      "{} of its hours. Sodium band {} to {} mmol/L.",
      figure(b.deficit_high), figure(b.deficit_low), figure(b.oedema), per_cent(b.dilution),
      per_cent(b.weight_gain), files::time_label(b.from), per_cent(b.allowed), figure(b.sodium_low),
      figure(b.sodium_high));
}

std::string utility_text(const Loaded& all) {
  const auto& u = all.review.utility;
  return fmt::format(
      "Utility, as this file states it: in band {}, under-filled {}, over-filled {}, sodium out "
      "{}, "
      "urine below 0.5 mL/kg/h {}, cold {}, warm {} (each times its share of hours), a bolus {}.",
      u.in_band, u.under, u.over, u.sodium, u.little_urine, u.cold, u.warm, u.bolus);
}

std::string text_of(const Loaded& all, const ReviewResult& r) {
  const auto& s = all.review.study.study;
  std::string text = s.title + "\n" + std::string(files::exploration) + "\n\n";
  text += wrapped(fmt::format("{} babies, {} runs of {}.", s.runs(), s.runs() * s.arms.size(),
                              files::time_label(s.times.back())),
                  0, 0);
  text += wrapped(bands_text(all), 0, 0) + wrapped(utility_text(all), 0, 0) + "\n";
  if (all.review.corridor) {
    text += corridor_text(all, r);
  } else {
    text += ranks_text(all, r) + "\n";
    for (std::size_t c = 0; c < all.review.covers.size(); ++c) text += cover_text(all, r, c) + "\n";
    text += "Stands for\n";
    for (const auto& p : all.review.protocols)
      text += wrapped(p.name + ": " + (p.stands_for.empty() ? p.title : p.stands_for) +
                          (p.source.empty() ? "" : " [" + p.source + "]"),
                      2, 6);
  }
  return text + "\n" + std::string(files::caution) + "\n";
}

// ---- Pages --------------------------------------------------------------------------------

/// Hours (or babies) in four parts that add up.
page::Shares shares_of(const Loaded& all, const ReviewResult& r, bool hours) {
  const auto& review = all.review;
  page::Shares chart;
  chart.counted = hours ? "hours" : "babies";
  for (std::size_t c = 0; c < review.covers.size(); ++c) {
    page::SharePanel panel{review.covers[c], {}, {}, {}};
    panel.parts = {{"Under-filled", "under"},
                   {"Both: too little in the vessels, too much around them", "failed"},
                   {"In band", "inside"},
                   {"Over-filled", "over"}};
    for (std::size_t p = 0; p < review.protocols.size(); ++p) {
      const auto& arm = r.arms[review.arm(p, c)];
      const double under = arm[hours ? judgement::hours_under : judgement::under].value;
      const double over = arm[hours ? judgement::hours_over : judgement::over].value;
      const double inside = arm[hours ? judgement::hours_in_band : judgement::in_band].value;
      const double both = std::max(0.0, under + over + inside - 1);
      panel.categories.push_back(review.protocols[p].title);
      const auto share = [](double x) { return std::max(0.0, x); };
      panel.shares.push_back({share(under - both), both, inside, share(over - both)});
    }
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

page::Intervals dots(const Loaded& all, const ReviewResult& r,
                     const std::vector<std::pair<judgement::Index, page::Axis>>& wanted,
                     double factor) {
  const auto& review = all.review;
  page::Intervals chart;
  for (const auto& [which, axis] : wanted) {
    page::IntervalPanel panel{std::string(study::judgement_list[which].meaning), axis, {}};
    for (const auto& p : review.protocols) panel.categories.push_back(p.title);
    for (std::size_t c = 0; c < review.covers.size(); ++c) {
      page::IntervalSeries series{review.covers[c], "case:" + std::to_string(c), {}};
      for (std::size_t p = 0; p < review.protocols.size(); ++p) {
        const auto& e = r.arms[review.arm(p, c)][which];
        series.points.push_back({factor * e.value, factor * e.low, factor * e.high});
      }
      panel.series.push_back(std::move(series));
    }
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

page::Bands chart_against_truth(const Loaded& all, const ReviewResult& r, std::size_t protocol) {
  page::Bands chart;
  chart.times = r.times;
  chart.same_scale = true;
  for (std::size_t c = 0; c < all.review.covers.size(); ++c) {
    const auto& courses = r.courses[all.review.arm(protocol, c)];
    page::CoursePanel panel{all.review.covers[c], "mL/kg missing", {}};
    const auto add = [&](const char* label, const char* style, const auto& levels) {
      page::Course course{label, style, {}};
      page::Band band{"5 to 95 % of babies", {}, {}};
      for (const auto& level : levels) {
        band.low.push_back(level[0]);
        course.middle.push_back(level[1]);
        band.high.push_back(level[2]);
      }
      course.bands = {band};
      panel.courses.push_back(course);
    };
    add("Deficit on the chart", "case:1", courses.charted);
    add("Deficit by every route", "case:2", courses.external);
    add("Circulating deficit", "case:0", courses.circulating);
    panel.ranges = {{all.review.bands.deficit_low, all.review.bands.deficit_high, "band"}};
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

page::Map corridor_map(const Loaded& all, const ReviewResult& r) {
  const Corridor& c = *all.review.corridor;
  page::Map chart;
  const auto axis = [](const Corridor::Axis& a) {
    std::vector<double> places = a.numbers;
    if (places.empty())
      for (std::size_t i = 0; i < a.values.size(); ++i)
        places.push_back(static_cast<double>(i + 1));
    return places;
  };
  const auto label = [](const Corridor::Axis& a) -> page::Axis {
    if (!a.numbers.empty()) return {a.label, a.unit == "1" ? "" : a.unit};
    std::string words = a.label + ":";
    for (std::size_t i = 0; i < a.values.size(); ++i)
      words += fmt::format(" {} {}", i + 1, a.values[i]);
    return {words, ""};
  };
  for (const auto& [which, title] : {std::pair{judgement::hours_in_band, "Hours in band"},
                                     std::pair{judgement::hours_under, "Hours under-filled"},
                                     std::pair{judgement::hours_over, "Hours over-filled"}}) {
    page::MapPanel panel{title,     label(c.x), label(c.y), {title, "% of hours"},
                         axis(c.x), axis(c.y),  {}};
    for (std::size_t iy = 0; iy < c.y.values.size(); ++iy)
      for (std::size_t ix = 0; ix < c.x.values.size(); ++ix) {
        panel.values.push_back(100 * r.arms[c.arm(ix, iy)][which].value);
        if (which == judgement::hours_in_band)
          panel.marked.push_back(r.arms[c.arm(ix, iy)][which].value >= c.level);
      }
    if (which == judgement::hours_in_band) {
      panel.marked_means = "the corridor: at least " + per_cent(c.level) + " of hours in band";
      panel.levels = {{100 * c.level, per_cent(c.level)}};
    }
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

PageData page_of(const Loaded& all, const ReviewResult& r) {
  const auto& review = all.review;
  const auto& s = review.study.study;
  PageData one = page::document(
      s.title,
      review.corridor
          ? "Where between too little and too much fluid do these babies stay?"
          : "Which fluid plan keeps most of these babies between too little and too much?");
  const auto add = [&](const page::About& about, const auto& data) {
    one["sections"].push_back(page::section(about, data));
  };
  const std::string counted = fmt::format("{} invented babies, each under every {}, {}.", s.runs(),
                                          review.corridor ? "pair of inputs" : "protocol and cover",
                                          files::time_label(s.times.back()));
  if (review.corridor) {
    const auto n =
        static_cast<std::size_t>(std::count_if(r.arms.begin(), r.arms.end(), [&](const auto& arm) {
          return arm[judgement::hours_in_band].value >= review.corridor->level;
        }));
    add({"corridor",
         "The corridor",
         fmt::format("{} of {} pairs keep at least {} of hours in band", n, r.arms.size(),
                     per_cent(review.corridor->level)),
         {std::string(files::exploration), counted, bands_text(all)}},
        corridor_map(all, r));
    return one;
  }
  const auto& first = review.protocols[r.ranking.front().protocol];
  add({"hours",
       "Too little, in band, too much",
       fmt::format("Highest utility as stated: {}", first.title),
       {std::string(files::exploration), counted, bands_text(all)}},
      shares_of(all, r, true));
  add({"babies",
       "Babies too little, in band, too much",
       "The same, counting babies instead of hours",
       {fmt::format("A baby counts as under-filled or over-filled when it was for more than {} of "
                    "its hours.",
                    per_cent(review.bands.allowed))}},
      shares_of(all, r, false));
  {
    page::Table table;
    table.head = {"Rank", "Protocol", "Stands for", "Utility (95 % interval)",
                  "Less the first in rank"};
    for (std::size_t i = 0; i < r.ranking.size(); ++i) {
      const auto& rank = r.ranking[i];
      const auto& p = review.protocols[rank.protocol];
      table.rows.push_back({std::to_string(i + 1), p.title, p.stands_for, cell(rank.utility, false),
                            i == 0 ? "–" : cell(rank.less_best, false)});
    }
    add({"ranks",
         "Protocols by utility",
         "All covers together, baby by baby",
         {utility_text(all) + " Another utility ranks otherwise: change it in the review file."}},
        table);
  }
  add({"harm",
       "Both directions",
       "What too little and too much look like",
       {"Means over the babies with 95 % intervals; too much is shown as prominently as too "
        "little."}},
      dots(all, r,
           {{judgement::hours_under, {"Hours under-filled", "% of hours"}},
            {judgement::hours_over, {"Hours over-filled", "% of hours"}},
            {judgement::hours_sodium_low, {"Hours with low sodium", "% of hours"}},
            {judgement::hours_urine_one, {"Hours with urine below 1 mL/kg/h", "% of hours"}},
            {judgement::weight_gain, {"Weight gained", "% of birth weight"}}},
           100));
  add({"fluid",
       "Fluid given",
       "How much each plan gives",
       {"Volume given under rules is a mean with its interval: triggers and whole boluses make "
        "single babies jump."}},
      dots(all, r,
           {{judgement::fluid, {"Fluid given", "mL/kg"}},
            {judgement::boluses, {"Boluses per baby", "boluses"}}},
           1));
  for (std::size_t p = 0; p < review.protocols.size(); ++p)
    add({fmt::format("chart-{}", p + 1),
         "The chart against the truth",
         review.protocols[p].title,
         {"Below nought the baby has more than it lost. The chart misses what skin, breath and "
          "bowel give off, and what gathers in the bowel is missing from the circulation."}},
        chart_against_truth(all, r, p));
  add({"uncharted",
       "What the chart misses",
       "The share of all water lost that no chart shows",
       {"Through skin, breath, the bowel's surface and what drips from it."}},
      dots(all, r, {{judgement::uncharted_loss, {"Share of loss on no chart", "%"}}}, 100));
  return one;
}

// ---- The command --------------------------------------------------------------------------

/// Writes what only a review has; the text for the terminal.
std::string write_findings(const Loaded& all, const ReviewResult& r, files::BatchFolder& folder) {
  const std::string text = text_of(all, r);
  folder.write("review.txt", text);
  if (all.review.corridor) {
    folder.write("corridor.csv", files::corridor_csv(all.review, r));
  } else {
    folder.write("review.csv", files::review_csv(all.review, r));
    folder.write("ranking.csv", files::ranking_csv(all.review, r));
  }
  folder.write("chart.csv", files::chart_csv(all.review, r));
  try {
    folder.write("review.nc", [&](const fs::path& path) {
      files::write_review_nc(path, all.review, r, build_info());
    });
  } catch (const files::NetcdfError& failure) {
    throw files::WriteError("cannot write into " + files::quote(folder.path().string()) + ": " +
                            failure.what());
  }
  const PageData data = page_of(all, r);
  folder.write("page.json", data.dump(1) + "\n");
  folder.write("report.html", page_html(data));
  return text;
}

ExitCode review(const BatchRequest& request) {
  const auto all = load(request);
  const auto& s = all->study.file.study;
  fmt::print(stderr, "{}", all->study.problems.warnings_text());
  files::Batch batch(all->study, request.out);
  const std::string place = batch.folder().path().string();
  const auto stopped = [&] {
    fmt::print(stderr,
               "serosa: stopped; what was finished is kept. Go on with\n  serosa review {} --out "
               "{}\n",
               in_shell(request.study), in_shell(place));
    return ExitCode::interrupted;
  };
  const StopSignals signals;
  const auto computed = compute_batch(batch, s.name, request, nullptr);
  if (!computed) return stopped();
  const ReviewResult r = files::evaluate(all->review, batch.blocks());
  batch.folder().write("review.yaml", files::write_document(all->review.understood));
  // As a sweep: figures only when all runs finished, or the file says to leave failures out.
  const bool told = r.failed == 0 || s.exclude_failed;
  const std::string text = told ? write_findings(*all, r, batch.folder()) : std::string();
  try {
    const auto outcome = write_batch(batch, request, *computed);
    if (request.quiet)
      print(place + "\n");
    else
      print(text + "\nResults: " + place + "\n" +
            (told ? "Page:    " + place + "/report.html\n" : ""));
    return tell_failures(s, outcome);
  } catch (const files::Stopped&) {
    return stopped();
  }
}

}  // namespace

void add_review(CLI::App& app, Command& chosen, const std::string& command_line) {
  const auto request = std::make_shared<BatchRequest>();
  request->command_line = command_line;
  CLI::App* const command = app.add_subcommand(
      "review",
      "Compares protocols over a cohort, or maps the corridor between too little and too "
      "much");
  add_batch_options(*command, *request);
  command->add_option("--out", request->out,
                      "Folder for the results: new, empty, or of the same review unfinished. "
                      "Default: the next results/REVIEW-n, or an unfinished one");
  command->add_flag("--quiet", request->quiet, "Print nothing but the path of the results folder");
  command->footer(
      "STUDY is a review file: a case, protocols, covers, a cohort, bands and a utility; or a\n"
      "corridor in place of protocols and covers. What it finds is exploration, not "
      "recommendation.\n"
      "Examples:\n"
      "  serosa review models/reviews/demo.yaml\n"
      "  serosa review models/reviews/corridor.yaml --out results/corridor\n\n" +
      help_end());
  command->callback([request, &chosen] { chosen = [request] { return review(*request); }; });
}

}  // namespace serosa::runner
