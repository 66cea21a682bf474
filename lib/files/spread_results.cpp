// SPDX-License-Identifier: Apache-2.0
#include "files/spread_results.hpp"

#include <fmt/format.h>

#include "files/csv.hpp"
#include "files/netcdf.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using simulate::output_list;
using study::Estimate;
using study::SpreadFigure;

std::vector<std::string> SpreadResults::columns() const {
  std::vector<std::string> all = cases;
  for (std::size_t c = 1; c < cases.size(); ++c) all.push_back(cases[c] + " less " + cases[0]);
  return all;
}

const SpreadFigure& SpreadResults::at(std::size_t column, std::size_t output,
                                      std::size_t time) const {
  return column < cases.size() ? spread.at(column, output, time)
                               : spread.difference(column - cases.size() + 1, output, time);
}

std::string spread_csv(const SpreadResults& r) {
  CsvWriter csv;
  csv.text("case").text("output").text("unit").text("time_h").text("runs");
  for (const double level : r.spread.levels) csv.text(fmt::format("quantile_{}", level));
  for (const char* name : {"mean", "sd", "share_owed_to_assumptions", "low", "high",
                           "share_owed_to_published", "low", "high"})
    csv.text(name);
  csv.end_row();
  const auto columns = r.columns();
  for (std::size_t c = 0; c < columns.size(); ++c)
    for (std::size_t o = 0; o < r.outputs.size(); ++o)
      for (std::size_t t = 0; t < r.times.size(); ++t) {
        const SpreadFigure& f = r.at(c, o, t);
        const auto& info = output_list[r.outputs[o]];
        csv.text(columns[c]).text(info.name).text(units::shown(info.unit)).number(r.times[t]);
        csv.number(static_cast<double>(f.n));
        for (const double q : f.quantiles) csv.number(q);
        csv.number(f.mean).number(f.sd);
        for (const Estimate& e : {f.assumed, f.measured})
          csv.number(e.value).number(e.low).number(e.high);
        csv.end_row();
      }
  return csv.bytes();
}

void write_spread_nc(const fs::path& path, const SpreadResults& r, const BuildInfo& build) {
  constexpr auto whole_file = NetcdfWriter::whole_file;
  NetcdfWriter file(path);
  file.attribute(whole_file, "Conventions", "CF-1.11");
  file.attribute(whole_file, "title", "Spread over draws of the parameters");
  file.attribute(whole_file, "source", "serosa " + build.version + ", commit " + build.commit);
  file.attribute(whole_file, "comment", std::string(caution));
  file.attribute(whole_file, "about",
                 fmt::format("{} runs of each case; {} parameters drawn from their ranges, {} of "
                             "them assumptions",
                             r.runs, r.drawn, r.assumed));
  const auto columns = r.columns();
  std::vector<std::string> names, meanings, units;
  for (const auto o : r.outputs) {
    names.emplace_back(output_list[o].name);
    meanings.emplace_back(output_list[o].meaning);
    units.push_back(units::shown(output_list[o].unit));
  }
  const auto of_case = file.dimension("case", columns.size());
  const auto output = file.dimension("output", names.size());
  const auto time = file.dimension("time", r.times.size());
  const auto quantile = file.dimension("quantile", r.spread.levels.size());
  const auto interval = file.dimension("estimate", 3);
  const auto texts = [&](const char* name, NetcdfWriter::Dimension d, const char* meaning) {
    const auto v = file.texts(name, {d});
    file.attribute(v, "long_name", std::string(meaning));
    return v;
  };
  const auto case_names = texts("case", of_case, "Name of the case; `B less A` draw by draw");
  const auto output_names = texts("output", output, "Name of the output");
  const auto output_meanings = texts("output_meaning", output, "What it is");
  const auto output_units = texts("output_unit", output, "Its unit");
  const auto estimate = texts("estimate", interval, "Estimate and the ends of its interval");
  const auto hours = file.doubles("time", {time});
  file.attribute(hours, "long_name", "Time after birth");
  file.attribute(hours, "units", "h");
  const auto levels = file.doubles("quantile", {quantile});
  file.attribute(levels, "long_name", "Share of the runs that lie below");
  file.attribute(levels, "units", "1");
  const auto values = file.doubles("value", {of_case, output, time, quantile});
  file.attribute(values, "long_name", "Quantiles over the runs, in the output's unit");
  const auto assumed = file.doubles("share_owed_to_assumptions", {of_case, output, time, interval});
  file.attribute(assumed, "long_name",
                 "Closed Sobol' index of all assumptions: share of the variance that would go if "
                 "they were known");
  file.attribute(assumed, "units", "1");
  const auto published = file.doubles("share_owed_to_published", {of_case, output, time, interval});
  file.attribute(published, "long_name", "The same of all published parameters");
  file.attribute(published, "units", "1");
  file.end_definitions();
  file.put(case_names, columns);
  file.put(output_names, names);
  file.put(output_meanings, meanings);
  file.put(output_units, units);
  file.put(estimate, std::vector<std::string>{"value", "low", "high"});
  file.put(hours, r.times);
  file.put(levels, r.spread.levels);
  std::vector<double> all, one, other;
  for (std::size_t c = 0; c < columns.size(); ++c)
    for (std::size_t o = 0; o < names.size(); ++o)
      for (std::size_t t = 0; t < r.times.size(); ++t) {
        const SpreadFigure& f = r.at(c, o, t);
        all.insert(all.end(), f.quantiles.begin(), f.quantiles.end());
        one.insert(one.end(), {f.assumed.value, f.assumed.low, f.assumed.high});
        other.insert(other.end(), {f.measured.value, f.measured.low, f.measured.high});
      }
  file.put(values, all);
  file.put(assumed, one);
  file.put(published, other);
  file.close();
}

SpreadCourses read_spread_nc(const fs::path& path) {
  const NetcdfReader file(path);
  SpreadCourses s;
  s.cases = file.texts("case");
  s.outputs = file.texts("output");
  s.meanings = file.texts("output_meaning");
  s.units = file.texts("output_unit");
  s.times = file.doubles("time");
  s.levels = file.doubles("quantile");
  s.values = file.doubles("value");
  s.assumed = file.doubles("share_owed_to_assumptions");
  s.published = file.doubles("share_owed_to_published");
  s.about = file.attribute("", "about");
  const std::size_t figures = s.cases.size() * s.outputs.size() * s.times.size();
  if (s.values.size() != figures * s.levels.size() || s.assumed.size() != figures * 3 ||
      s.published.size() != figures * 3)
    throw NetcdfError("the spread's variables do not agree in size");
  return s;
}

}  // namespace serosa::files
