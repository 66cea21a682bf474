// SPDX-License-Identifier: Apache-2.0
// The sections of a page of `run` or `compare`.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "files/results.hpp"
#include "runner/page.hpp"
#include "runner/page_common.hpp"
#include "runner/page_words.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner {

namespace {

using Json = PageData;

/// Figures of sentences, with a true minus sign.
std::string said(double x) {
  std::string text = figure(x);
  if (text.size() > 1 && text[0] == '-') text.replace(0, 1, "−");
  return text;
}

/// Two runs that differ by less than this say the same, mL/kg.
constexpr double alike = 0.05;
/// More points than this make lines no smoother, only the page larger.
constexpr std::size_t most_points = 360;

// ---- Series -----------------------------------------------------------------------------------

/// What a line or area shows: a variable of the series file, what people call it and its colour.
struct Shown {
  const char* variable;
  const char* label;
  const char* style;
  double sign = 1;
  const char* brief = nullptr;  ///< where there is little room
};

/// Ways that water leaves the body, in the order in which they are stacked.
constexpr Shown losses[] = {{"bowel_evaporation", "Evaporated from the bowel", "bowel_evaporation"},
                            {"skin_loss", "Through the skin", "skin"},
                            {"airway_loss", "With the breath", "airway"},
                            {"urine", "Urine", "urine"},
                            {"gastric_drainage", "Drained from the stomach", "gastric_drainage"},
                            {"bowel_drip", "Dripped from the bowel", "bowel_drip"},
                            {"blood_loss", "Water of blood lost or sampled", "blood_loss"}};
constexpr Shown gains[] = {
    {"oxidation_water", "Made by the body's own oxidation", "oxidation_water", -1},
    {"given_total", "Water of fluids given", "given", -1}};
constexpr Shown hidden[] = {{"part_wall", "In the bowel wall", "wall"},
                            {"part_lumen", "In the bowel's lumen", "lumen"},
                            {"part_surface", "On the bowel, in wrap or bag", "surface"}};
constexpr Shown deficits[] = {
    {"charted_deficit", "Charted: what a fluid chart shows", "charted", 1, "Charted"},
    {"external_deficit", "External: all routes", "external", 1, "External"},
    {"circulating_deficit", "Circulating: blood volume missing since clamping", "circulating", 1,
     "Circulating"},
    {"circulating_deficit_against_ordinary_care",
     "Circulating, against the same baby with bowel inside under ordinary care", "against_ordinary",
     1, "Circulating, against ordinary care"}};

class Sections {
 public:
  explicit Sections(const RunFolder& run) : run_(run), time_(run.last_time()) {
    choose_points();
    const std::string label = files::time_label(run_.times[time_]);
    by_ = run_.times[time_] > 0 ? " by " + label : " at birth";
    at_ = run_.times[time_] > 0 ? " at " + label : " at birth";
  }

  Json page() {
    Json page{{"format", 1},
              {"title", title()},
              {"question", question()},
              {"caution", files::caution},
              {"made_by", made_by()},
              {"cases", cases()},
              {"sections", Json::array()}};
    Json& list = page["sections"];
    list.push_back(words());
    if (!run_.manifest.at("warnings").empty()) list.push_back(watch());
    list.push_back(care());
    list.push_back(water());
    list.push_back(three_deficits());
    if (Json s = third_space(); !s.is_null()) list.push_back(std::move(s));
    list.push_back(temperatures());
    list.push_back(blood());
    if (any("given_total")) list.push_back(given());
    for (std::size_t c = 1; c < run_.cases.size(); ++c)
      if (run_.has("part_skin")) list.push_back(explained(c));
    if (run_.parameters.is_object()) {
      if (run_.cases.size() == 1) list.push_back(influence(0, 0));
      for (std::size_t c = 1; c < run_.cases.size(); ++c) list.push_back(influence(0, c));
    }
    list.push_back(limits());
    list.push_back(words_section());
    list.push_back(origin());
    return page;
  }

 private:
  // ---- What is looked at

