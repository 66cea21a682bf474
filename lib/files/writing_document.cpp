// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>

#include "files/document.hpp"

namespace serosa::files {
namespace {

bool is_alphanumeric(char c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

/// Text that YAML reads as this text without quotes, in a block and in brackets.
bool is_plain(const std::string& text) {
  static constexpr std::string_view nulls[] = {"null", "Null", "NULL", "remove"};
  if (text.empty() || text.back() == ' ') return false;
  if (std::find(std::begin(nulls), std::end(nulls), text) != std::end(nulls)) return false;
  const bool negative = text.size() > 1 && text[0] == '-' && is_alphanumeric(text[1]);
  if (!is_alphanumeric(text[0]) && !negative) return false;
  return std::all_of(text.begin(), text.end(), [](char c) {
    return is_alphanumeric(c) || static_cast<unsigned char>(c) >= 0xA0 ||
           std::string_view(" _./%^+()-*;=").find(c) != std::string_view::npos;
  });
}

std::string scalar(const std::string& text) {
  // Characters above 0x7F may hide signs that YAML takes for line ends (U+0085, U+2028).
  const bool ascii = std::all_of(text.begin(), text.end(),
                                 [](char c) { return static_cast<unsigned char>(c) < 0x80; });
  const bool separators = !ascii && (text.find("\xC2\x85") != std::string::npos ||
                                     text.find("\xE2\x80\xA8") != std::string::npos ||
                                     text.find("\xE2\x80\xA9") != std::string::npos ||
                                     text.find("\xEF\xBB\xBF") != std::string::npos);
  if (is_plain(text) && !separators) return text;
  std::string result = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\')
      result += std::string("\\") + c;
    else if (c == '\n')
      result += "\\n";
    else if (c == '\t')
      result += "\\t";
    else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F)
      result += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
    else
      result += c;
  }
  return result + "\"";
}

bool is_simple(const Node& node) { return node.is_text() || node.is_nothing(); }

std::string inline_text(const Node& node) {
  if (node.is_text()) return scalar(node.text);
  if (node.is_nothing()) return "~";
  std::vector<std::string> parts;
  if (node.is_list()) {
    for (const Node& item : node.items) parts.push_back(inline_text(item));
    return fmt::format("[{}]", fmt::join(parts, ", "));
  }
  for (const Entry& entry : node.entries)
    parts.push_back(fmt::format("{}: {}", scalar(entry.key), inline_text(entry.value)));
  return fmt::format("{{{}}}", fmt::join(parts, ", "));
}

void write_block(const Node& node, std::size_t indent, std::string& text);

/// What stands behind `key:` or `-`.
void write_value(const Node& node, std::size_t indent, std::string& text) {
  const bool flat_list = node.is_list() && std::all_of(node.items.begin(), node.items.end(),
                                                       [](const Node& n) { return is_simple(n); });
  const bool empty_map = node.is_map() && node.entries.empty();
  if (is_simple(node) || flat_list || empty_map) {
    text += " " + inline_text(node) + "\n";
    return;
  }
  text += "\n";
  write_block(node, indent + 2, text);
}

void write_block(const Node& node, std::size_t indent, std::string& text) {
  for (const Entry& entry : node.entries) {
    text += std::string(indent, ' ') + scalar(entry.key) + ":";
    write_value(entry.value, indent, text);
  }
  for (const Node& item : node.items) {
    text += std::string(indent, ' ') + "-";
    if (item.is_map())
      text += " " + inline_text(item) + "\n";
    else
      write_value(item, indent, text);
  }
}

}  // namespace

std::string write_document(const Node& root) {
  const bool block =
      (root.is_map() && !root.entries.empty()) || (root.is_list() && !root.items.empty());
  if (!block) return inline_text(root) + "\n";
  std::string text;
  write_block(root, 0, text);
  return text;
}

}  // namespace serosa::files
