// SPDX-License-Identifier: Apache-2.0
#include "files/utf8.hpp"

#include <fmt/format.h>

namespace serosa::files {
namespace {

unsigned byte_at(std::string_view text, std::size_t offset) {
  return static_cast<unsigned char>(text[offset]);
}

/// Length of a valid character at `offset` and its code point, or 0.
std::size_t decode(std::string_view text, std::size_t offset, unsigned& code) {
  const unsigned lead = byte_at(text, offset);
  code = lead;
  if (lead < 0x80) return 1;
  const std::size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || offset + length > text.size()) return 0;
  code = lead & (0xFFu >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    const unsigned next = byte_at(text, offset + i);
    if ((next & 0xC0u) != 0x80u) return 0;
    code = (code << 6) | (next & 0x3Fu);
  }
  const unsigned smallest = length == 4 ? 0x10000 : length == 3 ? 0x800 : 0x80;
  if (code < smallest || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return 0;
  return length;
}

}  // namespace

std::size_t character_length(std::string_view text, std::size_t offset) {
  unsigned code = 0;
  const std::size_t length = decode(text, offset, code);
  return length == 0 ? 1 : length;
}

std::size_t first_bad_byte(std::string_view text) {
  unsigned code = 0;
  for (std::size_t offset = 0; offset < text.size();) {
    const std::size_t length = decode(text, offset, code);
    if (length == 0) return offset;
    offset += length;
  }
  return std::string_view::npos;
}

std::size_t characters(std::string_view text) {
  std::size_t count = 0;
  for (std::size_t offset = 0; offset < text.size(); offset += character_length(text, offset))
    ++count;
  return count;
}

std::string shown_character(std::string_view character) {
  if (character.empty()) return {};
  unsigned code = 0;
  if (decode(character, 0, code) != character.size())
    return fmt::format("\\x{:02x}", byte_at(character, 0));
  if (code == '\t') return " ";
  if (code < 0x20 || code == 0x7F || (code >= 0x80 && code < 0xA0))
    return fmt::format("\\x{:02x}", code);
  const bool turns = (code >= 0x200B && code <= 0x200F) || (code >= 0x2028 && code <= 0x202E) ||
                     (code >= 0x2060 && code <= 0x206F) || code == 0xFEFF;
  if (turns) return fmt::format("\\u{:04x}", code);
  return std::string(character);
}

}  // namespace serosa::files
