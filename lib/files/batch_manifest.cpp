// SPDX-License-Identifier: Apache-2.0
#include <nlohmann/json.hpp>

#include "files/batch_results.hpp"
#include "files/sha256.hpp"

namespace serosa::files {

std::string batch_manifest_json(const StudyFile& f, const Failures& failures,
                                const BuildInfo& build, const std::vector<std::string>& warnings,
                                const std::vector<ResultsFolder::Written>& written) {
  using Json = nlohmann::ordered_json;
  const auto& s = f.study;
  static constexpr const char* kinds[] = {"full-grid", "random", "latin-hypercube",
                                          "sobol",     "radial", "trajectories"};
  Json arms = Json::array(), inputs = Json::array(), outputs = Json::array();
  for (std::size_t a = 0; a < s.arms.size(); ++a) {
    Json ends;
    ends["finished"] = s.runs() - failures.of(a);
    for (const auto& [status, count] : failures.by_arm[a])
      ends[std::string(simulate::name(status))] = count;
    arms.push_back({{"name", s.arms[a].name}, {"title", s.arms[a].title}, {"runs", ends}});
  }
  for (const auto& source : f.sources)
    inputs.push_back({{"name", source->path.filename().string()},
                      {"bytes", source->text.size()},
                      {"sha256", sha256(source->text)}});
  for (const auto& file : written)
    if (file.name != "log.txt")
      outputs.push_back({{"name", file.name}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  const Json manifest{{"tool", "serosa"},
                      {"version", build.version},
                      {"commit", build.commit},
                      {"compiler", build.compiler},
                      {"build_type", build.build_type},
                      {"caution", caution},
                      {"study", s.name},
                      {"title", s.title},
                      {"design",
                       {{"kind", kinds[static_cast<std::size_t>(s.design.kind)]},
                        {"runs", s.runs()},
                        {"seed", s.design.seed},
                        {"inputs", s.inputs.size()}}},
                      {"settings",
                       {{"relative_tolerance", s.settings.relative_tolerance},
                        {"absolute_tolerance_factor", s.settings.absolute_tolerance_factor},
                        {"step_budget", s.settings.step_budget}}},
                      {"failed_runs", s.exclude_failed ? "exclude" : "report"},
                      {"arms", arms},
                      {"warnings", warnings},
                      {"inputs", inputs},
                      {"outputs", outputs}};
  return manifest.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace serosa::files
