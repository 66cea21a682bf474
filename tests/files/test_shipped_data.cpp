// SPDX-License-Identifier: Apache-2.0
// The data that are shipped: every number has a value, a unit, a range, a grade and a source that
// the bibliography knows.
#include <catch2/catch.hpp>

#include "files/case_file.hpp"
#include "files/models.hpp"

namespace serosa::files {
namespace {

TEST_CASE("every shipped number has a grade and a source that resolves") {
  const std::filesystem::path folder = SEROSA_MODELS;
  Problems problems;
  const auto bibliography = read_bibliography(folder / "references.bib", problems);
  REQUIRE(bibliography);
  const Models models = read_models(folder, &*bibliography, problems);
  std::size_t numbers = models.parameters.size();
  CHECK(numbers == baby::parameter_list.size());
  for (const DataKind kind : {DataKind::cover, DataKind::fluid, DataKind::warmer, DataKind::room})
    for (const auto& name : data_names(folder, kind))
      numbers += read_data_file(kind, folder / folder_of(kind) / (name + ".yaml"), &*bibliography,
                                problems)
                     .numbers.size();
  INFO(problems.text());
  CHECK_FALSE(problems.refused());
  CHECK(numbers > baby::parameter_list.size());
}

TEST_CASE("a parameter without source or grade, or with an unknown source, is refused") {
  Problems problems;
  const auto bibliography =
      read_bibliography(std::filesystem::path(SEROSA_MODELS) / "references.bib", problems);
  REQUIRE(bibliography);
  const std::string whole =
      "x: {value: 1, unit: \"1\", range: [0, 2], distribution: uniform, source: lamke1977, "
      "grade: animal}\n";
  const auto errors = [&](std::string text) {
    Problems found;
    const auto root = parse_document(make_source("x.yaml", {}, std::move(text)), found);
    REQUIRE(root);
    read_parameter(root->entries.front(), {"x", "1"}, &*bibliography, found);
    return found.errors();
  };
  const auto without = [&](const std::string& part) {
    std::string text = whole;
    text.erase(text.find(part), part.size());
    return text;
  };
  CHECK(errors(whole) == 0);
  CHECK(errors(without(" source: lamke1977,")) > 0);
  CHECK(errors(without(", grade: animal")) > 0);
  std::string unknown = whole;
  unknown.replace(unknown.find("lamke1977"), 9, "nobody1900");
  CHECK(errors(unknown) > 0);
}

}  // namespace
}  // namespace serosa::files
