// SPDX-License-Identifier: Apache-2.0
#include "files/key_values.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

bool is_one_of(const std::vector<std::string>& words, const std::string& text) {
  return std::find(words.begin(), words.end(), text) != words.end();
}

std::string did_you_mean(const std::string& text, const std::vector<std::string>& known) {
  const std::string near = units::nearest(text, known);
  return near.empty() ? std::string() : "; did you mean " + near + "?";
}

/// `15` where a fraction up to 1 is wanted is most likely meant in percent.
bool looks_like_percent(const Key& key, const std::string& text, double value) {
  return units::shown(key.unit) == "1" && key.possible_range.high <= 1 &&
         text.find('%') == std::string::npos && value > key.possible_range.high &&
         value <= 100 * key.possible_range.high;
}

void refuse_range(const Key& key, const Node& node, const std::string& path, double value,
                  Problems& problems) {
  const std::string range = range_text(key.possible_range, key.unit);
  if (key.kind != KeyKind::count && looks_like_percent(key, node.text, value)) {
    problems.error(
        node.origin, path,
        fmt::format("cannot read {} as a fraction; did you mean {} % or {}?", quote(node.text),
                    units::shortest(value), units::shortest(value / 100)),
        range);
    return;
  }
  problems.error(node.origin, path, quote(node.text) + " is not possible", range);
}

void check_published(const Key& key, const Node& node, const std::string& path, double value,
                     Problems& problems) {
  if (key.published_range.contains(value)) return;
  const std::string source =
      key.published_source.empty() ? std::string() : " (" + key.published_source + ")";
  problems.warn(node.origin, path, quote(node.text) + " lies outside the published range" + source,
                "published " + range_text(key.published_range, key.unit));
}

/// The text of the piece, or a complaint that it is none.
const std::string* text_of(const Key& key, const Node& node, const std::string& path,
                           Problems& problems) {
  if (node.is_text()) return &node.text;
  problems.error(node.origin, path,
                 node.is_nothing() ? std::string("there is no value")
                                   : fmt::format("this is {}, where a single value is expected",
                                                 node.shape_name()),
                 expected(key));
  return nullptr;
}

}  // namespace

std::string item_path(const std::string& path, std::size_t index) {
  return fmt::format("{}[{}]", path, index + 1);
}

std::optional<double> read_quantity(const Key& key, const Node& node, const std::string& path,
                                    Problems& problems) {
  const std::string* text = text_of(key, node, path, problems);
  if (!text) return std::nullopt;
  double value = 0;
  try {
    value = units::to_model(*text, key.unit);
  } catch (const units::Error& error) {
    problems.error(node.origin, path, error.what() + did_you_mean(*text, key.word_list),
                   expected(key));
    return std::nullopt;
  }
  if (!key.possible_range.contains(value)) {
    refuse_range(key, node, path, value, problems);
    return std::nullopt;
  }
  check_published(key, node, path, value, problems);
  return value;
}

std::optional<long> read_count(const Key& key, const Node& node, const std::string& path,
                               Problems& problems) {
  const std::string* text = text_of(key, node, path, problems);
  if (!text) return std::nullopt;
  long value = 0;
  const auto [end, error] = std::from_chars(text->data(), text->data() + text->size(), value);
  if (error != std::errc() || end != text->data() + text->size()) {
    problems.error(node.origin, path, fmt::format("cannot read {} as a whole number", quote(*text)),
                   expected(key));
    return std::nullopt;
  }
  if (!key.possible_range.contains(static_cast<double>(value))) {
    refuse_range(key, node, path, static_cast<double>(value), problems);
    return std::nullopt;
  }
  check_published(key, node, path, static_cast<double>(value), problems);
  return value;
}

std::optional<std::size_t> read_word(const Key& key, const Node& node, const std::string& path,
                                     Problems& problems) {
  const std::string* text = text_of(key, node, path, problems);
  if (!text) return std::nullopt;
  const auto found = std::find(key.word_list.begin(), key.word_list.end(), *text);
  if (found != key.word_list.end()) return static_cast<std::size_t>(found - key.word_list.begin());
  problems.error(
      node.origin, path,
      fmt::format("{} is not known here{}", quote(*text), did_you_mean(*text, key.word_list)),
      fmt::format("one of {}", fmt::join(key.word_list, ", ")));
  return std::nullopt;
}

std::optional<bool> read_flag(const Key& key, const Node& node, const std::string& path,
                              Problems& problems) {
  const std::string* text = text_of(key, node, path, problems);
  if (!text) return std::nullopt;
  if (*text == "true" || *text == "false") return *text == "true";
  problems.error(node.origin, path, fmt::format("{} is neither true nor false", quote(*text)),
                 expected(key));
  return std::nullopt;
}

std::optional<std::string> read_text(const Key& key, const Node& node, const std::string& path,
                                     Problems& problems) {
  const std::string* text = text_of(key, node, path, problems);
  if (!text) return std::nullopt;
  if (!text->empty()) return *text;
  problems.error(node.origin, path, "the text is empty", expected(key));
  return std::nullopt;
}

bool check_list(const Key& key, const Node& node, const std::string& path, Problems& problems) {
  if (!node.is_list()) {
    problems.error(node.origin, path,
                   node.is_nothing()
                       ? std::string("there is no value")
                       : fmt::format("this is {}, where a list is expected", node.shape_name()),
                   expected(key));
    return false;
  }
  if (node.items.size() >= key.fewest && node.items.size() <= key.most) return true;
  const std::string how_many = key.fewest == key.most
                                   ? fmt::format("{}", key.fewest)
                                   : fmt::format("between {} and {}", key.fewest, key.most);
  problems.error(node.origin, path,
                 fmt::format("the list has {} item{}, where {} are expected", node.items.size(),
                             node.items.size() == 1 ? "" : "s", how_many),
                 expected(key));
  return false;
}

bool check_map(const Node& node, const std::string& path, Problems& problems) {
  if (node.is_map()) return true;
  problems.error(
      node.origin, path,
      node.is_nothing()
          ? std::string("there is nothing in it; write {} when all is to be default")
          : fmt::format("this is {}, where a map (key: value) is expected", node.shape_name()));
  return false;
}

void check_value(const Key& key, const Node& node, const std::string& path, Problems& problems) {
  const auto each = [&](auto&& read) {
    if (!check_list(key, node, path, problems)) return;
    for (std::size_t i = 0; i < node.items.size(); ++i)
      read(key, node.items[i], item_path(path, i), problems);
  };
  switch (key.kind) {
    case KeyKind::quantity:
      if (!node.is_text() || !is_one_of(key.word_list, node.text))
        read_quantity(key, node, path, problems);
      return;
    case KeyKind::count:
      read_count(key, node, path, problems);
      return;
    case KeyKind::word:
      read_word(key, node, path, problems);
      return;
    case KeyKind::text:
    case KeyKind::file:
      read_text(key, node, path, problems);
      return;
    case KeyKind::flag:
      read_flag(key, node, path, problems);
      return;
    case KeyKind::quantities:
      return each(read_quantity);
    case KeyKind::words:
      return each(read_word);
    case KeyKind::texts:
      return each(read_text);
    case KeyKind::maps:
      if (check_list(key, node, path, problems))
        for (std::size_t i = 0; i < node.items.size(); ++i)
          check_map(node.items[i], item_path(path, i), problems);
      return;
    case KeyKind::map:
    case KeyKind::entries:
      check_map(node, path, problems);
      return;
    case KeyKind::anything:
      return;
  }
}

}  // namespace serosa::files
