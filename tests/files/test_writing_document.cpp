// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include <random>

#include "files/document.hpp"

using namespace serosa::files;

namespace {

bool same(const Node& a, const Node& b) {
  if (a.shape != b.shape || a.text != b.text || a.items.size() != b.items.size() ||
      a.entries.size() != b.entries.size())
    return false;
  for (std::size_t i = 0; i < a.items.size(); ++i)
    if (!same(a.items[i], b.items[i])) return false;
  for (std::size_t i = 0; i < a.entries.size(); ++i)
    if (a.entries[i].key != b.entries[i].key || !same(a.entries[i].value, b.entries[i].value))
      return false;
  return true;
}

void check_round_trip(const Node& root) {
  const std::string text = write_document(root);
  Problems problems;
  const auto again = parse_document(make_source("w.yaml", "w.yaml", text), problems);
  INFO(text << problems.text());
  REQUIRE(again);
  REQUIRE(same(root, *again));
  REQUIRE(write_document(*again) == text);
}

/// Random trees of texts that are hard on YAML.
class Forest {
 public:
  Node map(int depth) {
    Node node = Node::make_map();
    for (unsigned i = 0, n = pick(5); i < n; ++i)
      node.entries.push_back({"k" + std::to_string(i) + text(), {}, value(depth)});
    return node;
  }

 private:
  unsigned pick(unsigned below) { return static_cast<unsigned>(bits_() % below); }

  std::string text() {
    static const std::string pieces[] = {
        "a",    "1",   " ",   ":",    ": ",     "#",  " #", "-",      "- ",    "'",   "\"",
        "\\",   "[",   "]",   "{",    "}",      ",",  "&",  "*",      "!",     "|",   ">",
        "%",    "@",   "`",   "\n",   "\t",     "~",  "?",  "é",      "°C",    "...", "---",
        "null", "yes", "0x1", "1:30", "remove", "<<", "=",  "\u2028", "\u0085"};
    std::string result;
    for (unsigned i = 0, n = pick(6); i < n; ++i) result += pieces[pick(std::size(pieces))];
    return result;
  }

  Node value(int depth) {
    const unsigned kind = pick(depth > 0 ? 5 : 2);
    if (kind == 0) return {};
    if (kind <= 2) return Node::make_text(text());
    if (kind == 3) return map(depth - 1);
    Node list;
    list.shape = Node::Shape::list;
    for (unsigned i = 0, n = pick(4); i < n; ++i) list.items.push_back(value(depth - 1));
    return list;
  }

  std::mt19937 bits_{7};
};

}  // namespace

TEST_CASE("a document is written as a person would write it") {
  Problems problems;
  const auto root = parse_document(
      make_source(
          "t.yaml", "t.yaml",
          "{title: \"a: b\", weight: 2560 g, times: [1 h, 6 h], none: {}, layers: "
          "[{leak: 5 %}], timeline: {wrap: {at: -20 min, cover: {leak: '0.1'}}}, age: 36+4 wk}"),
      problems);
  REQUIRE(root);
  CHECK(write_document(*root) ==
        "title: \"a: b\"\nweight: 2560 g\ntimes: [1 h, 6 h]\nnone: {}\nlayers:\n"
        "  - {leak: 5 %}\ntimeline:\n  wrap:\n    at: -20 min\n    cover:\n      leak: 0.1\n"
        "age: 36+4 wk\n");
  check_round_trip(*root);
}

TEST_CASE("whatever is written reads back to the same tree") {
  Forest forest;
  for (int i = 0; i < 3000; ++i) {
    const Node root = forest.map(3);
    if (!root.entries.empty()) check_round_trip(root);
  }
}
