// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace serosa::files {

/// Length in bytes of the character at `offset`; 1 for a byte that begins no valid character
/// (RFC 3629: no overlong forms, no surrogates, at most U+10FFFF).
std::size_t character_length(std::string_view text, std::size_t offset);

/// Offset of the first byte that is not UTF-8, or npos.
std::size_t first_bad_byte(std::string_view text);

/// Number of characters; bad bytes count one each.
std::size_t characters(std::string_view text);

/// One character as it is safe to print: control characters, bad bytes and signs that change the
/// writing direction become escapes (`\x1b`, `\u202e`), a tab one blank.
std::string shown_character(std::string_view character);

}  // namespace serosa::files
