// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include "files/document.hpp"
#include "temporary_folder.hpp"

using namespace serosa::files;
using Catch::Matchers::Contains;

namespace {

struct Outcome {
  std::optional<Document> document;
  Problems problems;
};

Outcome based(const std::filesystem::path& file, const std::filesystem::path& models = {}) {
  Outcome outcome;
  outcome.document = read_based_document(file, models, outcome.problems);
  return outcome;
}

const Node& at(const Node& root, std::initializer_list<const char*> path) {
  const Node* node = &root;
  for (const char* key : path) {
    node = node->find(key);
    REQUIRE(node);
  }
  return *node;
}

std::string set_complaint(Node& root, const std::string& assignment) {
  Problems problems;
  return set_value(root, assignment, problems) ? "(set)" : problems.text();
}

}  // namespace

TEST_CASE("a file is its base with its own changes") {
  TemporaryFolder folder;
  folder.write("base.yaml",
               "name: base\nroom: {air: 25 degC, draught: 0 m/s}\ntimes: [1 h, 2 h]\n"
               "timeline:\n  birth: {at: 0 min}\n  wrap: {at: 3 min}\n");
  const auto file =
      folder.write("own.yaml",
                   "based_on: base.yaml\nname: own\nroom: {draught: 0.2 m/s}\ntimes: [4 h]\n"
                   "timeline:\n  wrap: remove\n  dry: {at: 1 min}\n");
  const auto [document, problems] = based(file);
  INFO(problems.text());
  REQUIRE(document);
  const Node& root = document->root;
  CHECK(root.find("based_on") == nullptr);
  CHECK(at(root, {"name"}).text == "own");
  CHECK(at(root, {"room", "air"}).text == "25 degC");
  CHECK(at(root, {"room", "draught"}).text == "0.2 m/s");
  CHECK(at(root, {"times"}).items.size() == 1);
  const Node& timeline = at(root, {"timeline"});
  REQUIRE(timeline.entries.size() == 2);
  CHECK(timeline.entries[0].key == "birth");
  CHECK(timeline.entries[1].key == "dry");
  // Values remember the file they came from.
  CHECK(at(root, {"room", "air"}).origin.source->path.filename() == "base.yaml");
  CHECK(at(root, {"room", "draught"}).origin.source->path.filename() == "own.yaml");
  REQUIRE(document->sources.size() == 2);
  CHECK(document->sources[0]->path.filename() == "own.yaml");
  CHECK(document->sources[1]->path.filename() == "base.yaml");
}

TEST_CASE("a map replaces a text and a text a map") {
  TemporaryFolder folder;
  folder.write("base.yaml", "a: 1\nb: {c: 1}\n");
  const auto [document, problems] =
      based(folder.write("own.yaml", "based_on: base.yaml\na: {x: 1}\nb: 2\n"));
  REQUIRE(document);
  CHECK(at(document->root, {"a", "x"}).text == "1");
  CHECK(at(document->root, {"b"}).text == "2");
}

TEST_CASE("chains of files, and a base in the folder of the models") {
  TemporaryFolder folder;
  folder.write("models/cases/first.yaml", "a: 1\nb: 1\nc: 1\n");
  folder.write("models/cases/second.yaml", "based_on: first.yaml\nb: 2\nc: 2\n");
  const auto file = folder.write("mine/own.yaml", "based_on: cases/second.yaml\nc: 3\n");
  const auto [document, problems] = based(file, folder / "models");
  INFO(problems.text());
  REQUIRE(document);
  CHECK(at(document->root, {"a"}).text == "1");
  CHECK(at(document->root, {"b"}).text == "2");
  CHECK(at(document->root, {"c"}).text == "3");
  CHECK(document->sources.size() == 3);
}

TEST_CASE("bases that are refused") {
  TemporaryFolder folder;
  folder.write("outside.yaml", "a: 1\n");
  folder.write("in/base.yaml", "a: 1\n");
  folder.write("in/list.yaml", "[1, 2]\n");
  folder.write("in/broken.yaml", "a: [1\n");
  folder.write("in/a.yaml", "based_on: b.yaml\n");
  folder.write("in/b.yaml", "based_on: c.yaml\n");
  folder.write("in/c.yaml", "based_on: a.yaml\n");
  std::filesystem::create_symlink(folder / "outside.yaml", folder / "in/link.yaml");
  std::filesystem::create_directory(folder / "in/folder.yaml");
  for (int i = 0; i < 12; ++i)
    folder.write("in/chain" + std::to_string(i) + ".yaml",
                 "based_on: chain" + std::to_string(i + 1) + ".yaml\n");
  const auto complaint = [&](const std::string& text) {
    const auto outcome = based(folder.write("in/own.yaml", text), folder / "models");
    CHECK_FALSE(outcome.document);
    return outcome.problems.text();
  };
  CHECK_THAT(complaint("based_on: bse.yaml\n"),
             Contains("own.yaml:1:11  based_on: there is no file \"bse.yaml\"") &&
                 Contains("did you mean base.yaml?"));
  CHECK_THAT(complaint("based_on: ../outside.yaml\n"), Contains("lies outside the folder"));
  CHECK_THAT(complaint("based_on: " + (folder / "outside.yaml").string() + "\n"),
             Contains("lies outside the folder"));
  CHECK_THAT(complaint("based_on: link.yaml\n"), Contains("lies outside the folder"));
  CHECK_THAT(complaint("based_on: /etc/hostname\n"), Contains("lies outside the folder"));
  CHECK_THAT(complaint("based_on: [base.yaml]\n"), Contains("the name of one file"));
  CHECK_THAT(complaint("based_on:\n"), Contains("the name of one file"));
  CHECK_THAT(complaint("based_on: list.yaml\n"), Contains("holds a list, not a map"));
  CHECK_THAT(complaint("based_on: broken.yaml\n"), Contains("broken.yaml:1:"));
  CHECK_THAT(complaint("based_on: folder.yaml\n"), Contains("this is a folder"));
  CHECK_THAT(complaint("based_on: own.yaml\n"), Contains("in a circle: own.yaml → own.yaml"));
  CHECK_THAT(complaint("based_on: a.yaml\n"),
             Contains("in a circle: a.yaml → b.yaml → c.yaml → a.yaml"));
  CHECK_THAT(complaint("based_on: chain0.yaml\n"), Contains("more than 8 files"));
  CHECK_THAT(complaint("based_on: base.yaml\nb: remove\n"),
             Contains("b: there is no inherited entry of this name to remove"));
  CHECK_THAT(complaint("based_on: base.yaml\nnew: {x: remove}\n"),
             Contains("new.x: there is no inherited entry"));
  CHECK_THAT(complaint("a: remove\n"), Contains("there is no inherited entry"));
}

