// SPDX-License-Identifier: Apache-2.0
#include "runner/report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <optional>
#include <set>

#include "files/csv.hpp"
#include "runner/acts_log.hpp"
#include "runner/spread.hpp"
#include "runner/text_table.hpp"
#include "runner/warnings.hpp"

namespace serosa::runner {

namespace {

namespace out = simulate::output;
namespace part = study::part;

// ---- One column: one case at one time -----------------------------------------------------

struct Column {
  const Computation* all;
  const Computed* c;
  std::size_t time;

  double at(out::Index o) const { return c->result.at(time, o); }
  double weight() const { return c->result.body.weight; }
  bool reached() const { return !std::isnan(at(out::blood_volume)); }
  double part(part::Index p) const {
    return reached() ? study::deficit_account(c->result, time).parts[p] : std::nan("");
  }
  double against_twin() const {
    return c->twin_result.at(time, out::blood_volume) - at(out::blood_volume);
  }
  double third_space() const { return at(out::third_space); }
};

/// `31.5 (12.3)`: millilitres, and per kilogram of birth weight.
/// Below a millilitre hundredths will do.
std::string volume(double ml, double weight) {
  if (std::isnan(ml)) return "-";
  const auto short_figure = [](double x) { return std::abs(x) < 0.9995 ? fixed(x, 2) : figure(x); };
  return short_figure(ml) + " (" + short_figure(ml / weight) + ")";
}

using Cell = std::function<std::string(const Column&)>;

class Sheet {
 public:
  Sheet(TextTable& table, const std::vector<Column>& columns) : table_(table), columns_(columns) {}

  void heading(const std::string& text) { table_.heading(text); }
  void row(const std::string& label, const Cell& cell) {
    std::vector<std::string> cells;
    for (const auto& column : columns_) cells.push_back(cell(column));
    table_.row(label, std::move(cells));
  }
  void volumes(const std::string& label, const std::function<double(const Column&)>& ml) {
    row(label, [&](const Column& c) { return volume(ml(c), c.weight()); });
  }
  void volumes(const std::string& label, part::Index p) {
    volumes(label, [=](const Column& c) { return c.part(p); });
  }
  void figures(const std::string& label, out::Index o, double factor = 1) {
    row(label, [=](const Column& c) { return figure(factor * c.at(o)); });
  }
  void temperatures(const std::string& label, out::Index o) {
    row(label, [=](const Column& c) { return fixed(c.at(o), 1); });
  }
  bool any(out::Index o) const {
    return std::any_of(columns_.begin(), columns_.end(),
                       [&](const Column& c) { return c.at(o) > 0; });
  }

