// SPDX-License-Identifier: Apache-2.0
// What pages that open from disk are put together with.
#pragma once
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace serosa::runner {

/// JSON that cannot end the element it stands in, nor a line of a script: no `<`, no U+2028,
/// U+2029.
std::string embedded(const nlohmann::ordered_json& data);

/// Text for HTML: no markup, no end of an attribute.
std::string escaped(const std::string& plain);

/// A source expression of a content-security policy: 'sha256-…' in base 64 (CSP level 3, section
/// 2.3.1; RFC 4648, section 4).
std::string policy_hash(std::string_view content);

/// Puts each `@NAME@` of the template in place; a value is never searched again.
std::string filled(std::string_view form,
                   const std::vector<std::pair<std::string_view, std::string>>& values);

/// Writes beside and renames, so that a reader never finds half a page. Throws files::WriteError.
void write_whole(const std::filesystem::path& path, std::string_view bytes);

}  // namespace serosa::runner
