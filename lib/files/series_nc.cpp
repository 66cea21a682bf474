// SPDX-License-Identifier: Apache-2.0
// series.nc: courses over time, as bands over the runs and of every run.
#include <algorithm>

#include "files/batch_columns.hpp"

namespace serosa::files {

namespace fs = std::filesystem;
using simulate::output_list;
using study::Layout;

void write_series_nc(const fs::path& path, const StudyFile& f, const Blocks& blocks,
                     const BuildInfo& build, bool bands) {
  const auto& s = f.study;
  const Layout& layout = blocks.layout();
  const std::size_t times = layout.series_times, arms = layout.arms,
                    levels = s.series_quantiles.size();
  NetcdfWriter file(path);
  describe_file(file, f, build);
  const auto arm = file.dimension("arm", arms);
  const auto time = file.dimension("time", times);
  const auto quantile = file.dimension("quantile", levels);
  const auto hour = file.doubles("time", {time});
  describe(file, hour, "Time after birth", "h");
  const auto share = file.doubles("quantile", {quantile});
  describe(file, share, "Share of the runs that lie below", "1");
  const auto name = file.texts("arm_name", {arm});
  file.attribute(name, "long_name", "Name of the arm");
  const std::size_t rows = rows_at_a_time(layout, arms * times);
  std::vector<NetcdfWriter::Variable> band_variables, run_variables;
  for (const auto o : s.series_outputs) {
    const std::string output(output_list[o].name);
    if (bands) {
      band_variables.push_back(file.doubles(output, {arm, time, quantile}));
      describe(file, band_variables.back(),
               std::string(output_list[o].meaning) + ", quantiles over the runs",
               output_list[o].unit);
      file.attribute(band_variables.back(), "coordinates", "arm_name");
    }
  }
  NetcdfWriter::Variable number = 0;
  if (s.series_of_all_runs) {
    const auto run = file.dimension("run", static_cast<std::size_t>(layout.runs));
    number = file.integers("run", {run}, {std::min<std::size_t>(4096, layout.runs)});
    file.attribute(number, "long_name", "Number of the run, from 0");
    for (const auto o : s.series_outputs) {
      run_variables.push_back(file.doubles(std::string(output_list[o].name) + "_of_runs",
                                           {run, arm, time}, {rows, arms, times}));
      describe(file, run_variables.back(), output_list[o].meaning, output_list[o].unit);
      file.attribute(run_variables.back(), "coordinates", "arm_name");
    }
  }
  file.end_definitions();
  file.put(hour, s.series_times);
  file.put(share, s.series_quantiles);
  file.put(name, arm_names(f));
  if (bands) {
    std::vector<Finishers> done;
    for (std::size_t a = 0; a < arms; ++a) done.push_back(finishers(blocks, a));
    for (std::size_t o = 0; o < layout.series_outputs; ++o) {
      std::vector<double> table;
      for (std::size_t a = 0; a < arms; ++a)
        for (std::size_t t = 0; t < times; ++t) {
          const auto d = study::describe(column_of(blocks, layout.series(a, o, t), done[a]),
                                         s.series_quantiles, s.confidence);
          for (const auto& q : d.quantiles) table.push_back(q.value);
        }
      file.put(band_variables[o], table);
    }
  }
  if (s.series_of_all_runs) {
    std::vector<double> column, table;
    std::vector<int> numbers;
    for (std::uint64_t first = 0; first < layout.runs; first += rows) {
      const auto count =
          static_cast<std::size_t>(std::min<std::uint64_t>(rows, layout.runs - first));
      numbers.clear();
      for (std::size_t i = 0; i < count; ++i) numbers.push_back(static_cast<int>(first + i));
      file.put(number, {first}, {count}, numbers);
      column.resize(count);
      table.resize(count * arms * times);
      for (std::size_t o = 0; o < layout.series_outputs; ++o) {
        for (std::size_t a = 0; a < arms; ++a)
          for (std::size_t t = 0; t < times; ++t) {
            blocks.read(layout.series(a, o, t), first, column);
            for (std::size_t i = 0; i < count; ++i) table[(i * arms + a) * times + t] = column[i];
          }
        file.put(run_variables[o], {first, 0, 0}, {count, arms, times}, table);
      }
    }
  }
  file.close();
}
}  // namespace serosa::files
