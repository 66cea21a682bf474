// SPDX-License-Identifier: Apache-2.0
// The files of runner/page that go into every report.html, embedded when the program is built.
#pragma once
#include <string_view>

namespace serosa::runner::page_parts {

extern const std::string_view form;    ///< page.html, with @NAMES@ to fill in
extern const std::string_view style;   ///< page.css
extern const std::string_view bundle;  ///< bundle.js

}  // namespace serosa::runner::page_parts
