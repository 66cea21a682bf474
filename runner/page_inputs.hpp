// SPDX-License-Identifier: Apache-2.0
// Inputs of the model for pages: remarks without names of variables, and what a study varies.
#pragma once
#include <string>

#include "files/models.hpp"
#include "runner/batch.hpp"

namespace serosa::runner {

/// The note of a data file as people read it: titles of published experiments instead of the names
/// of their files, labels of parameters and outputs instead of their names.
std::string remark_in_words(const std::string& note, const files::Models& models);

/// The text of `inputs.json`: what a study varies, with label, law, source, grade and remark.
std::string inputs_json(const LoadedStudy& study);

}  // namespace serosa::runner
