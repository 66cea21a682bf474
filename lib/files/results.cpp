// SPDX-License-Identifier: Apache-2.0
#include "files/results.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "files/csv.hpp"
#include "files/netcdf.hpp"
#include "files/series.hpp"

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

NetcdfWriter::Variable declare(NetcdfWriter& file, const SeriesVariable& v,
                               const std::vector<NetcdfWriter::Dimension>& dimensions) {
  struct {
    NetcdfWriter& file;
    const std::string& name;
    const std::vector<NetcdfWriter::Dimension>& dimensions;
    auto operator()(const std::vector<double>&) { return file.doubles(name, dimensions); }
    auto operator()(const std::vector<int>&) { return file.integers(name, dimensions); }
    auto operator()(const std::vector<signed char>&) { return file.bytes(name, dimensions); }
    auto operator()(const std::vector<std::string>&) { return file.texts(name, dimensions); }
  } by_type{file, v.name, dimensions};
  const auto id = std::visit(by_type, v.values);
  for (const auto& [name, text] : v.attributes) file.attribute(id, name, text);
  if (!v.flag_values.empty()) file.attribute(id, "flag_values", v.flag_values);
  return id;
}

}  // namespace

void write_series_nc(const std::filesystem::path& path, const Results& r) {
  const Series series = series_of(r);
  NetcdfWriter file(path);
  for (const auto& [name, text] : series.attributes)
    file.attribute(NetcdfWriter::whole_file, name, text);
  const auto run = file.dimension("run", series.runs);
  const auto time = file.dimension("time", series.times);
  std::vector<NetcdfWriter::Variable> ids;
  for (const auto& v : series.variables) {
    std::vector<NetcdfWriter::Dimension> dimensions;
    if (v.by_run) dimensions.push_back(run);
    if (v.by_time) dimensions.push_back(time);
    ids.push_back(declare(file, v, dimensions));
  }
  file.end_definitions();
  for (std::size_t i = 0; i < ids.size(); ++i)
    std::visit([&](const auto& values) { file.put(ids[i], values); }, series.variables[i].values);
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
