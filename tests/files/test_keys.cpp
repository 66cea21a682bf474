// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "files/keys.hpp"
#include "files/reader.hpp"

using namespace serosa::files;
using Catch::Matchers::Contains;

namespace {

const KeyTable& cover_keys() {
  static const KeyTable table{
      "cover", "A cover.", {quantity("leak", "1", "bare share").possible(0, 1).fallback("5 %")}};
  return table;
}

const KeyTable& act_keys() {
  static const KeyTable table{
      "act",
      "Something that is done.",
      {word("act", {"birth", "wrap"}, "what is done"), quantity("at", "h", "when").required()},
      "act",
      {{"wrap", {map("cover", cover_keys(), "the cover").fallback("{}")}}}};
  return table;
}

const KeyTable& case_keys() {
  static const KeyTable table{
      "case",
      "A case.",
      {quantity("weight", "g", "birth weight").possible(300, 8000).published(500, 6000).required(),
       quantity("warmer", "W/m2", "irradiance")
           .possible(0, 1000)
           .or_words({"low", "full"})
           .fallback("low"),
       quantities("times", "h", "grid").length(1, 5).fallback("[1 h, 6 h]"),
       flag("matted", "matted").fallback("false"), map("shelter", cover_keys(), "may be absent"),
       map("wrap", cover_keys(), "never absent").fallback("{}"),
       entries("timeline", act_keys(), "acts").fallback("{}")}};
  return table;
}

Node parsed(const std::string& text) {
  Problems problems;
  auto root = parse_document(make_source("t.yaml", "t.yaml", text), problems);
  REQUIRE(root);
  return *root;
}

}  // namespace

TEST_CASE("the case as understood has every default and reads as the same case") {
  const Node root = parsed("timeline: {birth: {at: 0 h}, wrap: {at: 3 min}}\nweight: 2.56 kg\n");
  const Node full = with_defaults(root, case_keys());
  CHECK(write_document(full) ==
        "weight: 2.56 kg\nwarmer: low\ntimes: [1 h, 6 h]\nmatted: false\nwrap:\n  leak: 5 %\n"
        "timeline:\n  birth:\n    act: birth\n    at: 0 h\n  wrap:\n    act: wrap\n    at: 3 min\n"
        "    cover:\n      leak: 5 %\n");
  // Filling in a second time changes nothing, and the reader has nothing to say.
  CHECK(write_document(with_defaults(full, case_keys())) == write_document(full));
  Problems problems;
  Reader reader(full, case_keys(), problems);
  CHECK(problems.all().empty());
  CHECK_FALSE(reader.maybe_map("shelter"));
}

TEST_CASE("documentation has a row for each key") {
  const std::string text = documentation(case_keys());
  for (const char* part : {"## case", "## cover", "## act",
                           "| `weight` | a mass, such as 2.56 kg, between 300 g and "
                           "8000 g | between 500 g and 6000 g | (required) |",
                           "`low`", "With `act: wrap` also:", "a map: see cover"})
    CHECK_THAT(text, Contains(part));
}

TEST_CASE("the schema is JSON and follows the table") {
  const auto schema = nlohmann::json::parse(json_schema(case_keys()));
  CHECK(schema["additionalProperties"] == false);
  for (const Key& key : case_keys().keys) {
    REQUIRE(schema["properties"].contains(key.name));
    CHECK_THAT(schema["properties"][key.name]["description"].get<std::string>(),
               Contains(key.help));
  }
  CHECK(schema["properties"].contains("based_on"));
  const auto& leak = schema["properties"]["wrap"]["anyOf"][0]["properties"]["leak"];
  CHECK(leak["default"] == "5 %");
  CHECK(leak["anyOf"][0]["anyOf"][1]["maximum"] == 1);
  const auto& acts =
      schema["properties"]["timeline"]["anyOf"][0]["additionalProperties"]["anyOf"][0]["anyOf"];
  REQUIRE(acts.size() == 2);
  CHECK_FALSE(acts[0]["properties"].contains("cover"));
  CHECK(acts[1]["properties"].contains("cover"));
  CHECK(acts[1]["properties"]["act"]["const"] == "wrap");
}
