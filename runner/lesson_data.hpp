// SPDX-License-Identifier: Apache-2.0
// What the lesson's page knows: parameters, covers, fluids, warmers, rooms and cases as plain
// numbers in the model's units.
#pragma once
#include <filesystem>
#include <nlohmann/json.hpp>

#include "files/case_file.hpp"
#include "files/models.hpp"

namespace serosa::runner {

/// A case with every default filled in, by the fields of lesson/wire.hpp: `title`, `note`, `baby`,
/// `room` (with its name), `position`, `exposed`, `wet`, `until`, `every`, `report_at`,
/// `parameters` (what differs), `timeline` [{name, act, at, fields…, names of data files, order?}],
/// `protocol` with `readings` and `rules`, `chart_seed`, `chart_run`.
nlohmann::ordered_json lesson_case(const files::CaseFile& file, const files::Models& models);

/// All of the models: `layout` (order of the numbers on their way to the module), `parameters`,
/// `controls`, `outputs`, `body`, `statuses`, `covers`, `fluids`, `warmers`, `rooms`, `signs` (what
/// a bedside reads), `unit_table` (units as written to units of the model), `cases`.
/// Throws files::InputError.
nlohmann::ordered_json lesson_models(const files::Models& models);

}  // namespace serosa::runner
