// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include "files/parameter_file.hpp"
#include "temporary_folder.hpp"

using namespace serosa::files;
using Catch::Matchers::Contains;

namespace {

const std::vector<ParameterDeclaration> declared = {{"serosal_dryness_ratio", "1"},
                                                    {"lymph_flow", "mL/kg/h"},
                                                    {"set_point", "degC"},
                                                    {"rise", "K"},
                                                    {"gap", "m"}};

Bibliography works() {
  Problems problems;
  auto read = parse_bibliography(
      make_source("r.bib", "r.bib", "@book{invented2000, author={A}, title={T}, year=2000}"),
      problems);
  REQUIRE(read);
  return *read;
}

/// A whole entry with one line replaced.
std::string entry_with(const std::string& key, const std::string& line) {
  std::string text = "lymph_flow:\n";
  const std::pair<const char*, const char*> lines[] = {{"value", "60"},
                                                       {"unit", "mL/kg/d"},
                                                       {"range", "[24, 120]"},
                                                       {"distribution", "triangular"},
                                                       {"source", "invented2000, table 2"},
                                                       {"grade", "measured"},
                                                       {"note", "at rest"}};
  for (const auto& [name, value] : lines) {
    if (name == key && line.empty()) continue;
    text += std::string("  ") + name + ": " + (name == key ? line : value) + "\n";
  }
  return text;
}

struct Outcome {
  std::vector<ParameterEntry> entries;
  Problems problems;
};

Outcome read(const std::string& text) {
  TemporaryFolder folder;
  const Bibliography bibliography = works();
  Outcome outcome;
  outcome.entries =
      read_parameter_file(folder.write("p.yaml", text), declared, &bibliography, outcome.problems);
  return outcome;
}

}  // namespace

TEST_CASE("the table of a parameter is free of faults") {
  CHECK(faults(parameter_keys()) == std::vector<std::string>{});
}

TEST_CASE("a parameter is read and converted to the model's unit") {
  const auto [entries, problems] = read(
      entry_with("", "") +
      "serosal_dryness_ratio: {value: 50, unit: \"%\", range: [35, 70], distribution: uniform, "
      "source: none, grade: assumption, note: invented for this test}\n"
      "set_point: {value: 37, unit: degC, range: [36.5, 37.5], distribution: normal, source: "
      "invented2000, grade: adult}\n"
      "rise: {value: 2, unit: K, range: [2, 2], distribution: fixed, source: invented2000, grade: "
      "derived}\n");
  INFO(problems.text());
  CHECK(problems.all().empty());
  REQUIRE(entries.size() == 4);
  const ParameterEntry& lymph = entries[0];
  CHECK(lymph.value == 60);
  CHECK(lymph.unit == "mL/kg/d");
  CHECK(lymph.model_value == 2.5);
  CHECK(lymph.model_range.low == 1);
  CHECK(lymph.model_range.high == 5);
  CHECK(lymph.distribution == Distribution::triangular);
  CHECK(lymph.source_key == "invented2000");
  CHECK(lymph.source_where == "table 2");
  CHECK(lymph.grade == Grade::measured);
  CHECK(lymph.note == "at rest");
  CHECK(lymph.origin.line == 1);
  CHECK(entries[1].model_value == 0.5);
  CHECK(entries[1].grade == Grade::assumption);
  CHECK(word_of(Grade::common_practice) == "common practice");
  CHECK(word_of(Distribution::lognormal) == "lognormal");
  CHECK(entries[2].model_value == 37);
  CHECK(entries[3].model_value == 2);
}

TEST_CASE("broken parameters are refused") {
  struct Row {
    std::string key;
    std::string line;
    const char* says;
  };
  const Row rows[] = {
      {"value", "", "the key \"value\" is missing"},
      {"unit", "", "the key \"unit\" is missing"},
      {"range", "", "the key \"range\" is missing"},
      {"distribution", "", "the key \"distribution\" is missing"},
      {"source", "", "the key \"source\" is missing"},
      {"grade", "", "the key \"grade\" is missing"},
      {"value", "60 mL", "cannot read \"60 mL\" as a number; the unit stands beside it"},
      {"value", "much", "cannot read \"much\" as a number"},
      {"value", "nan", "cannot read \"nan\" as a number"},
      {"value", "[60]", "this is a list, where a single value"},
      {"value", "200", "lymph_flow.value: the value lies outside its range"},
      {"unit", "mmHg", "is a pressure, but a flow per body weight"},
      {"unit", "furlong", "unknown unit \"furlong\""},
      {"range", "[24]", "the list has 1 item, where 2 are expected"},
      {"range", "24 to 120", "where a list is expected"},
      {"range", "[120, 24]", "the range ends before it begins"},
      {"range", "[a, b]", "cannot read \"a\" as a number"},
      {"range", "[60, 60]", "the range is empty"},
      {"distribution", "gaussian", "\"gaussian\" is not known here"},
      {"source", "invented2001", "is not in the bibliography; did you mean invented2000?"},
      {"source", "none", "the grade measured needs a source"},
      {"grade", "mesured", "did you mean measured?"},
  };
  for (const Row& row : rows) {
    INFO(row.key << ": " << row.line);
    const auto [entries, problems] = read(entry_with(row.key, row.line));
    CHECK(problems.refused());
    CHECK_THAT(problems.text(), Contains(row.says));
  }
  CHECK_THAT(read("lymph_flw: {value: 1}\n").problems.text(),
             Contains("the model has no parameter of this name; did you mean lymph_flow?"));
  CHECK_THAT(read(entry_with("", "") + "  colour: red\n").problems.text(),
             Contains("colour: this key is not known"));
  CHECK_THAT(read("[1]\n").problems.text(), Contains("a map from names to parameters"));
  CHECK_THAT(read("gap: {value: 1, unit: m, range: [0, 2], distribution: lognormal, source: "
                  "invented2000, grade: adult}\n")
                 .problems.text(),
             Contains("lies above zero"));
  CHECK_THAT(read("rise: {value: 1, unit: degC, range: [0, 2], distribution: uniform, source: "
                  "invented2000, grade: adult}\n")
                 .problems.text(),
             Contains("written in K"));
  CHECK_THAT(read("gap: {value: 1, unit: m, range: [0, 2], distribution: uniform, source: none, "
                  "grade: assumption}\n")
                 .problems.text(),
             Contains("a note must say why"));
}

TEST_CASE("a folder of parameters is whole, and each stands once") {
  TemporaryFolder folder;
  const std::string rest =
      ", unit: m, range: [0, 2], distribution: uniform, source: invented2000, "
      "grade: adult}\n";
  const std::vector<ParameterDeclaration> two = {{"b", "m"}, {"a", "m"}};
  folder.write("one.yaml", "a: {value: 1" + rest);
  const Bibliography bibliography = works();
  Problems missing;
  read_parameters(folder.path(), two, &bibliography, missing);
  CHECK_THAT(missing.text(), Contains("in no file of this folder: b"));
  folder.write("two.yaml", "b: {value: 2" + rest);
  folder.write("notes.txt", "not a parameter file");
  Problems none;
  const auto entries = read_parameters(folder.path(), two, &bibliography, none);
  CHECK(none.all().empty());
  REQUIRE(entries.size() == 2);
  CHECK(entries[0].name == "b");  // in the order of the declaration
  CHECK(entries[1].name == "a");
  folder.write("three.yaml", "a: {value: 1" + rest);
  Problems twice;
  read_parameters(folder.path(), two, &bibliography, twice);
  CHECK_THAT(twice.text(), Contains("two files; the other is"));
}
