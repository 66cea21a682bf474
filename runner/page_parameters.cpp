// SPDX-License-Identifier: Apache-2.0
#include "runner/page_parameters.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "files/bibliography.hpp"
#include "runner/page_inputs.hpp"

namespace serosa::runner {

namespace {

using Json = nlohmann::ordered_json;
namespace out = simulate::output;

/// What is looked at: where the water went, what all routes took, what the circulation misses.
constexpr out::Index watched[] = {out::bowel_evaporation, out::external_deficit,
                                  out::circulating_deficit};

bool set_by_case(const Computed& c, const std::string& name) {
  const auto& set = c.file.overridden;
  return std::find(set.begin(), set.end(), name) != set.end();
}

bool moves(const Computation& all, const files::ParameterEntry& p) {
  return p.distribution != files::Distribution::fixed && p.model_range.low < p.model_range.high &&
         std::none_of(all.cases.begin(), all.cases.end(),
                      [&](const auto& c) { return set_by_case(c, p.name); });
}

/// One run with a changed parameter, and whose it is.
struct Trial {
  std::size_t entry, c;
  bool high;
  baby::Parameters<double> parameters;
};

std::vector<Trial> trials(const Computation& all) {
  std::vector<Trial> list;
  for (std::size_t i = 0; i < all.models.parameters.size(); ++i) {
    const auto& entry = all.models.parameters[i];
    if (!moves(all, entry)) continue;
    for (std::size_t c = 0; c < all.cases.size(); ++c)
      for (const bool high : {false, true}) {
        list.push_back({i, c, high, all.cases[c].file.parameters});
        files::parameter(list.back().parameters, i) =
            high ? entry.model_range.high : entry.model_range.low;
      }
  }
  return list;
}

Json figures(const simulate::Result& result, std::size_t time) {
  Json list = Json::array();
  for (const auto o : watched) list.push_back(result.at(time, o));
  return list;
}

Json described(const Computation& all, const files::Bibliography* works, std::size_t i) {
  const auto& p = all.models.parameters[i];
  std::string source = p.source_key, work;
  if (works)
    if (const auto found = works->find(p.source_key); found != works->end()) {
      source = found->second.short_citation();
      work = found->second.full_citation();
    }
  if (!p.source_where.empty()) source += ", " + p.source_where;
  Json json{{"name", p.name},
            {"unit", p.model_unit},
            {"value", p.model_value},
            {"range", {p.model_range.low, p.model_range.high}},
            {"distribution", files::word_of(p.distribution)},
            {"source", source},
            {"work", work},
            {"grade", files::word_of(p.grade)},
            {"note", p.note},
            {"remark", remark_in_words(p.note, all.models)}};
  Json set = Json::array();
  for (const auto& c : all.cases) {
    baby::Parameters<double> values = c.file.parameters;
    set.push_back(set_by_case(c, p.name) ? Json(files::parameter(values, i)) : Json());
  }
  json["set_by_case"] = set;
  return json;
}

}  // namespace

std::string parameters_json(const Computation& all) {
  const auto list = trials(all);
  const std::vector<double> times{all.times[all.report_times.back()]};
  std::vector<simulate::Job> jobs;
  for (const auto& trial : list)
    jobs.push_back({&all.cases[trial.c].file.c, &trial.parameters, times});
  std::vector<simulate::Result> results(jobs.size());
  simulate::run(jobs, results, all.settings);

  files::Problems ignored;
  const auto works = files::read_bibliography(all.models.folder / "references.bib", ignored);
  Json outputs = Json::array(), base = Json::array(), parameters = Json::array();
  for (const auto o : watched)
    outputs.push_back({{"name", simulate::output_list[o].name},
                       {"unit", simulate::output_list[o].unit},
                       {"meaning", simulate::output_list[o].meaning}});
  for (const auto& c : all.cases) base.push_back(figures(c.result, all.report_times.back()));
  for (std::size_t i = 0; i < all.models.parameters.size(); ++i)
    parameters.push_back(described(all, works ? &*works : nullptr, i));
  for (std::size_t k = 0; k < list.size(); ++k) {
    Json& moved = parameters[list[k].entry]["moved"];
    moved[list[k].high ? "high" : "low"].push_back(figures(results[k], 0));
  }
  return Json{{"format", 1},
              {"time_h", times.front()},
              {"outputs", outputs},
              {"base", base},
              {"parameters", parameters}}
             .dump(1) +
         "\n";
}

}  // namespace serosa::runner
