// SPDX-License-Identifier: Apache-2.0
// The files of runner/lesson that go into every lesson.html, embedded when the program is built.
#pragma once
#include <string_view>

namespace serosa::runner::lesson_parts {

extern const std::string_view form;    ///< page.html, with @NAMES@ to fill in
extern const std::string_view style;   ///< page.css
extern const std::string_view bundle;  ///< bundle.js
extern const std::string_view module;  ///< the compiled model of model.json, in base 64

}  // namespace serosa::runner::lesson_parts
