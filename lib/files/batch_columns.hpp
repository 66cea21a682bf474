// SPDX-License-Identifier: Apache-2.0
// Columns of a batch, as its tables and NetCDF files read them; not for others.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "files/batch_results.hpp"
#include "files/netcdf.hpp"
#include "study/statistics.hpp"

namespace serosa::files {

/// One bit per run: did it finish?
using Finishers = std::vector<bool>;
Finishers finishers(const Blocks& blocks, std::size_t arm);

/// A column, of the runs that finished; numbers that are missing all the same are left out.
study::Pieces column_of(const Blocks& blocks, std::size_t column, const Finishers& keep);

/// One column less another, of the runs that finished in both.
study::Pieces difference_of(const Blocks& blocks, std::size_t column, std::size_t less,
                            const Finishers& keep, const Finishers& keep_less);

std::vector<std::string> arm_names(const StudyFile& file);

/// Names what a variable is, with its unit, as the CF conventions want it.
void describe(NetcdfWriter& file, NetcdfWriter::Variable variable, std::string_view name,
              std::string_view unit);
void describe_file(NetcdfWriter& file, const StudyFile& study, const BuildInfo& build);

/// Runs that are written at a time: about a megabyte for the largest variable.
std::size_t rows_at_a_time(const study::Layout& layout, std::size_t per_run);

}  // namespace serosa::files
