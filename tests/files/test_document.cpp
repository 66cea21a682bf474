// SPDX-License-Identifier: Apache-2.0
#include <sys/stat.h>
#include <unistd.h>
#include <catch2/catch.hpp>

#include <chrono>

#include "files/document.hpp"
#include "temporary_folder.hpp"

using namespace serosa::files;
using Catch::Matchers::Contains;

namespace {

std::string complaint(const std::string& text) {
  Problems problems;
  const auto source = make_source("t.yaml", "t.yaml", text);
  const auto root = parse_document(source, problems);
  if (root) return "(read)";
  return problems.refused() ? problems.text() : "(refused without a word)";
}

Node parsed(const std::string& text) {
  Problems problems;
  auto root = parse_document(make_source("t.yaml", "t.yaml", text), problems);
  INFO(problems.text());
  REQUIRE(root);
  return *root;
}

std::string file_complaint(const std::filesystem::path& path, Limits limits = {}) {
  Problems problems;
  return read_document(path, problems, limits) ? "(read)" : problems.text();
}

}  // namespace

TEST_CASE("everything is text until asked for more, and knows its place") {
  const Node root = parsed(
      "weight: 2560 g\nflag: off\nnumber: 010\ntime: 1:30\n"
      "list: [1, two]\nquoted: \"1\"\nmap:\n  inner: no\nempty:\n");
  CHECK(root.find("weight")->text == "2560 g");
  CHECK(root.find("flag")->text == "off");
  CHECK(root.find("number")->text == "010");
  CHECK(root.find("time")->text == "1:30");
  CHECK(root.find("list")->items.size() == 2);
  CHECK(root.find("quoted")->text == "1");
  CHECK(root.find("quoted")->in_quotes);
  CHECK_FALSE(root.find("weight")->in_quotes);
  const Node& inner = *root.find("map")->find("inner");
  CHECK(inner.text == "no");
  CHECK(inner.origin.line == 8);
  CHECK(inner.origin.column == 10);
  CHECK(root.find("empty")->is_nothing());
  CHECK(root.find("empty")->origin.line == 9);
  CHECK(root.find("none") == nullptr);
  CHECK(root.entries.front().key == "weight");  // order of the file
  CHECK(root.entries.back().key == "empty");
}

TEST_CASE("line ends of other systems and a byte order mark make no difference") {
  TemporaryFolder folder;
  Problems problems;
  const auto document = read_document(folder.write("dos.yaml",
                                                   "\xEF\xBB\xBF"
                                                   "a: 1\r\nb: 2\r\n"),
                                      problems);
  REQUIRE(document);
  CHECK(document->root.find("a")->text == "1");
  CHECK(document->root.find("b")->text == "2");
  CHECK(document->root.find("b")->origin.line == 2);
}

TEST_CASE("broken YAML is refused with place and remedy") {
  struct Row {
    const char* name;
    std::string text;
    const char* says;
  };
  const Row rows[] = {
      {"duplicate key", "a: 1\nb: 2\na: 3\n",
       "t.yaml:3:1  the key \"a\" stands here a second time; the first is in line 1"},
      {"duplicate key inside", "m: {a: 1, a: 2}\n", "a second time"},
      {"alias", "a: &x 1\nb: *x\n", "anchors (&), aliases (*)"},
      {"anchor alone", "a: &x 1\n", "t.yaml:1:"},
      {"undefined alias", "a: *nowhere\n", "anchors (&), aliases (*)"},
      {"merge key", "a: {<<: {b: 1}}\n", "merge keys (<<)"},
      {"tag", "a: !!float 1\n", "the tag \"tag:yaml.org,2002:float\" is not read"},
      {"own tag", "a: !secret 1\n", "is not read"},
      {"two documents", "a: 1\n---\nb: 2\n", "t.yaml:2:1  a second document begins here"},
      {"left over after the document", "{a: 1}\nb: 2\n", "this "},
      {"empty", "", "there is nothing in this file"},
      {"comments only", "# nothing\n", "there is nothing in this file"},
      {"null only", "~\n", "there is nothing in this file"},
      {"open bracket", "a: [1, 2\n", "\"]\" or a comma is missing"},
      {"open brace", "a: {b: 1\n", "\"}\" or a comma is missing"},
      {"open quote", "a: \"text\n", "t.yaml:1:4  a quote begins here and is not closed"},
      {"open quote before more", "a: \"text\nb: 2\n", "is not closed"},
      {"open single quote", "a: 'it''s\n", "is not closed"},
      {"open quote with an escape", "a: \"text\\\"\n", "is not closed"},
      {"text behind a quote", "a: \"x\" y\n", "cannot be read as YAML"},
      {"bracket not closed at the top", "[1, 2\n", "is a bracket not closed?"},
      {"tab", "a:\n\tb: 1\n", "indent with blanks, not tabs"},
      {"bad indentation", "a: 1\n b: 2\n", "t.yaml:2:"},
      {"colon in text", "note: this: that\n", "stands in quotes"},
      {"map as key", "{a: 1}: 2\n", "a key is a single word"},
      {"list as key", "? [a, b]\n: 2\n", "a key is a single word"},
      {"empty key", "\"\": 1\n", "a key is empty"},
      {"null key", "~: 1\n", "a key is a single word"},
      {"no blank after colon", "a:1\nb: 2\n", "cannot be read as YAML"},
      {"closing bracket alone", "a: ]\n", "cannot be read as YAML"},
      {"bad escape", "a: \"\\q\"\n", "cannot be read as YAML"},
      {"unknown directive version", "%YAML 9.9\n---\na: 1\n", "cannot be read as YAML"},
  };
  for (const Row& row : rows) {
    INFO(row.name);
    CHECK_THAT(complaint(row.text), Contains(row.says));
  }
}

