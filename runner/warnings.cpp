// SPDX-License-Identifier: Apache-2.0
#include "runner/warnings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "baby/states.hpp"
#include "runner/text_table.hpp"
#include "simulate/film_warning.hpp"

namespace serosa::runner {

namespace {

namespace out = simulate::output;

std::string who(const Computation& all, const Computed& c) {
  return all.cases.size() > 1 ? c.letter + " " + c.name + ": " : "";
}

/// When a series is first beyond a limit, and its furthest value there.
struct Excursion {
  double since = std::nan("");
  double last = 0;
  double furthest = 0;
  double furthest_at = 0;
  bool happened() const { return !std::isnan(since); }
  /// `from 20 min to 6 h`, in which it may have come back for a while.
  std::string span() const {
    return last > since ? "from " + files::time_label(since) + " to " + files::time_label(last)
                        : "at " + files::time_label(since);
  }
};

/// The classes are stated, and temperatures read and shown, in tenths of a degree.
double in_tenths(double temperature) { return std::round(10 * temperature) / 10; }

template <class Beyond>
Excursion excursion(const Computation& all, const Computed& c, out::Index o, Beyond beyond) {
  Excursion e;
  for (std::size_t i = 0; i < all.times.size(); ++i) {
    const double x = c.result.at(i, o);
    if (std::isnan(x) || !beyond(x)) continue;
    if (!e.happened()) e.since = all.times[i];
    e.last = all.times[i];
    // `beyond` tells the direction: the furthest is beyond all that were before it.
    const bool up = beyond(std::numeric_limits<double>::infinity());
    if (all.times[i] == e.since || (up ? x > e.furthest : x < e.furthest))
      e.furthest = x, e.furthest_at = all.times[i];
  }
  return e;
}

void warn_of_temperature(const Computation& all, const Computed& c,
                         std::vector<std::string>& list) {
  const auto& b = all.bands;
  const auto warm = excursion(all, c, out::core_temperature,
                              [&](double x) { return in_tenths(x) > b.who_too_warm; });
  // A baby is born warm; what counts is that it grew warmer.
  if (warm.happened() && warm.furthest_at > 0)
    list.push_back(who(all, c) +
                   fmt::format("overheating: core above {} °C {}, highest {} °C at {}.",
                               figure(b.who_too_warm), warm.span(), fixed(warm.furthest, 1),
                               files::time_label(warm.furthest_at)));
  const auto cold =
      excursion(all, c, out::core_temperature, [&](double x) { return in_tenths(x) < b.who_mild; });
  if (cold.happened())
    list.push_back(who(all, c) + fmt::format("{}: core below {} °C {}, lowest {} °C at {}.",
                                             who_class(cold.furthest, b), figure(b.who_mild),
                                             cold.span(), fixed(cold.furthest, 1),
                                             files::time_label(cold.furthest_at)));
}

/// How soon film on the mattress is too hot, at every level of the warmer.
std::string film_by_level(const Computation& all, const Computed& c) {
  const auto in_minutes = [](double minutes) {
    return minutes < simulate::WarmUp::never ? "after " + figure(minutes) + " min"
                                             : "not within an hour";
  };
  const auto& p = c.file.parameters;
  std::string text = fmt::format(
      "film laid out on the mattress before birth. It may go limp and cling above about {} °C, and "
      "{} °C is the limit for long contact with skin.",
      figure(p.film_limp_temperature), figure(p.contact_burn_temperature));
  for (const auto& level : simulate::warm_up(c.file.c.room, p, all.warmers))
    if (level.irradiance > 0)
      text += fmt::format(" Warmer {} ({} W/m2): limp {}, contact limit {}.", level.warmer,
                          figure(level.irradiance), in_minutes(level.minutes_to_limp),
                          in_minutes(level.minutes_to_contact));
  return text;
}

void warn_of_film(const Computation& all, const Computed& c, std::vector<std::string>& list) {
  const auto& timeline = c.file.c.timeline;
  const bool laid_out = std::any_of(timeline.begin(), timeline.end(), [](const auto& act) {
    return std::holds_alternative<care::LayOutFilm>(act.deed);
  });
  if (laid_out) list.push_back(who(all, c) + film_by_level(all, c));
  const double hottest = c.result.hottest_mattress;
  if (!std::isfinite(hottest)) return;
  const auto& p = c.file.parameters;
  if (laid_out && hottest > p.film_limp_temperature)
    list.push_back(who(all, c) + fmt::format("the film on the mattress reached {} °C before birth; "
                                             "it may go limp and cling.",
                                             fixed(hottest, 1)));
  if (hottest > p.contact_burn_temperature)
    list.push_back(who(all, c) +
                   fmt::format("the mattress{} reached {} °C before birth, above {} °C, the limit "
                               "for long contact with skin.",
                               laid_out ? " and the film on it" : "", fixed(hottest, 1),
                               figure(p.contact_burn_temperature)));
}

void warn_of_blood(const Computation& all, const Computed& c, std::vector<std::string>& list) {
  const auto& b = all.bands;
  const auto sodium = [&](const Excursion& e, const char* what, double limit) {
    if (e.happened())
      list.push_back(who(all, c) +
                     fmt::format("plasma sodium {} {} mmol/L {}, furthest {} mmol/L at {}.", what,
                                 figure(limit), e.span(), figure(e.furthest),
                                 files::time_label(e.furthest_at)));
  };
  sodium(excursion(all, c, out::plasma_sodium, [&](double x) { return x < b.sodium_low; }), "below",
         b.sodium_low);
  sodium(excursion(all, c, out::plasma_sodium, [&](double x) { return x > b.sodium_high; }),
         "above", b.sodium_high);
  const auto glucose =
      excursion(all, c, out::glucose_rate, [&](double x) { return x > b.glucose_high; });
  if (glucose.happened())
    list.push_back(who(all, c) + fmt::format("glucose runs at up to {} mg/kg/min, above {}, {}.",
                                             figure(glucose.furthest), figure(b.glucose_high),
                                             glucose.span()));
}

std::string failure(const Computed& c, const char* what, const simulate::Result& result) {
  const auto& r = result.report;
  std::string text = fmt::format("the run of {}{} did not finish ({}): {}", c.name, what,
                                 simulate::name(r.status), simulate::message(r.status));
  if (r.state >= 0)
    text +=
        fmt::format("; quantity: {}", baby::state_list[static_cast<std::size_t>(r.state)].meaning);
  return text + fmt::format("; it stopped {} after birth.", files::time_label(r.time));
}

}  // namespace

std::string who_class(double core, const baby::Parameters<double>& b) {
  if (std::isnan(core)) return "-";
  core = in_tenths(core);
  if (core > b.who_too_warm) return "too warm";
  if (core >= b.who_normal) return "normal";
  if (core >= b.who_mild) return "mild hypothermia";
  if (core >= b.who_moderate) return "moderate hypothermia";
  return "severe hypothermia";
}

std::vector<std::string> failures(const Computation& all) {
  std::vector<std::string> list;
  for (const auto& c : all.cases) {
    if (c.result.report.status != simulate::RunStatus::finished)
      list.push_back(failure(c, "", c.result));
    if (c.twin_result.report.status != simulate::RunStatus::finished)
      list.push_back(failure(c, "'s twin under ordinary care", c.twin_result));
  }
  return list;
}

std::vector<std::string> warnings(const Computation& all) {
  std::vector<std::string> list = failures(all);
  for (const auto& p : all.problems.all()) {
    std::string text = p.origin.source ? p.origin.source->name : "";
    if (!text.empty() && p.origin.line > 0) text += ":" + std::to_string(p.origin.line);
    if (!p.path.empty()) text += (text.empty() ? "" : ", ") + files::visible(p.path);
    text += (text.empty() ? "" : ": ") + files::visible(p.message, 400);
    if (!p.remark.empty()) text += " (" + files::visible(p.remark, 200) + ")";
    if (std::find(list.begin(), list.end(), text) == list.end()) list.push_back(text + ".");
  }
  for (const auto& note : all.notes) list.push_back(note + ".");
  for (const auto& c : all.cases) {
    warn_of_film(all, c, list);
    warn_of_temperature(all, c, list);
    warn_of_blood(all, c, list);
  }
  return list;
}

}  // namespace serosa::runner
