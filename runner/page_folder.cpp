// SPDX-License-Identifier: Apache-2.0
#include "runner/page_folder.hpp"

#include <algorithm>
#include <cmath>

#include "files/netcdf.hpp"
#include "files/problems.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

void refuse_folder(const fs::path& path, const std::string& why) {
  files::Problems problems;
  problems.error({}, {}, files::quote(path.string()) + " " + why);
  throw files::InputError(std::move(problems));
}

void check_plain_name(const fs::path& path, const std::string& name) {
  if (name.empty() || name == "." || name == ".." || name.find('/') != std::string::npos)
    refuse_folder(path, "names " + files::quote(name) + ", which is no plain name of a file");
}

Json read_json(const fs::path& path) {
  files::Problems problems;
  files::Limits limits;
  limits.bytes = 64u << 20;
  const auto source = files::read_source(path, problems, limits);
  problems.refuse_if_any();
  try {
    return Json::parse(source->text);
  } catch (const Json::parse_error& fault) {
    refuse_folder(path, std::string("is no JSON: ") + fault.what());
  }
}

namespace {

double quantity(const files::Node& root, std::initializer_list<const char*> path,
                const char* unit) {
  const files::Node* node = &root;
  for (const char* key : path)
    if (node) node = node->find(key);
  if (!node || !node->is_text()) return std::nan("");
  return units::to_model(node->text, unit);
}

/// Cases in the order of the series file.
void read_cases(const fs::path& folder, const files::NetcdfReader& file, RunFolder& run) {
  const auto names = file.texts("case"), titles = file.texts("case_title");
  const auto status = file.doubles("run_status");
  for (std::size_t i = 0; i < names.size(); ++i) {
    RunFolder::Case c;
    c.name = names[i];
    check_plain_name(folder / "series.nc", c.name);
    c.title = titles[i].empty() ? names[i] : titles[i];
    c.letter = i < 26 ? std::string(1, static_cast<char>('A' + i)) : std::to_string(i + 1);
    c.finished = status[i] == 0;
    const fs::path path =
        names.size() == 1 ? folder / "case.yaml" : folder / "cases" / (names[i] + ".yaml");
    files::Problems problems;
    const auto document = files::read_document(path, problems);
    problems.refuse_if_any();
    c.understood = document->root;
    c.weight = quantity(c.understood, {"baby", "weight"}, "kg");
    if (!(c.weight > 0)) refuse_folder(path, "does not tell the weight at birth");
    run.cases.push_back(std::move(c));
  }
}

/// The acts of the rules, from acts.csv when the folder has one.
void read_acts(const fs::path& folder, RunFolder& run) {
  std::error_code failure;
  if (!fs::exists(folder / "acts.csv", failure)) return;
  files::Problems problems;
  const auto source = files::read_source(folder / "acts.csv", problems);
  problems.refuse_if_any();
  for (std::size_t i = 1; i < source->lines.size(); ++i) {
    std::vector<std::string> cells(1);
    bool quoted = false;
    for (const char c : source->lines[i])
      if (c == '"')
        quoted = !quoted;
      else if (c == ',' && !quoted)
        cells.emplace_back();
      else
        cells.back() += c;
    if (cells.size() < 6) continue;
    for (auto& c : run.cases)
      if (c.name == cells[0])
        c.done.push_back({units::to_number(cells[1]), cells[3], cells[4] + "; " + cells[5]});
  }
}

void read_report_times(RunFolder& run) {
  std::vector<double> wanted;
  for (const auto& c : run.cases)
    if (const auto* list = c.understood.find("report_at"))
      for (const auto& item : list->items) wanted.push_back(units::to_model(item.text, "h"));
  for (std::size_t i = 0; i < run.times.size(); ++i)
    if (std::any_of(wanted.begin(), wanted.end(),
                    [&](double t) { return std::abs(t - run.times[i]) < 2e-9; }))
      run.report_times.push_back(i);
  if (run.report_times.empty()) run.report_times.push_back(run.times.size() - 1);
}

}  // namespace

double RunFolder::at(const std::string& variable, std::size_t c, std::size_t time) const {
  const auto found = series.find(variable);
  if (found == series.end()) refuse_folder("series.nc", "does not hold " + files::quote(variable));
  return found->second[c * times.size() + time];
}

std::vector<double> RunFolder::course(const std::string& variable, std::size_t c) const {
  std::vector<double> values;
  for (std::size_t t = 0; t < times.size(); ++t) values.push_back(at(variable, c, t));
  return values;
}

double RunFolder::parameter(const std::string& wanted) const {
  if (parameters.is_object())
    for (const auto& p : parameters.at("parameters"))
      if (p.at("name") == wanted) return p.at("value").get<double>();
  return std::nan("");
}

std::size_t RunFolder::last_time() const {
  for (auto t = report_times.rbegin(); t != report_times.rend(); ++t) {
    bool reached = true;
    for (std::size_t c = 0; c < cases.size(); ++c)
      reached = reached && !std::isnan(at("blood_volume", c, *t));
    if (reached) return *t;
  }
  return 0;
}

RunFolder read_run_folder(const fs::path& folder) {
  std::error_code failure;
  if (!fs::is_directory(folder, failure)) refuse_folder(folder, "is no folder");
  if (fs::exists(folder / "UNFINISHED", failure))
    refuse_folder(folder, "was left unfinished; run the case again");
  if (!fs::exists(folder / "series.nc", failure))
    refuse_folder(folder, "is no run folder: there is no series.nc in it");
  RunFolder run;
  run.manifest = read_json(folder / "manifest.json");
  run.has_spread = fs::exists(folder / "spread.nc");
  if (fs::exists(folder / "parameters.json", failure))
    run.parameters = read_json(folder / "parameters.json");
  try {
    const files::NetcdfReader file(folder / "series.nc");
    run.times = file.doubles("time");
    read_cases(folder, file, run);
    const std::vector<std::size_t> shape{run.cases.size(), run.times.size()};
    for (const auto& name : file.variables()) {
      if (file.shape(name) != shape) continue;
      run.series[name] = file.doubles(name);
      run.meaning[name] = file.attribute(name, "long_name");
    }
  } catch (const files::NetcdfError& fault) {
    refuse_folder(folder / "series.nc", std::string("cannot be read: ") + fault.what());
  } catch (const units::Error& fault) {
    refuse_folder(folder, std::string("holds a quantity that cannot be read: ") + fault.what());
  }
  if (run.times.empty() || run.cases.empty()) refuse_folder(folder, "holds no runs");
  read_report_times(run);
  read_acts(folder, run);
  return run;
}

}  // namespace serosa::runner