TEST_CASE("all that can be seen at once is reported at once") {
  const std::string text = complaint("a: 1\na: 2\nb: &x 3\nc: !t 4\nd: {e: 1, e: 2}\n");
  CHECK_THAT(text, Contains("t.yaml:2:1") && Contains("t.yaml:3:") && Contains("t.yaml:4:") &&
                       Contains("t.yaml:5:"));
}

TEST_CASE("deep nesting and large input end in an answer, quickly") {
  const auto start = std::chrono::steady_clock::now();
  const std::size_t many = 1000000;
  std::string dashes;
  for (std::size_t i = 0; i < many; ++i) dashes += "- ";
  std::string questions;
  for (std::size_t i = 0; i < many; ++i) questions += "? ";
  std::string braces;
  for (std::size_t i = 0; i < many / 2; ++i) braces += "{a: ";
  std::string stairs;
  for (std::size_t i = 0; i < 1000; ++i) stairs += std::string(i, ' ') + "a:\n";
  for (const std::string& text : {std::string(many, '['), std::string(many, '{'), dashes, braces,
                                  stairs, "a: " + std::string(many, '[')})
    CHECK_THAT(complaint(text), Contains("nested more than 32 deep"));
  CHECK_THAT(complaint(questions), Contains("a key is"));
  std::string keys = "{";
  for (std::size_t i = 0; i < 20000; ++i) keys += "k" + std::to_string(i) + ": 1, ";
  CHECK_THAT(complaint(keys + "}"), Contains("more than 10000 keys"));
  std::string again = "{";
  for (std::size_t i = 0; i < 200000; ++i) again += "k: 1, ";
  CHECK_THAT(complaint(again + "}"), Contains("a second time"));
  // Loose on purpose: this tells minutes from moments, on a machine that is shared.
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(60));
}

TEST_CASE("nesting up to the limit is read") {
  std::string text;
  for (int i = 0; i < 32; ++i) text += "[";
  text += "1";
  for (int i = 0; i < 32; ++i) text += "]";
  CHECK(complaint(text) == "(read)");
  CHECK_THAT(complaint("[" + text + "]"), Contains("nested more than 32 deep"));
}

TEST_CASE("files that are no readable text are refused by name") {
  TemporaryFolder folder;
  folder.write("exposed.yaml", "a: 1\n");
  CHECK_THAT(file_complaint(folder / "expsed.yaml"),
             Contains("expsed.yaml  there is no such file; did you mean exposed.yaml?"));
  CHECK_THAT(file_complaint(folder / "no/such.yaml"), Contains("there is no folder"));
  CHECK_THAT(file_complaint(folder.path()), Contains("this is a folder"));
  CHECK_THAT(file_complaint(folder.write("nul.yaml", std::string("a: \0b\n", 6))),
             Contains("nul.yaml:1:4  there is a control character (0x00)"));
  CHECK_THAT(file_complaint(folder.write("latin.yaml", "a: 1\nnote: gr\xFCn\n")),
             Contains("latin.yaml:2:9  this is not text in UTF-8 (byte 0xfc)"));
  CHECK_THAT(file_complaint(folder.write("utf16.yaml", std::string("\xFF\xFE"
                                                                   "a\0:\0",
                                                                   6))),
             Contains("not text in UTF-8"));
  CHECK_THAT(file_complaint(folder.write("escape.yaml", "a: \x1b[2J\n")),
             Contains("control character (0x1b)"));
  Limits small;
  small.bytes = 10;
  CHECK_THAT(file_complaint(folder.write("large.yaml", "a: 12345678\n"), small),
             Contains("larger than 10 bytes"));
  REQUIRE(::mkfifo((folder / "pipe").c_str(), 0600) == 0);
  CHECK_THAT(file_complaint(folder / "pipe"), Contains("no ordinary file"));
  CHECK_THAT(file_complaint("/dev/zero"), Contains("no ordinary file"));
  const auto secret = folder.write("secret.yaml", "a: 1\n");
  REQUIRE(::chmod(secret.c_str(), 0) == 0);
  if (::geteuid() != 0) CHECK_THAT(file_complaint(secret), Contains("no permission"));
  std::filesystem::create_symlink("loop.yaml", folder / "loop.yaml");
  CHECK_THAT(file_complaint(folder / "loop.yaml"), Contains("cannot be opened"));
}
