// SPDX-License-Identifier: Apache-2.0
// review: protocols under covers, over a cohort; or a corridor over two inputs.
#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
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

/// A figure as the file states it: `5`, `2.5`.
std::string stated(double x) { return units::shortest(std::round(x * 1e9) / 1e9); }
/// `10 %`.
std::string per_cent(double fraction) { return stated(100 * fraction) + " %"; }

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
      stated(b.deficit_high), stated(b.deficit_low), stated(b.oedema), per_cent(b.dilution),
      per_cent(b.weight_gain), files::time_label(b.from), per_cent(b.allowed), stated(b.sodium_low),
      stated(b.sodium_high));
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

/// Protocols that the utility cannot tell from the first in rank, in words.
std::string not_told_apart(const Loaded& all, const ReviewResult& r) {
  std::string names;
  for (const auto& rank : r.ranking)
    if (&rank != &r.ranking.front() && rank.less_best.low <= 0 && 0 <= rank.less_best.high)
      names += (names.empty() ? "" : "; ") + all.review.protocols[rank.protocol].title;
  return names;
}

/// A sentence as it stands on a page: with true minus signs.
std::string on_page(std::string text) {
  for (std::size_t at = 0; (at = text.find(" -", at)) != std::string::npos; ++at)
    if (at + 2 < text.size() && std::isdigit(static_cast<unsigned char>(text[at + 2])))
      text.replace(at + 1, 1, "−");
  return text;
}

page::Interval interval(const Estimate& e) { return {e.value, e.low, e.high}; }

