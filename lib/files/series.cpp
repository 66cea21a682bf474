// SPDX-License-Identifier: Apache-2.0
#include "files/series.hpp"

#include <cstdint>

namespace serosa::files {

namespace {

using simulate::output_list;
using Attributes = std::vector<std::pair<std::string, std::string>>;

/// Whether a temperature is a point or a difference: CF 1.11, section 3.1.2, units_metadata.
Attributes described(std::string_view name, std::string_view unit) {
  Attributes all{{"long_name", std::string(name)}, {"units", std::string(unit)}};
  if (unit == "degC") all.emplace_back("units_metadata", "temperature: on_scale");
  if (unit == "K") all.emplace_back("units_metadata", "temperature: difference");
  return all;
}

SeriesVariable status(std::vector<signed char> values) {
  SeriesVariable v{"run_status", true, false, {}, {}, std::move(values)};
  std::string meanings;
  for (const auto& s : simulate::run_statuses) {
    v.flag_values.push_back(static_cast<signed char>(s.status));
    meanings += (meanings.empty() ? "" : " ") + std::string(s.name);
  }
  v.attributes = {{"long_name", "How the run ended"}, {"flag_meanings", meanings}};
  return v;
}

template <class Value, class Get>
std::vector<Value> of_each_case(const Results& r, Get get) {
  std::vector<Value> values;
  for (const auto& c : r.cases) values.push_back(static_cast<Value>(get(c)));
  return values;
}

/// Name, meaning and value of each number that tells the solver's effort.
struct EffortVariable {
  const char* name;
  const char* meaning;
  std::int32_t simulate::Effort::*member;
};
constexpr EffortVariable effort_variables[] = {
    {"accepted_steps", "Steps of the solver that were accepted", &simulate::Effort::accepted_steps},
    {"rejected_steps", "Steps of the solver that were tried and rejected",
     &simulate::Effort::rejected_steps},
    {"rate_evaluations", "Evaluations of the rates of change", &simulate::Effort::rate_evaluations},
    {"restarts", "Times the solver began anew because an act changed the rates",
     &simulate::Effort::restarts}};

std::vector<double> course(const Results& r, simulate::output::Index output) {
  std::vector<double> values;
  values.reserve(r.cases.size() * r.times.size());
  for (const auto& c : r.cases)
    for (std::size_t t = 0; t < r.times.size(); ++t) values.push_back(c.result->at(t, output));
  return values;
}

}  // namespace

Series series_of(const Results& r) {
  Series s{r.cases.size(), r.times.size(), {}, {}};
  s.attributes = {{"Conventions", "CF-1.11"},
                  {"title", "Water, volume and heat of a newborn with exposed bowel"},
                  {"source", "serosa " + r.build.version + ", commit " + r.build.commit},
                  {"comment", std::string(caution)}};
  auto& all = s.variables;
  all.push_back({"time", false, true, described("Time after birth", "h"), {}, r.times});
  all.push_back({"case",
                 true,
                 false,
                 {{"long_name", "Name of the case"}},
                 {},
                 of_each_case<std::string>(r, [](const auto& c) { return c.name; })});
  all.push_back({"case_title",
                 true,
                 false,
                 {{"long_name", "Title of the case"}},
                 {},
                 of_each_case<std::string>(r, [](const auto& c) { return c.title; })});
  all.push_back(
      status(of_each_case<signed char>(r, [](const auto& c) { return c.result->report.status; })));
  all.push_back({"run_end",
                 true,
                 false,
                 described("Hour at which the run ended", "h"),
                 {},
                 of_each_case<double>(r, [](const auto& c) { return c.result->report.time; })});
  for (const auto& e : effort_variables)
    all.push_back(
        {e.name,
         true,
         false,
         described(e.meaning, "1"),
         {},
         of_each_case<int>(r, [&](const auto& c) { return c.result->report.effort.*e.member; })});
  const auto add = [&](std::string_view name, std::string_view meaning, std::string_view unit,
                       std::vector<double> values) {
    auto attributes = described(meaning, unit);
    attributes.emplace_back("coordinates", "case");
    all.push_back({std::string(name), true, true, std::move(attributes), {}, std::move(values)});
  };
  for (std::size_t o = 0; o < simulate::output::count; ++o)
    add(output_list[o].name, output_list[o].meaning, output_list[o].unit,
        course(r, static_cast<simulate::output::Index>(o)));
  for (const auto& extra : r.extra_series) add(extra.name, extra.meaning, extra.unit, extra.values);
  return s;
}

}  // namespace serosa::files