  std::size_t count() const { return run_.cases.size(); }
  bool single() const { return count() == 1; }
  double weight(std::size_t c) const { return run_.cases[c].weight; }
  double now(const char* variable, std::size_t c) const { return run_.at(variable, c, time_); }
  double per_kg(const char* variable, std::size_t c) const { return now(variable, c) / weight(c); }
  double lost(std::size_t c) const {
    double sum = 0;
    for (const auto& route : losses) sum += now(route.variable, c);
    return sum / weight(c);
  }
  double third(std::size_t c) const { return per_kg("third_space", c); }
  bool any(const char* variable) const {
    const auto found = run_.series.find(variable);
    return found != run_.series.end() && std::any_of(found->second.begin(), found->second.end(),
                                                     [](double x) { return std::abs(x) > 1e-9; });
  }
  const std::string& letter(std::size_t c) const { return run_.cases[c].letter; }
  std::string named(std::size_t c) const {
    return single() ? run_.cases[c].title : letter(c) + " " + run_.cases[c].title;
  }

  void choose_points() {
    const std::size_t n = run_.times.size();
    const std::size_t stride = (n + most_points - 1) / most_points;
    for (std::size_t i = 0; i < n; ++i)
      if (i % stride == 0 || i + 1 == n ||
          std::find(run_.report_times.begin(), run_.report_times.end(), i) !=
              run_.report_times.end())
        points_.push_back(i);
  }

  Json times() const {
    Json list = Json::array();
    for (const auto i : points_) list.push_back(std::abs(run_.times[i]));
    return list;
  }

  /// One line or area. `scale` leads from the file's value to the one shown.
  Json series(const Shown& what, std::size_t c, const std::string& label, const std::string& style,
              double scale) const {
    Json values = Json::array();
    for (const auto i : points_) values.push_back(run_.at(what.variable, c, i));
    Json one{{"label", label},
             {"style", style},
             {"scale", scale * what.sign},
             {"source", {{"variable", what.variable}, {"run", c}}},
             {"values", std::move(values)}};
    if (what.brief) one["brief"] = what.brief;
    return one;
  }

  /// A panel with one line for each case.
  Json panel(const char* variable, const std::string& title, const std::string& unit,
             double factor = 1) const {
    Json lines = Json::array();
    const Shown what{variable, "", ""};
    for (std::size_t c = 0; c < count(); ++c)
      lines.push_back(series(what, c, named(c), "case:" + std::to_string(c), factor));
    return {{"title", title}, {"unit", unit}, {"series", std::move(lines)}};
  }

  // ---- Head

  std::string title() const {
    if (single()) return run_.cases[0].title;
    if (count() == 2) return run_.cases[0].title + " – " + run_.cases[1].title;
    return fmt::format("{} cases compared", count());
  }

  std::string question() const {
    if (single()) return "Where does the water of this baby go, and what does that leave?";
    return "What difference does the care make to the water, the volume and the warmth of the "
           "baby?";
  }

  std::string made_by() const {
    return fmt::format("serosa {}, source {}", run_.manifest.value("version", "unknown"),
                       run_.manifest.value("commit", "unknown"));
  }

  Json cases() const {
    Json list = Json::array();
    for (std::size_t c = 0; c < count(); ++c) {
      const auto& of = run_.cases[c];
      const auto* note = of.understood.find("note");
      list.push_back({{"name", of.name},
                      {"letter", of.letter},
                      {"title", of.title},
                      {"note", note && note->is_text() ? note->text : ""},
                      {"weight_kg", of.weight},
                      {"finished", of.finished}});
    }
    return list;
  }

  Json words() const {
    Json s =
        page_section("cases", "cases", "The cases",
                     single() ? "The case in words"
                              : fmt::format("The {} cases in words, and what differs", count()));
    Json facts = Json::array(), differences = Json::array();
    for (const auto& c : run_.cases) facts.push_back(facts_in_words(c.understood));
    std::vector<const files::Node*> nodes;
    for (const auto& c : run_.cases) nodes.push_back(&c.understood);
    if (!single())
      for (const auto& d : differences_in_words(nodes))
        differences.push_back({{"label", d.label}, {"words", d.words}});
    s["data"] = {{"facts", facts}, {"differences", differences}};
    return s;
  }

