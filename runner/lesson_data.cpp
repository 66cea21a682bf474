// SPDX-License-Identifier: Apache-2.0
#include "runner/lesson_data.hpp"

#include <algorithm>
#include <cmath>

#include "files/paths.hpp"
#include "files/protocol_file.hpp"
#include "runner/lesson/wire.hpp"
#include "simulate/outputs.hpp"
#include "simulate/run_status.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;

namespace {

using Json = nlohmann::ordered_json;

/// Writes fields by name. Not given is null; flags and choices are numbers, as on the wire.
struct Namer {
  Json& into;
  template <class T>
  void operator()(const char* key, const T& member) {
    if constexpr (std::is_same_v<T, double>)
      into[key] = std::isfinite(member) ? Json(member) : Json(nullptr);
    else
      into[key] = static_cast<int>(member);
  }
  void name(const char* key, const std::string& text) { into[key] = text; }
};

/// Collects the order of the fields.
struct Lister {
  Json& into;
  template <class T>
  void operator()(const char* key, const T&) {
    into.push_back(key);
  }
  void name(const char*, const std::string&) {}
};

template <class T>
Json named(T x) {
  Json json = Json::object();
  Namer namer{json};
  lesson::fields(namer, x);
  return json;
}

template <class T>
Json listed() {
  T x{};
  Json json = Json::array();
  Lister lister{json};
  lesson::fields(lister, x);
  return json;
}

Json layout() {
  Json chart = Json::array();
  care::Case none;
  Lister lister{chart};
  lesson::chart_fields(lister, none);
  Json acts = Json::array();
  lesson::for_each_deed([&](auto deed) {
    acts.push_back({{"word", lesson::word(deed)}, {"fields", listed<decltype(deed)>()}});
  });
  return {{"baby", listed<baby::Inputs<double>>()},
          {"case", listed<care::Case>()},
          {"room", listed<care::Room>()},
          {"chart", std::move(chart)},
          {"protocol", listed<care::Protocol>()},
          {"reading", listed<care::Reading>()},
          {"condition", listed<care::Condition>()},
          {"rule", listed<care::Rule>()},
          {"acts", std::move(acts)}};
}

double value_of(baby::Parameters<double> p, std::size_t index) {
  return files::parameter(p, index);
}

template <class T>
Json data_files(const fs::path& folder, files::DataKind kind,
                T (*read)(const fs::path&, files::Problems&)) {
  Json all = Json::object();
  for (const auto& name : files::data_names(folder, kind)) {
    files::Problems problems;
    const fs::path path = folder / files::folder_of(kind) / (name + ".yaml");
    const auto file = files::read_data_file(kind, path, nullptr, problems);
    const T data = read(path, problems);
    problems.refuse_if_any();
    all[name] = named(data);
    all[name]["title"] = file.title;
  }
  return all;
}

Json deed_json(const care::Deed& any) {
  return std::visit(
      [](const auto& deed) {
        Json fields = {{"act", lesson::word(deed)}};
        fields.update(named(deed));
        return fields;
      },
      any);
}

Json act_json(const care::Act& act) {
  Json entry = deed_json(act.deed);
  entry["name"] = act.name;
  entry["at"] = act.at;
  return entry;
}

Json conditions_json(const std::vector<care::Condition>& conditions) {
  Json all = Json::array();
  for (const auto& condition : conditions) all.push_back(named(condition));
  return all;
}

/// The protocol of a case. Its orders stand in the timeline, marked `order`; those after the case's
/// end too, for a case on the page may be made longer.
void put_protocol(const files::CaseFile& file, const files::Models& models, Json& json) {
  files::Problems problems;
  const auto told =
      files::read_protocol(*file.understood.find("protocol"), models, problems, "protocol", true);
  problems.refuse_if_any();
  const care::Protocol& p = *file.c.protocol;
  Json protocol = named(p);
  protocol["stands_for"] = told.stands_for;
  protocol["source"] = told.source;
  protocol["readings"] = Json::array();
  for (const auto& reading : p.readings) protocol["readings"].push_back(named(reading));
  protocol["rules"] = Json::array();
  for (const auto& rule : p.rules) {
    Json entry = named(rule);
    entry["when"] = conditions_json(rule.when);
    entry["unless"] = conditions_json(rule.unless);
    entry["deed"] = deed_json(rule.deed);
    protocol["rules"].push_back(std::move(entry));
  }
  json["protocol"] = std::move(protocol);
  json["chart_seed"] = file.c.chart_seed;
  json["chart_run"] = file.c.chart_run;
  for (const auto& [order, origin] : told.orders) {
    const std::string name = "protocol: " + order.name;
    bool there = false;
    for (Json& act : json["timeline"])
      if (act["name"] == name) act["order"] = there = true;
    if (there) continue;
    Json act = act_json(order);
    act["name"] = name;
    act["order"] = true;
    json["timeline"].push_back(std::move(act));
  }
}

/// Symbols that stand for a factor of a unit: of the same dimension, with the same power.
std::vector<std::string> alike(const std::string& factor) {
  std::vector<std::string> all = {factor};
  for (const char* power : {"", "2", "3"})
    for (const auto& symbol : units::symbols()) {
      const std::string other = symbol + power;
      if (other == factor || !units::is_unit(other)) continue;
      try {
        units::convert(1.0, other, factor);
        all.push_back(other);
      } catch (const units::Error&) {  // measures something else
      }
    }
  return all;
}

/// What is written in `from`, in `to`: times the first, by the second, plus the third.
Json conversion(const std::string& from, const std::string& to) {
  const double offset = units::convert(0.0, from, to);
  const double factor = units::convert(1.0, from, to) - offset;
  const double parts = std::round(1.0 / factor);
  if (parts > 1.0 && std::abs(parts * factor - 1.0) < 1e-12) return {1, parts, offset};
  return {factor, 1, offset};
}

/// Every way in which a resolved case may write a quantity of the model: {unit of the model: {unit
/// as written: its conversion}}, made by the one reader of units.
Json unit_table() {
  Json table = Json::object();
  for (const char* name : {"1",    "h",    "wk",   "g",     "cm",      "m",         "m2",
                           "degC", "K",    "kPa",  "mmHg",  "m/s",     "1/min",     "mmol/L",
                           "g/L",  "W/m2", "g/m2", "mL/kg", "mL/kg/h", "g/m2/h/kPa"}) {
    const std::string unit = name;
    std::vector<std::string> written = {""};
    for (std::size_t from = 0; from <= unit.size();) {
      const std::size_t end = std::min(unit.find('/', from), unit.size());
      std::vector<std::string> longer;
      for (const auto& before : written)
        for (const auto& factor : alike(unit.substr(from, end - from)))
          longer.push_back(before.empty() ? factor : before + "/" + factor);
      written = std::move(longer);
      from = end + 1;
    }
    for (const auto& other : written)
      if (other != unit) table[unit][other] = conversion(other, unit);
  }
  return table;
}

}  // namespace

