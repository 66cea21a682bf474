// SPDX-License-Identifier: Apache-2.0
#include "files/batch_columns.hpp"

#include <algorithm>
#include <cmath>

#include "units/units.hpp"

namespace serosa::files {

using simulate::RunStatus;
using study::Layout;

Finishers finishers(const Blocks& blocks, std::size_t arm) {
  const Layout& layout = blocks.layout();
  Finishers done(layout.runs);
  std::vector<double> piece(layout.block);
  for (std::uint64_t b = 0; b < layout.blocks; ++b) {
    const auto part = std::span(piece).first(layout.runs_of(b));
    blocks.read(layout.fixed(arm, Layout::status), b * layout.block, part);
    for (std::size_t i = 0; i < part.size(); ++i)
      done[b * layout.block + i] = part[i] == static_cast<double>(RunStatus::finished);
  }
  return done;
}

/// A column, of the runs that finished; numbers that are missing all the same are left out.
study::Pieces column_of(const Blocks& blocks, std::size_t column, const Finishers& keep) {
  return [&blocks, column, &keep](const std::function<void(std::span<const double>)>& see) {
    const Layout& layout = blocks.layout();
    std::vector<double> piece(layout.block);
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const auto part = std::span(piece).first(layout.runs_of(b));
      blocks.read(column, b * layout.block, part);
      std::size_t kept = 0;
      for (std::size_t i = 0; i < part.size(); ++i)
        if (keep[b * layout.block + i] && !std::isnan(part[i])) part[kept++] = part[i];
      see(part.first(kept));
    }
  };
}

/// One column less another, of the runs that finished in both.
study::Pieces difference_of(const Blocks& blocks, std::size_t column, std::size_t less,
                            const Finishers& keep, const Finishers& keep_less) {
  return [&, column, less](const std::function<void(std::span<const double>)>& see) {
    const Layout& layout = blocks.layout();
    std::vector<double> piece(layout.block), other(layout.block);
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const auto part = std::span(piece).first(layout.runs_of(b));
      const auto minus = std::span(other).first(layout.runs_of(b));
      blocks.read(column, b * layout.block, part);
      blocks.read(less, b * layout.block, minus);
      std::size_t kept = 0;
      for (std::size_t i = 0; i < part.size(); ++i) {
        const std::uint64_t run = b * layout.block + i;
        const double d = part[i] - minus[i];
        if (keep[run] && keep_less[run] && !std::isnan(d)) part[kept++] = d;
      }
      see(part.first(kept));
    }
  };
}
void describe(NetcdfWriter& file, NetcdfWriter::Variable v, std::string_view name,
              std::string_view unit) {
  file.attribute(v, "long_name", std::string(name));
  file.attribute(v, "units", units::for_udunits(unit));
  // Whether a temperature is a point or a difference: CF 1.11, section 3.1.2.
  if (unit == "degC") file.attribute(v, "units_metadata", "temperature: on_scale");
  if (unit == "K") file.attribute(v, "units_metadata", "temperature: difference");
}

void describe_file(NetcdfWriter& file, const StudyFile& f, const BuildInfo& build) {
  constexpr auto whole_file = NetcdfWriter::whole_file;
  file.attribute(whole_file, "Conventions", "CF-1.11");
  file.attribute(whole_file, "title", f.study.title.empty() ? f.study.name : f.study.title);
  file.attribute(whole_file, "source", "serosa " + build.version + ", commit " + build.commit);
  file.attribute(whole_file, "comment", std::string(caution));
}
std::vector<std::string> arm_names(const StudyFile& f) {
  std::vector<std::string> names;
  for (const auto& arm : f.study.arms) names.push_back(arm.name);
  return names;
}

std::size_t rows_at_a_time(const Layout& layout, std::size_t per_run) {
  std::size_t rows = 4096;
  while (rows > 8 && rows * per_run > (std::size_t{1} << 17)) rows /= 2;
  return std::min<std::size_t>(rows, static_cast<std::size_t>(layout.runs));
}
std::uint64_t Failures::of(std::size_t arm) const {
  std::uint64_t sum = 0;
  for (const auto& [status, count] : by_arm[arm]) sum += count;
  return sum;
}
std::uint64_t Failures::total() const {
  std::uint64_t sum = 0;
  for (std::size_t a = 0; a < by_arm.size(); ++a) sum += of(a);
  return sum;
}

Failures count_failures(const Blocks& blocks) {
  const Layout& layout = blocks.layout();
  Failures failures;
  std::vector<double> piece(layout.block);
  for (std::size_t a = 0; a < layout.arms; ++a) {
    failures.by_arm.emplace_back();
    for (std::uint64_t b = 0; b < layout.blocks; ++b) {
      const auto part = std::span(piece).first(layout.runs_of(b));
      blocks.read(layout.fixed(a, Layout::status), b * layout.block, part);
      for (const double x : part)
        if (const auto status = static_cast<RunStatus>(x); status != RunStatus::finished)
          ++failures.by_arm[a][status];
    }
  }
  return failures;
}
}  // namespace serosa::files
