// SPDX-License-Identifier: Apache-2.0
#include "runner/lesson_data.hpp"

#include <algorithm>
#include <cmath>

#include "files/paths.hpp"
#include "runner/lesson/wire.hpp"
#include "simulate/outputs.hpp"
#include "simulate/run_status.hpp"

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
  Json acts = Json::array();
  lesson::for_each_deed([&](auto deed) {
    acts.push_back({{"word", lesson::word(deed)}, {"fields", listed<decltype(deed)>()}});
  });
  return {{"baby", listed<baby::Inputs<double>>()},
          {"case", listed<care::Case>()},
          {"room", listed<care::Room>()},
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

}  // namespace

bool lesson_knows(const care::Case& c) {
  // Rules of a protocol look at the baby while the run goes on; the page has no such rules.
  const bool ruled = [](const auto& any) {
    if constexpr (requires { any.protocol; })
      return any.protocol != nullptr;
    else
      return false;
  }(c);
  return !ruled && std::all_of(c.timeline.begin(), c.timeline.end(), [](const care::Act& act) {
    return std::visit([](const auto& deed) { return !lesson::word(deed).empty(); }, act.deed);
  });
}

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
  for (const care::Act& act : c.timeline) {
    Json entry = std::visit(
        [](const auto& deed) {
          Json fields = {{"act", lesson::word(deed)}};
          fields.update(named(deed));
          return fields;
        },
        act.deed);
    entry["name"] = act.name;
    entry["at"] = act.at;
    json["timeline"].push_back(std::move(entry));
  }
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
  json["cases"] = Json::object();
  json["left_out"] = Json::array();
  for (const auto& file_name : files::file_names(folder / "cases")) {
    const fs::path path = folder / "cases" / file_name;
    if (path.extension() != ".yaml") continue;
    files::Problems problems;
    const auto file = files::read_case(path, models, {}, problems);
    problems.refuse_if_any();
    if (lesson_knows(file.c))
      json["cases"][path.stem().string()] = lesson_case(file, models);
    else
      json["left_out"].push_back(path.stem().string());
  }
  return json;
}

}  // namespace serosa::runner