  Json watch() const {
    const auto& list = run_.manifest.at("warnings");
    Json s =
        page_section("watch", "list", "What must not be overlooked",
                     list.size() == 1 ? "One warning" : fmt::format("{} warnings", list.size()));
    s["data"] = {{"items", list}};
    return s;
  }

  Json care() const {
    Json s = page_section("care", "timeline", "Timeline of care", care_title(),
                          {"Every act of the care, by its time after birth."});
    Json rows = Json::array();
    for (std::size_t c = 0; c < count(); ++c) {
      Json acts = Json::array();
      for (const auto& act : acts_in_words(run_.cases[c].understood))
        acts.push_back({{"time", act.time}, {"label", act.label}, {"words", act.words}});
      for (const auto& act : run_.cases[c].done)
        acts.push_back({{"time", act.time},
                        {"label", "By rule: " + act.what.substr(0, act.what.find(':'))},
                        {"words", "By rule: " + act.what + " (" + act.why + ")"}});
      rows.push_back({{"title", named(c)}, {"style", "case:" + std::to_string(c)}, {"acts", acts}});
    }
    s["data"] = {{"until", run_.times.back()}, {"rows", rows}};
    return s;
  }

  std::string care_title() const {
    std::string title;
    for (std::size_t c = 0; c < count(); ++c) {
      std::string covered = single() ? "bowel never covered" : "never covered";
      for (const auto& act : acts_in_words(run_.cases[c].understood))
        if (act.label == "Bowel covered") {
          covered = (single() ? "bowel covered at " : "covered at ") + files::time_label(act.time);
          break;
        }
      if (const auto* bowel = run_.cases[c].understood.find("bowel"))
        if (const auto* outside = bowel->find("outside"); outside && outside->text == "false")
          covered = "bowel inside the abdomen";
      title += (title.empty() ? "" : "; ") + (single() ? covered : letter(c) + " " + covered);
    }
    title[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(title[0])));
    return title;
  }

  // ---- Water

  /// `B Bowel wrapped: 5.2 mL/kg less … than A …`, or the spread of several cases.
  template <class Value>
  std::string compared(const Value& value, const std::string& what) const {
    std::vector<double> v;
    for (std::size_t c = 0; c < count(); ++c) v.push_back(value(c));
    if (count() == 2) {
      const double gap = v[1] - v[0];
      if (std::abs(gap) < alike)
        return fmt::format("A and B: the same {}{} ({} mL/kg)", what, by_, said(v[0]));
      return fmt::format("{}: {} mL/kg {} {}{} ({} against {})", run_.cases[1].title,
                         said(std::abs(gap)), gap < 0 ? "less" : "more", what, by_, said(v[1]),
                         said(v[0]));
    }
    const auto [low, high] = std::minmax_element(v.begin(), v.end());
    return fmt::format("{} {} ({}) to {} mL/kg ({}){}", what, said(*low),
                       letter(static_cast<std::size_t>(low - v.begin())), said(*high),
                       letter(static_cast<std::size_t>(high - v.begin())), by_);
  }