 private:
  TextTable& table_;
  const std::vector<Column>& columns_;
};

void write_water(Sheet& s) {
  s.heading("WHERE THE WATER WENT since birth, mL (mL/kg); gains count negative");
  s.volumes("Lost through the skin", part::skin);
  s.volumes("Evaporated from the bowel", part::bowel_evaporation);
  s.volumes("Lost with the breath", part::airway);
  s.volumes("Urine", part::urine);
  s.volumes("Drained from the stomach", part::gastric_drainage);
  s.volumes("Dripped from the bowel", part::bowel_drip);
  s.volumes("Water of blood lost or sampled", part::blood_loss);
  s.volumes("Made by oxidation", part::oxidation_water);
  s.volumes("Water of fluids given", part::given);
  s.volumes("All routes together", [](const Column& c) { return c.at(out::external_deficit); });
  if (s.any(out::dressing_evaporation))
    s.volumes("Beside it: water off the dressing",
              [](const Column& c) { return c.at(out::dressing_evaporation); });
  if (s.any(out::amniotic_evaporation))
    s.volumes("Beside it: amniotic fluid off the skin",
              [](const Column& c) { return c.at(out::amniotic_evaporation); });
}

void write_third_space(Sheet& s) {
  s.heading("THIRD SPACE gained since birth, mL (mL/kg); no chart shows it");
  s.volumes("In the bowel wall", part::wall);
  s.volumes("In the bowel's lumen", part::lumen);
  s.volumes("On the bowel, in wrap or bag", part::surface);
  s.volumes("Together", &Column::third_space);
  s.row("Together, % of the circulating deficit", [](const Column& c) {
    // Of a deficit that is none, a share means nothing.
    const double deficit = c.at(out::circulating_deficit);
    return deficit > 1 && c.third_space() > 0 ? percent(c.third_space() / deficit) : "-";
  });
}

void write_deficits(Sheet& s) {
  s.heading("THREE DEFICITS, each of its own kind, mL (mL/kg); negative is a surplus");
  s.volumes("Charted: what a fluid chart shows",
            [](const Column& c) { return c.at(out::charted_deficit); });
  s.volumes("External: all routes", [](const Column& c) { return c.at(out::external_deficit); });
  s.volumes("Circulating: loss since cord clamping",
            [](const Column& c) { return c.at(out::circulating_deficit); });
  s.row("Circulating, % of volume at clamping", [](const Column& c) {
    return percent(c.at(out::circulating_deficit) / c.c->result.body.clamped_blood_volume);
  });
  s.volumes("Circulating, against ordinary care", &Column::against_twin);
}

void write_blood(Sheet& s) {
  s.heading("BLOOD, KIDNEY, CIRCULATION");
  s.figures("Plasma sodium, mmol/L", out::plasma_sodium);
  s.figures("Haematocrit, %", out::haematocrit, 100);
  s.figures("Plasma protein, g/L", out::plasma_protein);
  s.figures("Urine flow, mL/kg/h", out::urine_flow);
  s.figures("Heart rate (weak evidence), 1/min", out::heart_rate);
  s.figures("Mean arterial pressure, mmHg", out::arterial_pressure);
  s.figures("Flow to the bowel, % of rest", out::mesenteric_flow, 100);
}

void write_given(Sheet& s) {
  if (!s.any(out::given_total)) return;
  s.heading("WHAT THE FLUIDS BRING (blood glucose, potassium and lactate are not modelled)");
  const auto given = [&](const char* label, out::Index o) {
    if (s.any(o)) s.volumes(label, [=](const Column& c) { return c.at(o); });
  };
  given("Maintenance, mL (mL/kg)", out::given_maintenance);
  given("Boluses, mL (mL/kg)", out::given_boluses);
  given("Gastric loss replaced, mL (mL/kg)", out::given_replacement);
  given("Blood products, mL (mL/kg)", out::given_blood);
  s.figures("Sodium given, mmol/kg", out::sodium_given);
  s.figures("Chloride given, mmol/kg", out::chloride_given);
  s.figures("Glucose running in, mg/kg/min", out::glucose_rate);
}

void write_temperatures(Sheet& s) {
  s.heading("TEMPERATURES, °C");
  s.temperatures("Core", out::core_temperature);
  s.row("Core, class of the WHO", [](const Column& c) {
    std::string name = who_class(c.at(out::core_temperature), c.all->bands);
    if (const auto blank = name.find(" hypothermia"); blank != std::string::npos) name.erase(blank);
    return name;
  });
  s.temperatures("Skin", out::skin_temperature);
  s.temperatures("Bowel", out::bowel_temperature);
  s.temperatures("Mattress", out::mattress_temperature);
}

TextTable sheet(const std::vector<Column>& columns, std::vector<std::string> heads) {
  TextTable table(std::move(heads));
  Sheet s(table, columns);
  write_water(s);
  write_third_space(s);
  write_deficits(s);
  write_blood(s);
  write_given(s);
  write_temperatures(s);
  return table;
}

// ---- What differs between the cases as understood -----------------------------------------

/// A piece of a case in one line: `act cover, at 3 min, with polyethylene-film`.
std::string in_words(const files::Node* node) {
  if (!node || node->is_nothing()) return "none";
  if (node->is_text()) return files::visible(node->text, 300);
  std::string text;
  const auto add = [&](const std::string& piece) { text += (text.empty() ? "" : ", ") + piece; };
  for (const auto& item : node->items) add(in_words(&item));
  for (const auto& entry : node->entries)
    add(files::visible(entry.key) + " " + in_words(&entry.value));
  return text.empty() ? "none" : text;
}

void collect_differences(const std::vector<const files::Node*>& nodes, const std::string& path,
                         std::vector<std::pair<std::string, std::vector<std::string>>>& found) {
  std::vector<std::string> words;
  for (const auto* node : nodes) words.push_back(in_words(node));
  if (std::all_of(words.begin(), words.end(), [&](const auto& w) { return w == words.front(); }))
    return;
  const bool all_maps = std::all_of(nodes.begin(), nodes.end(),
                                    [](const auto* node) { return node && node->is_map(); });
  if (!all_maps) {
    found.emplace_back(path, std::move(words));
    return;
  }
  std::vector<std::string> keys;
  for (const auto* node : nodes)
    for (const auto& entry : node->entries)
      if (std::find(keys.begin(), keys.end(), entry.key) == keys.end()) keys.push_back(entry.key);
  for (const auto& key : keys) {
    // What the reader sees above and in the table is no difference of care.
    if (path.empty() && (key == "title" || key == "note" || key == "report_at")) continue;
    std::vector<const files::Node*> below;
    for (const auto* node : nodes) below.push_back(node->find(key));
    const std::string shown = files::visible(key);
    collect_differences(below, path.empty() ? shown : path + ", " + shown, found);
  }
}

/// Where the cases differ, and what stands there in each; in words.
std::vector<std::pair<std::string, std::vector<std::string>>> differing(const Computation& all) {
  std::vector<const files::Node*> roots;
  for (const auto& c : all.cases) roots.push_back(&c.file.understood);
  std::vector<std::pair<std::string, std::vector<std::string>>> found;
  collect_differences(roots, {}, found);
  for (auto& [path, words] : found) {
    std::replace(path.begin(), path.end(), '_', ' ');
    for (auto& word : words) std::replace(word.begin(), word.end(), '_', ' ');
  }
  return found;
}

std::string what_differs(const Computation& all) {
  const auto found = differing(all);
  std::string text = "WHAT DIFFERS\n";
  if (found.empty()) return text + "  Nothing: the cases are the same.\n";
  for (const auto& [path, words] : found) {
    text += wrapped(path, 2, 4);
    for (std::size_t i = 0; i < words.size(); ++i)
      text += wrapped(all.cases[i].letter + "  " + words[i], 4, 7);
  }
  return text;
}

// ---- The difference explained -------------------------------------------------------------

/// The differences of one case against the first, at the report times that both reached.
std::vector<std::optional<study::Difference>> differences(const Computation& all,
                                                          const Computed& other) {
  std::vector<std::optional<study::Difference>> list;
  for (const auto t : all.report_times) try {
      list.push_back(study::difference(all.cases.front().result, other.result, all.times, t));
    } catch (const study::NotComparable&) {
      list.emplace_back();
    }
  return list;
}

/// Title, how to read it, the parts, and what must be known about them (empty: nothing).
struct Explained {
  std::string title;
  std::string reading;
  TextTable table;
  std::string remark;
};

Explained explained_parts(const Computation& all, const Computed& other) {
  const Computed& first = all.cases.front();
  const auto list = differences(all, other);
  std::vector<std::string> heads;
  for (const auto t : all.report_times) heads.push_back("at " + files::time_label(all.times[t]));
  TextTable table(heads);
  const auto row = [&](const std::string& label, auto&& value) {
    std::vector<std::string> cells;
    bool any = false;
    for (const auto& d : list) {
      const double x = d ? value(*d) : std::nan("");
      any = any || std::abs(x) > 1e-6;
      cells.push_back(d && x >= 0.05 ? "+" + fixed(x, 1) : fixed(x, 1));
    }
    if (any || label.front() == '=') table.row(label, std::move(cells));
  };
  const auto parts = [&](auto&& wanted) {
    for (std::size_t p = 0; p < part::count; ++p)
      if (wanted(study::part_list[p].group))
        row(std::string(study::part_list[p].meaning),
            [&](const study::Difference& d) { return d.gap(static_cast<part::Index>(p)); });
  };
  parts([](part::Group g) { return g == part::Group::route; });
  row("= gap in external deficit", [](const study::Difference& d) { return d.external(); });
  parts([](part::Group g) { return g != part::Group::route; });
  row("= gap in circulating deficit", [](const study::Difference& d) { return d.circulating(); });
  const bool other_start =
      std::any_of(list.begin(), list.end(), [](const auto& d) { return d && !d->same_start; });
  return {fmt::format("WHY THE DEFICITS OF {} {} DIFFER FROM THOSE OF {} {}, mL", other.letter,
                      other.name, first.letter, first.name),
          fmt::format("Positive makes the deficit of {} larger. Parts add up to their total; each "
                      "figure is rounded by itself.",
                      other.letter),
          std::move(table),
          other_start ? "The two did not start alike (blood volume at clamping or water at birth "
                        "differ): each deficit counts against its own start."
                      : ""};
}

std::string explained(const Computation& all, const Computed& other) {
  const Explained e = explained_parts(all, other);
  return wrapped(e.title, 0, 2) + wrapped(e.reading, 2, 2) + e.table.text() +
         (e.remark.empty() ? "" : wrapped(e.remark, 2, 2));
}

// ---- Head and tail ------------------------------------------------------------------------

std::string about(const Computation& all, const Computed& c, const std::string& who) {
  const auto& b = c.result.body;
  std::string text =
      fmt::format("{}{} kg, {} weeks; blood volume at clamping {} mL ({} mL/kg)", who,
                  figure(b.weight), figure(b.gestation), figure(b.clamped_blood_volume),
                  figure(b.clamped_blood_volume / b.weight));
  if (c.file.c.exposed)
    text += fmt::format("; bowel outside {} cm2, packed {} cm2", figure(1e4 * b.spread_area),
                        figure(1e4 * b.packed_area));
  return wrapped(text + ".", all.cases.size() > 1 && who.size() > 3 ? 0 : 2, 5);
}

std::string head(const Computation& all) {
  if (all.cases.size() == 1) {
    const care::Case& c = all.cases.front().file.c;
    std::string text = wrapped(files::visible(c.title, 300), 0, 2);
    if (!c.note.empty()) text += wrapped(files::visible(c.note, 2000), 2, 2);
    return text + about(all, all.cases.front(), {});
  }
  std::string text =
      fmt::format("{} cases compared: what difference did the care make?\n", all.cases.size());
  for (const auto& c : all.cases)
    text += wrapped(c.letter + "  " + c.name + ": " + files::visible(c.file.c.title, 300), 2, 5);
  const auto& first = all.cases.front().result.body;
  const bool one_baby = std::all_of(all.cases.begin(), all.cases.end(), [&](const auto& c) {
    const auto& b = c.result.body;
    return b.weight == first.weight && b.gestation == first.gestation &&
           b.clamped_blood_volume == first.clamped_blood_volume &&
           b.spread_area == first.spread_area && c.file.c.exposed == all.cases[0].file.c.exposed;
  });
  if (one_baby) return text + about(all, all.cases.front(), "The baby of all: ");
  for (const auto& c : all.cases) text += about(all, c, c.letter + " ");
  return text;
}

constexpr std::string_view no_range =
    "Range not yet computed (--spread 400 does it): each figure stands for one set of parameters; "
    "those of another baby would differ.";

constexpr std::string_view what_ranges =
    "The figures above stand for the parameters as they are, the ranges for draws from what is "
    "known of each parameter; babies differ beyond that.";

std::string tail(const Computation& all) {
  std::string text;
  if (const auto list = warnings(all); !list.empty()) {
    text += "WARNINGS\n";
    for (const auto& warning : list) text += wrapped("- " + warning, 2, 4);
    text += "\n";
  }
  if (all.spread)
    text = spread_report(all) + "\n" + text + wrapped(what_ranges, 0, 0);
  else
    text += wrapped(no_range, 0, 0);
  return text + std::string(files::caution) + "\n";
}

std::string sheets(const Computation& all) {
  std::string text;
  if (all.cases.size() == 1) {
    std::vector<Column> columns;
    std::vector<std::string> heads;
    for (const auto t : all.report_times) {
      columns.push_back({&all, &all.cases.front(), t});
      heads.push_back("at " + files::time_label(all.times[t]));
    }
    return sheet(columns, heads).text();
  }
  for (const auto t : all.report_times) {
    std::vector<Column> columns;
    std::vector<std::string> heads;
    for (const auto& c : all.cases) {
      columns.push_back({&all, &c, t});
      heads.push_back(c.letter + " " + c.name);
    }
    const std::string title = "AT " + files::time_label(all.times[t]) + " AFTER BIRTH ";
    text += title + std::string(page_width - title.size(), '=') + "\n" +
            sheet(columns, heads).text() + "\n";
  }
  for (std::size_t i = 1; i < all.cases.size(); ++i)
    text += explained(all, all.cases[i]) + (i + 1 < all.cases.size() ? "\n" : "");
  return text;
}

}  // namespace

std::string report(const Computation& all) {
  std::string text = head(all) + "\n";
  if (all.cases.size() > 1) text += what_differs(all) + "\n";
  return text + sheets(all) + "\n" + acts_text(all) + tail(all);
}

std::string plain_report(const Computation& all) {
  std::string text;
  const auto fact = [&](std::string_view about, const std::string& what) {
    text += std::string(about) + ": " + files::visible(what, 5000) + "\n";
  };
  const bool several = all.cases.size() > 1;
  for (const auto& c : all.cases) {
    const std::string label = "case " + c.letter;
    fact(label + " name", c.name);
    fact(label + " title", c.file.c.title);
    if (!c.file.c.note.empty()) fact(label + " note", c.file.c.note);
  }
  if (several)
    for (const auto& [path, words] : differing(all))
      for (std::size_t i = 0; i < words.size(); ++i)
        fact("differs, " + path, all.cases[i].letter + ": " + words[i]);
  for (const auto t : all.report_times)
    for (const auto& c : all.cases) {
      const std::string time = "at " + files::time_label(all.times[t]);
      text += sheet(std::vector<Column>{{&all, &c, t}}, {several ? c.letter + ", " + time : time})
                  .plain();
    }
  for (std::size_t i = 1; i < all.cases.size(); ++i) {
    const Explained e = explained_parts(all, all.cases[i]);
    text += e.title + "\n" + e.reading + "\n" + e.table.plain();
    if (!e.remark.empty()) text += e.remark + "\n";
  }
  for (const auto& c : all.cases)
    for (const auto& act : logged_acts(c))
      fact((several ? c.letter + ", " : std::string()) + "by rule, " + files::time_label(act.time),
           act.what + " (" + act.seen + "; " + act.reason + ")");
  for (const auto& warning : warnings(all)) fact("warning", warning);
  text += all.spread ? spread_report(all) + std::string(what_ranges) : std::string(no_range);
  return text + "\n" + std::string(files::caution) + "\n";
}

std::string difference_csv(const Computation& all) {
  files::CsvWriter csv;
  csv.text("part").text("meaning").text("unit");
  const std::string& first = all.cases.front().name;
  for (std::size_t i = 1; i < all.cases.size(); ++i)
    for (const auto t : all.report_times)
      csv.text(all.cases[i].name + " less " + first + ", " + files::time_label(all.times[t]));
  csv.end_row();
  const auto row = [&](std::string_view name, std::string_view meaning, auto&& value) {
    csv.text(name).text(meaning).text("mL");
    for (std::size_t i = 1; i < all.cases.size(); ++i)
      for (const auto& d : differences(all, all.cases[i])) csv.number(d ? value(*d) : std::nan(""));
    csv.end_row();
  };
  for (std::size_t p = 0; p < part::count; ++p)
    row(study::part_list[p].name, study::part_list[p].meaning,
        [&](const study::Difference& d) { return d.gap(static_cast<part::Index>(p)); });
  row("external_deficit", "All routes together",
      [](const study::Difference& d) { return d.external(); });
  row("circulating_deficit", "All parts together",
      [](const study::Difference& d) { return d.circulating(); });
  return csv.bytes();
}

}  // namespace serosa::runner