TEST_CASE("a quoted remove is a text") {
  TemporaryFolder folder;
  folder.write("base.yaml", "a: 1\n");
  const auto [document, problems] =
      based(folder.write("own.yaml", "based_on: base.yaml\na: \"remove\"\n"));
  REQUIRE(document);
  CHECK(at(document->root, {"a"}).text == "remove");
}

TEST_CASE("set creates, replaces and removes") {
  Problems problems;
  auto root =
      parse_document(make_source("t.yaml", "t.yaml", "room: {air: 25 degC}\nx: 1\n"), problems);
  REQUIRE(root);
  CHECK(set_complaint(*root, "room.air=26 degC") == "(set)");
  CHECK(at(*root, {"room", "air"}).text == "26 degC");
  CHECK(set_complaint(*root, "timeline.first wrap.at = 20 min ") == "(set)");
  CHECK(at(*root, {"timeline", "first wrap", "at"}).text == "20 min");
  CHECK(set_complaint(*root, "outputs.times=[1 h, 2 h]") == "(set)");
  CHECK(at(*root, {"outputs", "times"}).items.size() == 2);
  CHECK(set_complaint(*root, "note=a=b") == "(set)");
  CHECK(at(*root, {"note"}).text == "a=b");
  CHECK(set_complaint(*root, "x=remove") == "(set)");
  CHECK(root->find("x") == nullptr);
  CHECK(set_complaint(*root, "map={a: 1}") == "(set)");
  CHECK(at(*root, {"map", "a"}).origin.column == 15);
}

TEST_CASE("a refused set quotes the command line") {
  Problems problems;
  auto root = parse_document(make_source("t.yaml", "t.yaml", "list: [1, 2]\n"), problems);
  REQUIRE(root);
  CHECK(set_complaint(*root, "no equals sign") ==
        "command line  there is no \"=\" in it\n"
        "    --set no equals sign\n"
        "          ^ path=value, such as room.air=26 degC\n");
  CHECK_THAT(set_complaint(*root, "=5"), Contains("empty part"));
  CHECK_THAT(set_complaint(*root, "a..b=5"), Contains("empty part"));
  CHECK_THAT(set_complaint(*root, ".a=5"), Contains("empty part"));
  CHECK_THAT(set_complaint(*root, "a="), Contains("no value"));
  CHECK_THAT(set_complaint(*root, "a=   "), Contains("no value"));
  CHECK_THAT(set_complaint(*root, "list.1=5"), Contains("leads into a list"));
  CHECK_THAT(set_complaint(*root, "a=[1, 2"), Contains("is a bracket not closed?"));
  CHECK_THAT(set_complaint(*root, "a=remove"), Contains("no inherited entry"));
  CHECK_THAT(set_complaint(*root, "a=\x1b"), Contains("control character"));
  CHECK_THAT(set_complaint(*root, "a=1\nb=2"), Contains("one line"));
  CHECK_THAT(set_complaint(*root, "a=\xff"), Contains("UTF-8"));
  std::string deep = "a";
  for (int i = 0; i < 100; ++i) deep += ".a";
  CHECK_THAT(set_complaint(*root, deep + "=1"), Contains("too many parts"));
}

TEST_CASE("a data file is found by its name alone") {
  TemporaryFolder folder;
  folder.write("covers/polyethylene-film.yaml", "a: 1\n");
  folder.write("covers/none.yaml", "a: 1\n");
  folder.write("secret.yaml", "a: 1\n");
  Problems problems;
  const Origin origin{make_source("t.yaml", "t.yaml", "cover: x\n"), 1, 8};
  CHECK(find_data_file(folder.path(), "covers", "none", origin, "cover", problems) ==
        folder / "covers/none.yaml");
  CHECK_FALSE(problems.refused());
  CHECK_FALSE(
      find_data_file(folder.path(), "covers", "polyethylen-film", origin, "cover", problems));
  CHECK_THAT(problems.text(), Contains("did you mean polyethylene-film?") &&
                                  Contains("one of none, polyethylene-film"));
  CHECK_FALSE(find_data_file(folder.path(), "covers", "../secret", origin, "cover", problems));
}