  Json water() const {
    std::string title;
    if (single()) {
      const double total = lost(0);
      title = fmt::format("{} mL/kg of water lost{}", said(total), by_);
      if (total > 0)
        title += fmt::format(", {} % of it evaporated from the bowel",
                             fixed(100 * per_kg("bowel_evaporation", 0) / total, 0));
    } else {
      title = compared([&](std::size_t c) { return lost(c); }, "water lost");
      title[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(title[0])));
    }
    Json s =
        page_section("water", "stacked", "Where the water went", title,
                     {"Water lost since birth, route upon route; gains are drawn downwards. The "
                      "line is what remains when gains are taken off."});
    Json panels = Json::array();
    for (std::size_t c = 0; c < count(); ++c) {
      Json stack = Json::array();
      for (const auto& route : losses)
        if (any(route.variable))
          stack.push_back(series(route, c, route.label, route.style, 1 / weight(c)));
      for (const auto& route : gains)
        if (any(route.variable))
          stack.push_back(series(route, c, route.label, route.style, 1 / weight(c)));
      panels.push_back({{"title", named(c)},
                        {"unit", "mL per kg of birth weight"},
                        {"stack", stack},
                        {"total", series({"external_deficit", "", ""}, c, "All routes together",
                                         "external", 1 / weight(c))}});
    }
    s["data"] = {
        {"times", times()}, {"panels", panels}, {"same_scale", true}, {"numbers", account()}};
    return s;
  }

  /// Bare numbers beside the areas: mL/kg and mL of each case at the last report time.
  Json account() const {
    Json head = Json::array({"Water since birth" + by_}), rows = Json::array();
    for (std::size_t c = 0; c < count(); ++c) {
      head.push_back((single() ? "" : letter(c) + ", ") + std::string("mL/kg"));
      head.push_back((single() ? "" : letter(c) + ", ") + std::string("mL"));
    }
    const auto row = [&](const Shown& what) {
      Json cells = Json::array({what.label});
      for (std::size_t c = 0; c < count(); ++c) {
        cells.push_back(what.sign * per_kg(what.variable, c));
        cells.push_back(what.sign * now(what.variable, c));
      }
      rows.push_back({{"cells", cells}, {"style", what.style}, {"variable", what.variable}});
    };
    for (const auto& route : losses)
      if (any(route.variable)) row(route);
    for (const auto& route : gains)
      if (any(route.variable)) row(route);
    row({"external_deficit", "All routes together", "external"});
    return {{"head", head}, {"rows", rows}};
  }

  Json three_deficits() const {
    std::string title;
    for (std::size_t c = 0; c < count(); ++c)
      title += fmt::format(
          "{}{}the chart shows {}, all routes took {}, the circulation misses {} mL/kg",
          c == 0 ? "" : "; ", single() ? "" : letter(c) + ": ", said(per_kg("charted_deficit", c)),
          said(per_kg("external_deficit", c)), said(per_kg("circulating_deficit", c)));
    Json s = page_section(
        "deficits", "time_courses", "Three deficits",
        (run_.times[time_] > 0 ? "By" + by_.substr(3) : std::string("At birth")) +
            (single() ? ", " : " – ") + title,
        {"Each deficit is of its own kind and they are never mixed. Negative is a surplus. Every "
         "newborn's circulation filters plasma into the tissues; the dotted line takes that off by "
         "counting against the same baby with its bowel inside under ordinary care."});
    Json panels = Json::array();
    for (std::size_t c = 0; c < count(); ++c) {
      Json lines = Json::array();
      for (const auto& d : deficits)
        if (run_.has(d.variable)) lines.push_back(series(d, c, d.label, d.style, 1 / weight(c)));
      panels.push_back(
          {{"title", named(c)}, {"unit", "mL per kg of birth weight"}, {"series", lines}});
    }
    s["data"] = {{"times", times()}, {"panels", panels}, {"same_scale", true}, {"zero", true}};
    return s;
  }

  Json third_space() const {
    if (!run_.has("part_wall") || !any("third_space")) return {};
    std::string title;
    if (single()) {
      title = fmt::format("{} mL/kg gathered unseen in bowel wall, lumen and surface{}",
                          said(third(0)), by_);
    } else {
      title = compared([&](std::size_t c) { return third(c); }, "water gathered unseen");
      title[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(title[0])));
    }
    Json s =
        page_section("third-space", "stacked", "Third space: water in the bowel and on it", title,
                     {"Water gained since birth. No chart shows it, and the circulation "
                      "misses it."});
    Json panels = Json::array();
    for (std::size_t c = 0; c < count(); ++c) {
      Json stack = Json::array();
      for (const auto& store : hidden)
        stack.push_back(series(store, c, store.label, store.style, 1 / weight(c)));
      panels.push_back(
          {{"title", named(c)},
           {"unit", "mL per kg of birth weight"},
           {"stack", stack},
           {"total", series({"third_space", "", ""}, c, "Together", "external", 1 / weight(c))}});
    }
    s["data"] = {{"times", times()}, {"panels", panels}, {"same_scale", true}};
    return s;
  }

  // ---- Temperatures and blood

  Json who_bands() const {
    const double warm = run_.parameter("who_too_warm"), normal = run_.parameter("who_normal"),
                 mild = run_.parameter("who_mild"), moderate = run_.parameter("who_moderate");
    if (std::isnan(warm + normal + mild + moderate)) return Json::array();
    return Json::array({{{"low", warm}, {"high", nullptr}, {"label", "too warm"}},
                        {{"low", normal}, {"high", warm}, {"label", "normal"}},
                        {{"low", mild}, {"high", normal}, {"label", "mild hypothermia"}},
                        {{"low", moderate}, {"high", mild}, {"label", "moderate hypothermia"}},
                        {{"low", nullptr}, {"high", moderate}, {"label", "severe hypothermia"}}});
  }

  std::string who_class(double core) const {
    for (const auto& band : who_bands())
      if (band["low"].is_null() ||
          core >= band["low"].get<double>() + (band["high"].is_null() ? 1e-12 : 0))
        return band["label"];
    return {};
  }

  /// 36.49 is mild hypothermia and 36.5 is none: as many digits as the class needs, at least one.
  int digits_of_class(double core) const {
    int digits = 1;
    while (std::isfinite(core) && digits < 3 &&
           who_class(std::stod(fixed(core, digits))) != who_class(core))
      ++digits;
    return digits;
  }

  std::string core_title() const {
    std::string title;
    for (std::size_t c = 0; c < count(); ++c) {
      const auto course = run_.course("core_temperature", c);
      double low = std::nan("");
      for (const double x : course)
        if (!std::isnan(x) && !(low <= x)) low = x;
      const std::string who = who_class(low);
      title += fmt::format("{}{}{} °C{}", c == 0 ? "" : ", ", single() ? "" : letter(c) + " ",
                           fixed(low, digits_of_class(low)), who.empty() ? "" : " (" + who + ")");
    }
    return "Lowest core temperature: " + title;
  }

  Json temperatures() const {
    Json s = page_section("temperatures", "time_courses", "Temperatures", core_title(),
                          {"Classes of core temperature as the World Health Organization (WHO) "
                           "divides them."});
    Json core = panel("core_temperature", "Core", "°C");
    core["bands"] = who_bands();
    core["digits"] = 1;
    Json panels = Json::array({core});
    for (const auto& [variable, name] :
         {std::pair{"skin_temperature", "Skin"}, std::pair{"bowel_temperature", "Bowel"},
          std::pair{"mattress_temperature", "Mattress"}})
      if (run_.has(variable)) {
        panels.push_back(panel(variable, name, "°C"));
        panels.back()["digits"] = 1;
      }
    s["data"] = {{"times", times()}, {"panels", panels}};
    return s;
  }

  Json blood() const {
    std::string title;
    for (std::size_t c = 0; c < count(); ++c)
      title += fmt::format("{}{}{} %, sodium {} mmol/L", c == 0 ? "" : "; ",
                           single() ? "" : letter(c) + " ", said(100 * now("haematocrit", c)),
                           said(now("plasma_sodium", c)));
    Json s = page_section("blood", "time_courses", "Blood, circulation and urine",
                          "Haematocrit" + at_ + ": " + title,
                          {"Evidence on heart rate in newborns that lack volume is weak. Blood "
                           "glucose, potassium and lactate are not modelled."});
    Json sodium = panel("plasma_sodium", "Sodium of the plasma", "mmol/L");
    const double low = run_.parameter("sodium_low"), high = run_.parameter("sodium_high");
    if (!std::isnan(low + high))
      sodium["bands"] =
          Json::array({{{"low", low},
                        {"high", high},
                        {"label", fmt::format("usual: {} to {}", said(low), said(high))}}});
    s["data"] = {{"times", times()},
                 {"panels",
                  {sodium, panel("haematocrit", "Haematocrit", "%", 100),
                   panel("arterial_pressure", "Mean arterial pressure", "mmHg"),
                   panel("heart_rate", "Heart rate (weak evidence)", "beats per minute"),
                   panel("urine_flow", "Urine flow", "mL per kg and hour"),
                   panel("mesenteric_flow", "Blood flow to the bowel", "% of rest", 100)}}};
    return s;
  }

  Json given() const {
    struct Row {
      const char* label;
      const char* variable;
      bool per_kg;
    };
    constexpr Row list[] = {
        {"Maintenance, mL/kg", "given_maintenance", true},
        {"Boluses, mL/kg", "given_boluses", true},
        {"Replacement of gastric loss, mL/kg", "given_replacement", true},
        {"Blood products, mL/kg", "given_blood", true},
        {"Sodium, mmol/kg", "sodium_given", false},
        {"Chloride, mmol/kg", "chloride_given", false},
        {"Glucose that runs in at that time, mg per kg and minute", "glucose_rate", false}};
    Json head = Json::array({"Given since birth" + by_}), rows = Json::array();
    for (std::size_t c = 0; c < count(); ++c) head.push_back(named(c));
    for (const auto& row : list) {
      if (!run_.has(row.variable)) continue;
      Json cells = Json::array({row.label});
      for (std::size_t c = 0; c < count(); ++c)
        cells.push_back(now(row.variable, c) / (row.per_kg ? weight(c) : 1));
      rows.push_back({{"cells", cells}, {"variable", row.variable}});
    }
    double least = 1e300, most = -1e300;
    for (std::size_t c = 0; c < count(); ++c) {
      least = std::min(least, now("sodium_given", c));
      most = std::max(most, now("sodium_given", c));
    }
    Json s = page_section(
        "given", "table", "What the fluids bring",
        "Fluids bring " +
            (said(least) == said(most) ? said(most) : said(least) + " to " + said(most)) +
            " mmol/kg of sodium" + by_);
    s["data"] = {{"head", head}, {"rows", rows}};
    return s;
  }

  // ---- The difference explained

  Json explained(std::size_t other) const {
    Json choices = Json::array();
    for (const auto t : run_.report_times) {
      if (std::isnan(run_.at("blood_volume", 0, t)) ||
          std::isnan(run_.at("blood_volume", other, t)))
        continue;
      const auto gap = [&](const std::string& variable) {
        return run_.at(variable, other, t) / weight(other) - run_.at(variable, 0, t) / weight(0);
      };
      Json steps = Json::array();
      const auto add = [&](bool routes) {
        for (const auto& p : study::part_list)
          if ((p.group == study::part::Group::route) == routes)
            steps.push_back({{"label", p.meaning},
                             {"style", p.name},
                             {"value", gap("part_" + std::string(p.name))}});
      };
      add(true);
      steps.push_back({{"label", "Gap in external deficit"},
                       {"style", "external"},
                       {"total", gap("external_deficit")}});
      add(false);
      steps.push_back({{"label", "Gap in circulating deficit"},
                       {"style", "circulating"},
                       {"total", gap("circulating_deficit")}});
      choices.push_back(
          {{"label", files::time_label(run_.times[t])}, {"hour", run_.times[t]}, {"steps", steps}});
    }
    Json s = page_section(
        "explained-" + std::to_string(other), "waterfall",
        "Why " + letter(other) + " differs from " + letter(0), explained_title(other),
        {fmt::format("Steps to the right make the deficit of {} ({}) larger than that of {} ({}), "
                     "steps to the left make it "
                     "smaller. The upper steps add up to the gap in external deficit; with the "
                     "lower ones, water that moved between blood and tissues, they add up to "
                     "the gap in circulating deficit.",
                     letter(other), run_.cases[other].title, letter(0), run_.cases[0].title)});
    s["data"] = {{"unit", "mL per kg of birth weight"},
                 {"first", 0},
                 {"second", other},
                 {"choices", choices}};
    return s;
  }

  std::string explained_title(std::size_t other) const {
    const auto gap = [&](const std::string& v) {
      return run_.at(v, other, time_) / weight(other) - run_.at(v, 0, time_) / weight(0);
    };
    const study::PartInfo* largest = nullptr;
    for (const auto& p : study::part_list)
      if (!largest || std::abs(gap("part_" + std::string(p.name))) >
                          std::abs(gap("part_" + std::string(largest->name))))
        largest = &p;
    const double external = gap("external_deficit"), circulating = gap("circulating_deficit");
    const auto shown = [](double x) {
      return said(std::abs(x)) + (x < 0 ? " mL/kg smaller" : " mL/kg larger");
    };
    std::string part(largest->meaning);
    part[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(part[0])));
    return fmt::format(
        "{}: external deficit {}, circulating deficit {}{}; largest part: {} ({}{} mL/kg)",
        letter(other), shown(external), shown(circulating), by_, part,
        gap("part_" + std::string(largest->name)) > 0 ? "+" : "−",
        said(std::abs(gap("part_" + std::string(largest->name)))));
  }

  // ---- Parameters

  /// One figure of one trial, per kg; for two cases the gap between them. NaN when a run failed.
  double watched(const Json& figures, std::size_t first, std::size_t second,
                 std::size_t output) const {
    const auto of = [&](std::size_t c) {
      const Json& x = figures.at(c).at(output);
      return x.is_number() ? x.get<double>() / weight(c) : std::nan("");
    };
    return first == second ? of(first) : of(second) - of(first);
  }

  Json influence(std::size_t first, std::size_t second) const {
    const Json& p = run_.parameters;
    struct Moved {
      const Json* entry;
      double low[3], high[3], base[3];
      double reach(std::size_t o) const {
        double r = 0;
        for (const double x : {low[o], high[o]})
          if (!std::isnan(x)) r = std::max(r, std::abs(x - base[o]));
        return r;
      }
    };
    std::vector<Moved> list;
    double widest[3] = {0, 0, 0};
    for (const auto& entry : p.at("parameters")) {
      if (!entry.contains("moved")) continue;
      Moved m{&entry, {}, {}, {}};
      for (std::size_t o = 0; o < 3; ++o) {
        m.base[o] = watched(p.at("base"), first, second, o);
        m.low[o] = watched(entry["moved"]["low"], first, second, o);
        m.high[o] = watched(entry["moved"]["high"], first, second, o);
        widest[o] = std::max(widest[o], m.reach(o));
      }
      list.push_back(m);
    }
    const std::string gap = first == second ? "" : "Gap in ";
    const char* names[3] = {"evaporation from the bowel", "external deficit",
                            "circulating deficit"};
    Json panels = Json::array();
    for (const std::size_t o : {std::size_t{1}, std::size_t{2}}) {
      std::stable_sort(list.begin(), list.end(),
                       [&](const auto& a, const auto& b) { return a.reach(o) > b.reach(o); });
      Json rows = Json::array();
      for (std::size_t i = 0; i < std::min<std::size_t>(list.size(), 12); ++i) {
        const Moved& m = list[i];
        if (m.reach(o) < 0.01 * widest[o]) break;
        rows.push_back({{"label", input_in_words((*m.entry)["name"])},
                        {"low", m.low[o]},
                        {"high", m.high[o]},
                        {"grade", (*m.entry)["grade"]}});
      }
      std::string title = gap + names[o];
      title[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(title[0])));
      panels.push_back({{"title", title},
                        {"unit", "mL per kg of birth weight"},
                        {"base", list.empty() ? 0.0 : list.front().base[o]},
                        {"rows", rows}});
    }
    Json table = Json::array();
    for (const auto& m : list) {
      if (m.reach(1) < 0.01 * widest[1] && m.reach(2) < 0.01 * widest[2]) continue;
      const Json& e = *m.entry;
      const std::string unit = behind_figure(e["unit"]);
      table.push_back({input_in_words(e["name"]), figure_of(e["value"]) + unit,
                       figure_of(e["range"][0]) + " to " + figure_of(e["range"][1]) + unit,
                       span(m.low[1], m.high[1]), span(m.low[2], m.high[2]), e["grade"],
                       source_words(e), e.contains("remark") ? e["remark"] : e["note"]});
    }
    const bool known = !list.empty() && !panels[1]["rows"].empty();
    const std::string which =
        first == second ? "circulating deficit" : "gap in circulating deficit";
    Json s = page_section(
        "influence-" + std::to_string(second), "influence",
        "The inputs that matter most" +
            (count() > 2 ? " for " + letter(second) + " against " + letter(first) : std::string()),
        known ? fmt::format("What matters most: {} ({} between {} and {} mL/kg)",
                            lower(panels[1]["rows"][0]["label"]), which,
                            low_of(panels[1]["rows"][0]), high_of(panels[1]["rows"][0]))
              : "No input moves the results",
        {fmt::format(
             "Each input of the model was taken alone to the lower and to the upper end of its "
             "range, all others kept; the bars show where {} at {} then comes to lie{}. "
             "Inputs that act together are not seen this way.",
             first == second ? "the result"
                             : "the gap between " + letter(second) + " and " + letter(first),
             files::time_label(p.value("time_h", 0.0)),
             first == second ? "" : ", " + letter(second) + " less " + letter(first)),
         fmt::format("The table names the {} of {} inputs that move one of the two results by at "
                     "least a hundredth of what the first one does, with the work each value rests "
                     "on and how well it is known.",
                     table.size(), p.at("parameters").size())});
    s["data"] = {{"panels", panels},
                 {"head",
                  {"Input", "Value", "Range", gap + "external deficit, mL/kg",
                   gap + "circulating deficit, mL/kg", "How well known", "Source", "Remark"}},
                 {"rows", table}};
    return s;
  }

  static std::string lower(std::string text) {
    if (!text.empty())
      text[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(text[0])));
    return text;
  }
  static std::string figure_of(const Json& x) {
    return x.is_number() ? fmt::format("{:.4g}", x.get<double>()) : "-";
  }
  static std::string span(double a, double b) {
    if (std::isnan(a) || std::isnan(b)) return "a run did not finish";
    return said(a) + " to " + said(b);
  }
  static std::string low_of(const Json& row) {
    return said(std::min(number(row["low"]), number(row["high"])));
  }
  static std::string high_of(const Json& row) {
    return said(std::max(number(row["low"]), number(row["high"])));
  }
  static double number(const Json& x) { return x.is_number() ? x.get<double>() : std::nan(""); }
  static std::string source_words(const Json& e) {
    const std::string work = e.value("work", "");
    if (!work.empty() && e["source"] != "own") return work;
    const std::string source = e["source"];
    if (source == "none") return "none";
    return source.rfind("own", 0) == 0 ? "own reckoning" : source;
  }

  // ---- Tail

  Json limits() const {
    std::vector<std::string> more{
        "It is a model of one average newborn under invented care. Read differences, not digits.",
        run_.has_spread ? "Ranges are those of the parameters; babies differ beyond them."
                        : "The ranges of the inputs are shown one at a time; the range of the "
                          "results themselves is not computed on this page.",
        "Heart rate is shown for completeness; evidence in newborns is weak."};
    for (const auto& c : run_.cases)
      if (!c.finished)
        more.push_back("The run of " + c.name +
                       " did not reach its end; lines stop where it stopped.");
    return limits_section(more);
  }

  Json origin() const {
    Json rows = Json::array();
    const auto add = [&](const std::string& what, const std::string& value) {
      rows.push_back({{"cells", {what, value}}});
    };
    add("Program", made_by());
    for (const auto& change : run_.manifest.value("changes", Json::array()))
      add("Changed on the command line", change);
    for (const auto& r : run_.manifest.at("runs"))
      add("Run " + r.value("name", ""), r.value("status_meaning", ""));
    add("Numbers",
        "series.nc and series.csv (all courses), summary.csv (at the times of the table), "
        "parameters.json (inputs)");
    Json s =
        page_section("origin", "table", "Where this page comes from",
                     "Made from the data files of its folder, and can be made again from them");
    s["data"] = {{"head", {"What", ""}}, {"rows", rows}, {"text", true}};
    return s;
  }

  const RunFolder& run_;
  std::size_t time_;
  std::string by_;  ///< ` by 6 h`, of what gathers since birth
  std::string at_;  ///< ` at 6 h`, of what stands at a time
  std::vector<std::size_t> points_;
};

}  // namespace

PageData page_section(const std::string& id, const std::string& kind, const std::string& topic,
                      const std::string& title, const std::vector<std::string>& text) {
  return {{"id", id}, {"kind", kind}, {"topic", topic}, {"title", title}, {"text", text}};
}

PageData page_of_runs(const RunFolder& folder) { return Sections(folder).page(); }

}  // namespace serosa::runner
