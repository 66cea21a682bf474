// SPDX-License-Identifier: Apache-2.0
// Lessons and the words of the page, as files of the models: models/lessons.
#pragma once
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "files/keys.hpp"
#include "files/models.hpp"

namespace serosa::runner {

/// Keys of a lesson, and of its translation (models/lessons/LANGUAGE/NAME.yaml).
const files::KeyTable& lesson_keys();
const files::KeyTable& lesson_translation_keys();

/// What lessons add to the page: `languages` [{code, words}], `lessons` [{id, hours, words: {code:
/// {title, aims, steps, limits, worksheet}}, steps: [{first, second, guess?}]}], and, into `cases`,
/// the babies of the lessons.
/// @param own  lessons of the user's own, beside those of the models
/// Throws files::InputError: every fault of a file, with its line.
nlohmann::ordered_json read_lessons(const files::Models& models,
                                    const std::vector<std::string>& own,
                                    nlohmann::ordered_json& cases);

}  // namespace serosa::runner
