// SPDX-License-Identifier: Apache-2.0
#include "runner/spread.hpp"
#include "runner/json_report.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "runner/build_info.hpp"
#include "runner/warnings.hpp"

namespace serosa::runner {

namespace {

using Json = nlohmann::ordered_json;
namespace out = simulate::output;
namespace part = study::part;

Json number(double x) { return std::isfinite(x) ? Json(x) : Json(nullptr); }

Json quantity(double x, std::string_view unit) { return {{"value", number(x)}, {"unit", unit}}; }

Json head(const char* kind) {
  const auto build = build_info();
  return {{"format", json_format},
          {"kind", kind},
          {"caution", files::caution},
          {"program", {{"name", "serosa"}, {"version", build.version}, {"commit", build.commit}}}};
}

std::string dumped(const Json& json) {
  // A file's name may be any bytes; what is not UTF-8 becomes U+FFFD.
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::vector<double> report_hours(const Computation& all) {
  std::vector<double> hours;
  for (const auto t : all.report_times) hours.push_back(all.times[t]);
  return hours;
}

Json figure_of(std::string_view name, std::string_view unit, std::string_view meaning) {
  return {{"name", name}, {"unit", unit}, {"meaning", meaning}, {"values", Json::array()}};
}

Json case_of(const Computation& all, const Computed& c) {
  const auto& report = c.result.report;
  const auto& body = c.result.body;
  Json json{{"name", c.name},
            {"title", c.file.c.title},
            {"note", c.file.c.note},
            {"status", simulate::name(report.status)},
            {"status_meaning", simulate::message(report.status)},
            {"weight", quantity(body.weight, "kg")},
            {"gestation", quantity(body.gestation, "wk")},
            {"blood_volume_at_clamping", quantity(body.clamped_blood_volume, "mL")}};
  Json figures = Json::array();
  for (std::size_t o = 0; o < out::count; ++o) {
    const auto& info = simulate::output_list[o];
    Json figure = figure_of(info.name, info.unit, info.meaning);
    for (const auto t : all.report_times)
      figure["values"].push_back(number(c.result.at(t, static_cast<out::Index>(o))));
    figures.push_back(std::move(figure));
  }
  Json twin = figure_of("circulating_deficit_against_ordinary_care", "mL",
                        "Blood volume missing against the same baby under ordinary care");
  for (const auto t : all.report_times)
    twin["values"].push_back(
        number(c.twin_result.at(t, out::blood_volume) - c.result.at(t, out::blood_volume)));
  figures.push_back(std::move(twin));
  json["figures"] = std::move(figures);
  return json;
}

/// The parts by which the deficits of `other` are larger than those of the first case.
Json difference_of(const Computation& all, const Computed& other) {
  const Computed& first = all.cases.front();
  Json parts = Json::array();
  for (const auto& info : study::part_list) {
    Json row = figure_of(info.name, "mL", info.meaning);
    row["group"] = info.group == part::Group::route   ? "route"
                   : info.group == part::Group::store ? "store"
                                                      : "solid";
    parts.push_back(std::move(row));
  }
  Json external = Json::array(), circulating = Json::array(), same_start = Json::array();
  for (const auto t : all.report_times) try {
      const auto d = study::difference(first.result, other.result, all.times, t);
      for (std::size_t p = 0; p < part::count; ++p)
        parts[p]["values"].push_back(number(d.gap(static_cast<part::Index>(p))));
      external.push_back(number(d.external()));
      circulating.push_back(number(d.circulating()));
      same_start.push_back(d.same_start);
    } catch (const study::NotComparable&) {
      for (auto& row : parts) row["values"].push_back(nullptr);
      external.push_back(nullptr);
      circulating.push_back(nullptr);
      same_start.push_back(nullptr);
    }
  return {{"first", first.name},
          {"second", other.name},
          {"unit", "mL"},
          {"positive", "makes the second case's deficit larger"},
          {"parts", std::move(parts)},
          {"external_deficit", std::move(external)},
          {"circulating_deficit", std::move(circulating)},
          {"same_start", std::move(same_start)}};
}

Json parameter_of(const files::ParameterEntry& p, const files::Bibliography& bibliography) {
  const auto source = bibliography.find(p.source_key);
  return {{"name", p.name},
          {"value", number(p.value)},
          {"unit", p.unit},
          {"low", number(p.range.low)},
          {"high", number(p.range.high)},
          {"distribution", files::word_of(p.distribution)},
          {"grade", files::word_of(p.grade)},
          {"source", p.source_key},
          {"where", p.source_where},
          {"reference", source == bibliography.end() ? "" : source->second.full_citation()},
          {"note", p.note},
          {"value_in_model", number(p.model_value)},
          {"unit_in_model", p.model_unit}};
}

}  // namespace

std::string json_report(const Computation& all, const std::string& results_folder) {
  Json json = head(all.cases.size() == 1 ? "run" : "compare");
  json["results"] = results_folder;
  json["range"] = all.spread ? spread_json(all) : Json("not yet computed");
  json["times"] = {{"unit", "h"}, {"values", report_hours(all)}};
  json["cases"] = Json::array();
  for (const auto& c : all.cases) json["cases"].push_back(case_of(all, c));
  json["differences"] = Json::array();
  for (std::size_t i = 1; i < all.cases.size(); ++i)
    json["differences"].push_back(difference_of(all, all.cases[i]));
  json["warnings"] = warnings(all);
  return dumped(json);
}

std::string json_explanation(const Explanation& what, const files::Bibliography& bibliography) {
  Json json = head("explain");
  if (!what.title.empty()) json["title"] = what.title;
  if (!what.note.empty()) json["note"] = what.note;
  json["parameters"] = Json::array();
  for (const auto& p : what.numbers) json["parameters"].push_back(parameter_of(p, bibliography));
  json["outputs"] = Json::array();
  for (const auto& o : what.outputs)
    json["outputs"].push_back({{"name", o.name}, {"unit", o.unit}, {"meaning", o.meaning}});
  return dumped(json);
}

}  // namespace serosa::runner
