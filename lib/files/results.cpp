// SPDX-License-Identifier: Apache-2.0
#include "files/results.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "files/csv.hpp"
#include "files/netcdf.hpp"

namespace serosa::files {

namespace {

namespace out = simulate::output;
using simulate::output_list;

std::string shortest(double x) {
  char digits[32];
  return {digits, std::to_chars(digits, digits + sizeof digits, x).ptr};
}

std::string with_unit(std::string_view name, std::string_view unit) {
  return std::string(name) + " [" + std::string(unit) + "]";
}

}  // namespace

std::string time_label(double hours) {
  const double minutes = 60 * std::abs(hours);
  const std::string sign = hours < 0 && minutes > 0 ? "-" : "";
  const double whole = std::round(minutes);
  if (std::abs(minutes - whole) > 1e-6) {
    // Six digits, as times of failed runs have.
    const bool short_time = minutes < 60;
    const double shown = short_time ? minutes : minutes / 60;
    const double digits = std::pow(10, 5 - std::floor(std::log10(shown)));
    return sign + shortest(std::round(shown * digits) / digits) + (short_time ? " min" : " h");
  }
  if (whole > 0 && whole < 60) return sign + shortest(whole) + " min";
  const double full = std::floor(whole / 60), rest = whole - 60 * full;
  return sign + shortest(full) + " h" + (rest > 0 ? " " + shortest(rest) + " min" : "");
}

std::string summary_csv(const Results& r) {
  CsvWriter csv;
  csv.text("output").text("meaning").text("unit");
  for (const auto& c : r.cases)
    for (const auto t : r.report_times) csv.text(c.name + ", " + time_label(r.times[t]));
  csv.end_row();
  for (std::size_t o = 0; o < out::count; ++o) {
    csv.text(output_list[o].name).text(output_list[o].meaning).text(output_list[o].unit);
    for (const auto& c : r.cases)
      for (const auto t : r.report_times) csv.number(c.result->at(t, static_cast<out::Index>(o)));
    csv.end_row();
  }
  for (const auto& figure : r.extra_figures) {
    csv.text(figure.name).text(figure.meaning).text(figure.unit);
    for (const double value : figure.values) csv.number(value);
    csv.end_row();
  }
  return csv.bytes();
}

std::string series_csv(const Results& r) {
  CsvWriter csv;
  csv.text("case").text("time [h]");
  for (const auto& o : output_list) csv.text(with_unit(o.name, o.unit));
  csv.end_row();
  for (const auto& c : r.cases)
    for (std::size_t t = 0; t < r.times.size(); ++t) {
      csv.text(c.name).number(r.times[t]);
      for (std::size_t o = 0; o < out::count; ++o)
        csv.number(c.result->at(t, static_cast<out::Index>(o)));
      csv.end_row();
    }
  return csv.bytes();
}

namespace {

/// A NetCDF variable of outputs says whether its temperature is a point or a difference (CF 1.11,
/// section 3.1.2, units_metadata).
void describe_temperature(NetcdfWriter& file, NetcdfWriter::Variable v, std::string_view unit) {
  if (unit == "degC") file.attribute(v, "units_metadata", "temperature: on_scale");
  if (unit == "K") file.attribute(v, "units_metadata", "temperature: difference");
}

void describe_status(NetcdfWriter& file, NetcdfWriter::Variable v) {
  std::vector<signed char> values;
  std::string meanings;
  for (const auto& s : simulate::run_statuses) {
    values.push_back(static_cast<signed char>(s.status));
    meanings += (meanings.empty() ? "" : " ") + std::string(s.name);
  }
  file.attribute(v, "long_name", "How the run ended");
  file.attribute(v, "flag_values", values);
  file.attribute(v, "flag_meanings", meanings);
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

}  // namespace

void write_series_nc(const std::filesystem::path& path, const Results& r) {
  NetcdfWriter file(path);
  constexpr auto whole_file = NetcdfWriter::whole_file;
  file.attribute(whole_file, "Conventions", "CF-1.11");
  file.attribute(whole_file, "title", "Water, volume and heat of a newborn with exposed bowel");
  file.attribute(whole_file, "source", "serosa " + r.build.version + ", commit " + r.build.commit);
  file.attribute(whole_file, "comment", std::string(caution));

  const auto run = file.dimension("run", r.cases.size());
  const auto time = file.dimension("time", r.times.size());
  const auto describe = [&](NetcdfWriter::Variable v, std::string_view name,
                            std::string_view unit) {
    file.attribute(v, "long_name", std::string(name));
    file.attribute(v, "units", std::string(unit));
    return v;
  };
  const auto hour = describe(file.doubles("time", {time}), "Time after birth", "h");
  const auto name = file.texts("case", {run});
  file.attribute(name, "long_name", "Name of the case");
  const auto title = file.texts("case_title", {run});
  file.attribute(title, "long_name", "Title of the case");
  const auto status = file.bytes("run_status", {run});
  describe_status(file, status);
  const auto end = describe(file.doubles("run_end", {run}), "Hour at which the run ended", "h");
  std::vector<NetcdfWriter::Variable> efforts;
  for (const auto& e : effort_variables)
    efforts.push_back(describe(file.integers(e.name, {run}), e.meaning, "1"));
  std::vector<NetcdfWriter::Variable> outputs;
  for (const auto& o : output_list) {
    const auto v = describe(file.doubles(std::string(o.name), {run, time}), o.meaning, o.unit);
    describe_temperature(file, v, o.unit);
    file.attribute(v, "coordinates", "case");
    outputs.push_back(v);
  }
  std::vector<NetcdfWriter::Variable> extras;
  for (const auto& series : r.extra_series) {
    const auto v = describe(file.doubles(series.name, {run, time}), series.meaning, series.unit);
    file.attribute(v, "coordinates", "case");
    extras.push_back(v);
  }
  file.end_definitions();

  file.put(hour, r.times);
  file.put(name, of_each_case<std::string>(r, [](const auto& c) { return c.name; }));
  file.put(title, of_each_case<std::string>(r, [](const auto& c) { return c.title; }));
  file.put(status,
           of_each_case<signed char>(r, [](const auto& c) { return c.result->report.status; }));
  file.put(end, of_each_case<double>(r, [](const auto& c) { return c.result->report.time; }));
  for (std::size_t i = 0; i < efforts.size(); ++i)
    file.put(efforts[i], of_each_case<int>(r, [&](const auto& c) {
               return c.result->report.effort.*effort_variables[i].member;
             }));
  std::vector<double> values(r.cases.size() * r.times.size());
  for (std::size_t o = 0; o < out::count; ++o) {
    auto to = values.begin();
    for (const auto& c : r.cases)
      for (std::size_t t = 0; t < r.times.size(); ++t)
        *to++ = c.result->at(t, static_cast<out::Index>(o));
    file.put(outputs[o], values);
  }
  for (std::size_t i = 0; i < extras.size(); ++i) file.put(extras[i], r.extra_series[i].values);
  file.close();
}

void write_results(ResultsFolder& folder, const Results& r, std::string_view log) {
  if (r.cases.size() == 1)
    folder.write("case.yaml", r.cases.front().understood);
  else
    for (const auto& c : r.cases) folder.write("cases/" + c.name + ".yaml", c.understood);
  folder.write("summary.csv", summary_csv(r));
  folder.write("series.csv", series_csv(r));
  try {
    write_series_nc(folder.temporary("series.nc"), r);
  } catch (const NetcdfError& failure) {
    throw WriteError("cannot write " + quote((folder.path() / "series.nc").string()) + ": " +
                     failure.what());
  }
  folder.put_in_place("series.nc");
  for (const auto& [name, bytes] : r.extra_files) folder.write(name, bytes);
  // The log is no result: it differs from run to run, so the manifest leaves it out.
  const std::vector<ResultsFolder::Written> written = folder.written();
  folder.write("log.txt", log);
  folder.write("manifest.json", manifest_json(r, written));
  folder.keep();
}

}  // namespace serosa::files