/// `2.1 to 48.3`: a figure under the plan and wrap where it is least, and where it is most.
std::string least_to_most(const ReviewResult& r, judgement::Index which, double factor) {
  double least = HUGE_VAL, most = -HUGE_VAL;
  for (const auto& arm : r.arms) {
    least = std::min(least, factor * arm[which].value);
    most = std::max(most, factor * arm[which].value);
  }
  const std::string from = page::said(least), to = page::said(most);
  return from == to ? from : from + " to " + to;
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

/// One panel of a corridor's page.
struct Mapped {
  judgement::Index which;
  const char* title;
  page::Axis value;
  double factor;
};

page::Map corridor_map(const Loaded& all, const ReviewResult& r,
                       const std::vector<Mapped>& wanted) {
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
  for (const auto& [which, title, value, factor] : wanted) {
    page::MapPanel panel{title, label(c.x), label(c.y), value, axis(c.x), axis(c.y), {}};
    for (std::size_t iy = 0; iy < c.y.values.size(); ++iy)
      for (std::size_t ix = 0; ix < c.x.values.size(); ++ix) {
        panel.values.push_back(factor * r.arms[c.arm(ix, iy)][which].value);
        if (which == judgement::hours_in_band)
          panel.marked.push_back(r.arms[c.arm(ix, iy)][which].value >= c.level);
      }
    if (which == judgement::hours_in_band)
      panel.marked_means = "the corridor: at least " + per_cent(c.level) + " of hours in band";
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

/// The map in figures: hours in band with their intervals.
page::Table corridor_figures(const Loaded& all, const ReviewResult& r) {
  const Corridor& c = *all.review.corridor;
  page::Table table;
  table.head = {c.y.label};
  for (const auto& x : c.x.values) table.head.push_back(x);
  for (std::size_t iy = c.y.values.size(); iy-- > 0;) {
    std::vector<std::string> row{c.y.values[iy]};
    for (std::size_t ix = 0; ix < c.x.values.size(); ++ix) {
      const auto& e = r.arms[c.arm(ix, iy)][judgement::hours_in_band];
      row.push_back(page::said(page::Interval{100 * e.value, 100 * e.low, 100 * e.high}) +
                    (e.value >= c.level ? " *" : ""));
    }
    table.rows.push_back(std::move(row));
  }
  return table;
}

PageData corridor_page(const Loaded& all, const ReviewResult& r, PageData one,
                       const std::string& counted) {
  const auto& review = all.review;
  const Corridor& c = *review.corridor;
  const auto n =
      static_cast<std::size_t>(std::count_if(r.arms.begin(), r.arms.end(), [&](const auto& arm) {
        return arm[judgement::hours_in_band].value >= c.level;
      }));
  std::string follows;
  if (!review.protocols.empty()) {
    const auto& p = review.protocols.front();
    follows = "All cells follow the protocol “" + p.title + "” but for the two inputs.";
    if (!p.stands_for.empty()) follows += " It stands for: " + p.stands_for + ".";
  }
  std::vector<std::string> text{std::string(files::exploration), counted, on_page(bands_text(all))};
  if (!follows.empty()) text.push_back(follows);
  text.push_back("In the table: hours in band, % with the 95 % interval over the babies; down: " +
                 c.y.label + "; across: " + c.x.label + "; * lies in the corridor.");
  const page::About about{"corridor", "The corridor",
                          n == 0 ? fmt::format("No pair of {} keeps at least {} of hours in band",
                                               r.arms.size(), per_cent(c.level))
                                 : fmt::format("{} of {} pairs keep at least {} of hours in band",
                                               n, r.arms.size(), per_cent(c.level)),
                          text};
  const page::Axis hours{"Share of hours", "%"};
  PageData section = page::section(
      about, corridor_map(all, r,
                          {{judgement::hours_in_band, "Hours in band", hours, 100},
                           {judgement::hours_under, "Hours under-filled", hours, 100},
                           {judgement::hours_over, "Hours over-filled", hours, 100},
                           {judgement::hours_sodium_low, "Hours with low sodium", hours, 100}}));
  section["below"] = page::section(about, corridor_figures(all, r))["data"];
  one["sections"].push_back(section);
  one["sections"].push_back(page::section(
      {"uncharted",
       "What the chart misses",
       "Fluid given, what the chart misses, and the share of loss on no chart",
       {"Means over the babies at the end. The chart misses what skin, breath and bowel give "
        "off."}},
      corridor_map(
          all, r,
          {{judgement::fluid, "Fluid given", {"Fluid given", "mL/kg"}, 1},
           {judgement::chart_misses, "What the chart misses", {"Deficit on no chart", "mL/kg"}, 1},
           {judgement::uncharted_loss,
            "Share of loss on no chart",
            {"Share of loss", "%"},
            100}})));
  return one;
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
  if (review.corridor) return corridor_page(all, r, std::move(one), counted);
  const auto& first = review.protocols[r.ranking.front().protocol];
  const std::string equals = not_told_apart(all, r);
  add({"hours",
       "Too little, in band, too much",
       fmt::format("Highest utility as stated: {}{}", first.title,
                   equals.empty() ? "" : "; not to be told from it: " + equals),
       {std::string(files::exploration), counted, on_page(bands_text(all))}},
      shares_of(all, r, true));
  add({"babies",
       "Babies too little, in band, too much",
       fmt::format("From plan to plan and wrap to wrap, {} % of babies stay in band",
                   least_to_most(r, judgement::in_band, 100)),
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
      table.rows.push_back({std::to_string(i + 1), p.title, p.stands_for,
                            page::said(interval(rank.utility)),
                            i == 0 ? "–" : page::said(interval(rank.less_best))});
    }
    add({"ranks",
         "Protocols by utility",
         "All covers together, baby by baby",
         {on_page(utility_text(all)) +
          " Another utility ranks otherwise: change it in the review file. Where the interval of "
          "the difference holds nought, the two can't be told apart by these babies."}},
        table);
  }
  add({"harm",
       "Both directions",
       fmt::format("Under-filled in {} % of hours, over-filled in {} %",
                   least_to_most(r, judgement::hours_under, 100),
                   least_to_most(r, judgement::hours_over, 100)),
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
       fmt::format("{} mL/kg of fluid, {} boluses for a baby",
                   least_to_most(r, judgement::fluid, 1), least_to_most(r, judgement::boluses, 1)),
       {"Volume given under rules is a mean with its interval: triggers and whole boluses make "
        "single babies jump."}},
      dots(all, r,
           {{judgement::fluid, {"Fluid given", "mL/kg"}},
            {judgement::boluses, {"Boluses per baby", "boluses"}}},
           1));
  std::vector<std::pair<std::string, PageData>> charts;
  for (std::size_t p = 0; p < review.protocols.size(); ++p)
    charts.emplace_back(review.protocols[p].title,
                        page::section({fmt::format("chart-{}", p + 1),
                                       "The chart against the truth", review.protocols[p].title},
                                      chart_against_truth(all, r, p)));
  one["sections"].push_back(page::alternatives(
      {"chart",
       "The chart against the truth",
       fmt::format(
           "At the end the chart shows a deficit of {} mL/kg, the circulation one of {} mL/kg",
           least_to_most(r, judgement::charted, 1), least_to_most(r, judgement::circulating, 1)),
       {"Below nought the baby has more than it lost. The chart misses what skin, breath and "
        "bowel give off, and what gathers in the bowel is missing from the circulation.",
        "On paper stands the protocol that is chosen here; all are in chart.csv."}},
      "Protocol", charts));
  add({"uncharted",
       "What the chart misses",
       fmt::format("No chart shows {} % of all water lost",
                   least_to_most(r, judgement::uncharted_loss, 100)),
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

/// Writes and tells everything.
ExitCode finish(const BatchRequest& request, const Loaded& all, files::Batch& batch,
                const BatchComputed& computed) {
  const auto& s = all.study.file.study;
  const std::string place = batch.folder().path().string();
  const ReviewResult r = files::evaluate(all.review, batch.blocks());
  batch.folder().write("review.yaml", files::write_document(all.review.understood));
  // As a sweep: figures only when all runs finished, or the file says to leave failures out.
  const bool told = r.failed == 0 || s.exclude_failed;
  const std::string text = told ? write_findings(all, r, batch.folder()) : std::string();
  try {
    const auto outcome = write_batch(batch, request, computed);
    if (request.quiet)
      print(place + "\n");
    else
      print(text + "\nResults: " + place + "\n" +
            (told ? "Page:    " + place + "/report.html\n" : ""));
    return tell_failures(s, outcome);
  } catch (const files::Stopped&) {
    return tell_stopped("review", request, place);
  }
}

ExitCode review_alone(const BatchRequest& request, const Loaded& all, study::Messages* ranks,
                      const std::function<void()>& handing_out) {
  const files::Part part = part_of(request.part);
  if (part.parts > 1 && request.out.empty())
    throw CLI::ValidationError("--part needs --out: all parts go into one folder");
  fmt::print(stderr, "{}", all.study.problems.warnings_text());
  files::Batch batch(all.study, request.out, part);
  const std::string place = batch.folder().path().string();
  const StopSignals signals;
  handing_out();
  const auto computed = compute_batch(batch, all.study.file.study.name, request, ranks);
  if (!computed) return tell_stopped("review", request, place);
  if (part.parts > 1) {
    tell_part(request, part, place);
    return ExitCode::done;
  }
  return finish(request, all, batch, *computed);
}

ExitCode review(const BatchRequest& request) {
  std::unique_ptr<Loaded> all;
  const auto read = [&]() -> const LoadedStudy& {
    all = load(request);
    return all->study;
  };
  return in_ranks(request, read, [&](study::Messages* ranks, const auto& handing_out) {
    read();
    return review_alone(request, *all, ranks, handing_out);
  });
}

}  // namespace

std::unique_ptr<LoadedStudy> load_review(const BatchRequest& request) {
  return std::make_unique<LoadedStudy>(std::move(load(request)->study));
}

ExitCode merge_review(const BatchRequest& request) {
  const auto all = load(request);
  files::Batch batch = open_parts(request, all->study);
  return finish(request, *all, batch, {});
}

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
  command->add_option("--part", request->part, "One part of a job array, such as 3/40")
      ->type_name("N/M");
  command->add_flag("--quiet", request->quiet, "Print nothing but the path of the results folder");
  command->footer(
      "STUDY is a review file: a case, protocols, covers, a cohort, bands and a utility; or a\n"
      "corridor over two inputs of the case, or of one protocol. What it finds is exploration,\n"
      "not recommendation. Stopped by Ctrl-C or killed, the same command goes on.\n"
      "Examples:\n"
      "  serosa review models/reviews/demo.yaml\n"
      "  serosa review models/reviews/corridor.yaml --out results/corridor\n"
      "  mpirun -n 8 serosa review models/reviews/protocols.yaml\n"
      "  serosa review models/reviews/protocols.yaml --out results/r --part 1/4; serosa merge "
      "models/reviews/protocols.yaml --out results/r\n\n" +
      help_end());
  command->callback([request, &chosen] { chosen = [request] { return review(*request); }; });
}

}  // namespace serosa::runner
