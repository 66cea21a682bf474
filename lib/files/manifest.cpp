// SPDX-License-Identifier: Apache-2.0
#include <nlohmann/json.hpp>

#include "baby/states.hpp"
#include "files/results.hpp"
#include "files/sha256.hpp"

namespace serosa::files {

namespace {

using Json = nlohmann::ordered_json;

Json of_run(const CaseResult& c) {
  const simulate::RunReport& report = c.result->report;
  Json run{{"name", c.name},
           {"title", c.title},
           {"status", simulate::name(report.status)},
           {"status_meaning", simulate::message(report.status)},
           {"ended_at_h", report.time}};
  if (report.state >= 0)
    run["failed_state"] = baby::state_list[static_cast<std::size_t>(report.state)].name;
  run["accepted_steps"] = report.effort.accepted_steps;
  run["rejected_steps"] = report.effort.rejected_steps;
  run["rate_evaluations"] = report.effort.rate_evaluations;
  run["restarts"] = report.effort.restarts;
  return run;
}

}  // namespace

std::string manifest_json(const Results& r, const std::vector<ResultsFolder::Written>& written) {
  Json runs = Json::array(), inputs = Json::array(), outputs = Json::array();
  for (const auto& c : r.cases) runs.push_back(of_run(c));
  for (const auto& source : r.inputs)
    inputs.push_back(
        {{"name", source->name}, {"bytes", source->text.size()}, {"sha256", sha256(source->text)}});
  for (const auto& file : written)
    outputs.push_back({{"name", file.name}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  const Json manifest{{"tool", "serosa"},
                      {"version", r.build.version},
                      {"commit", r.build.commit},
                      {"compiler", r.build.compiler},
                      {"build_type", r.build.build_type},
                      {"instruction_set", r.instruction_set},
                      {"caution", caution},
                      {"settings",
                       {{"relative_tolerance", r.settings.relative_tolerance},
                        {"absolute_tolerance_factor", r.settings.absolute_tolerance_factor},
                        {"step_budget", r.settings.step_budget}}},
                      {"times",
                       {{"unit", "h"},
                        {"first", r.times.empty() ? Json() : Json(r.times.front())},
                        {"last", r.times.empty() ? Json() : Json(r.times.back())},
                        {"number", r.times.size()}}},
                      {"changes", r.changes},
                      {"runs", runs},
                      {"warnings", r.warnings},
                      {"inputs", inputs},
                      {"outputs", outputs}};
  // Names of files may hold bytes that are no UTF-8.
  return manifest.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace serosa::files