Json lesson_case(const files::CaseFile& file, const files::Models& models) {
  const care::Case& c = file.c;
  Json json = named(c);
  json["name"] = c.name;
  json["title"] = c.title;
  json["note"] = c.note;
  json["every"] = c.every;
  json["report_at"] = c.report_at;
  json["baby"] = named(c.baby);
  json["room"] = named(c.room);
  json["parameters"] = Json::object();
  const auto base = models.values();
  for (std::size_t i = 0; i < baby::parameter::count; ++i)
    if (const double value = value_of(file.parameters, i); value != value_of(base, i))
      json["parameters"][std::string(baby::parameter_list[i].name)] = value;
  json["timeline"] = Json::array();
  for (const care::Act& act : c.timeline) json["timeline"].push_back(act_json(act));
  if (c.protocol) put_protocol(file, models, json);
  return json;
}

Json lesson_models(const files::Models& models) {
  const fs::path& folder = models.folder;
  Json json = {{"layout", layout()}};
  Json names = Json::array(), values = Json::array(), units = Json::array();
  const auto base = models.values();
  for (std::size_t i = 0; i < baby::parameter::count; ++i) {
    names.push_back(baby::parameter_list[i].name);
    values.push_back(value_of(base, i));
    units.push_back(baby::parameter_list[i].unit);
  }
  json["parameters"] = {{"names", names}, {"values", values}, {"units", units}};
  json["controls"] = Json::array();
  for (const auto& control : baby::control_list)
    json["controls"].push_back({{"name", control.name}, {"unit", control.unit}});
  json["outputs"] = Json::array();
  for (const auto& output : simulate::output_list)
    json["outputs"].push_back(
        {{"name", output.name}, {"unit", output.unit}, {"meaning", output.meaning}});
  json["body"] = Json::array();
#define SEROSA_NAME(name, unit, text) json["body"].push_back(#name);
  SEROSA_BODY(SEROSA_NAME)
#undef SEROSA_NAME
  json["statuses"] = Json::array();
  for (const auto& status : simulate::run_statuses) json["statuses"].push_back(status.name);
  using files::DataKind;
  json["covers"] = data_files(folder, DataKind::cover, files::read_cover);
  json["fluids"] = data_files(folder, DataKind::fluid, files::read_fluid);
  json["warmers"] = data_files(folder, DataKind::warmer, files::read_warmer);
  json["rooms"] = data_files(folder, DataKind::room, files::read_room);
  json["signs"] = Json::array();
  for (const auto& sign : care::sign_list) {
    const auto of = static_cast<care::Sign>(&sign - care::sign_list);
    json["signs"].push_back({{"word", sign.word},
                             {"unit", sign.unit},
                             {"laboratory", care::from_laboratory(of)},
                             {"adds_up", care::adds_up(of)}});
  }
  json["unit_table"] = unit_table();
  json["cases"] = Json::object();
  for (const auto& file_name : files::file_names(folder / "cases")) {
    const fs::path path = folder / "cases" / file_name;
    if (path.extension() != ".yaml") continue;
    files::Problems problems;
    const auto file = files::read_case(path, models, {}, problems);
    problems.refuse_if_any();
    json["cases"][path.stem().string()] = lesson_case(file, models);
  }
  return json;
}

}  // namespace serosa::runner
