// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <set>

#include "files/exit_codes.hpp"
#include "files/problems.hpp"
#include "files/utf8.hpp"

using namespace serosa::files;

TEST_CASE("a problem shows the line, a caret and what was expected") {
  std::string text;
  for (int line = 1; line < 14; ++line) text += "#\n";
  const auto source = make_source("wrapped.yaml", "wrapped.yaml", text + "    leak: 15\n");
  Problems problems;
  problems.error({source, 14, 11}, "timeline.wrap.cover.leak",
                 "cannot read \"15\" as a fraction; did you mean 15 % or 0.15?", "between 0 and 1");
  CHECK(problems.text() ==
        "wrapped.yaml:14:11  timeline.wrap.cover.leak: cannot read \"15\" as a fraction; did you "
        "mean 15 % or 0.15?\n"
        "    14 |     leak: 15\n"
        "       |           ^ between 0 and 1\n");
  CHECK(problems.refused());
}

TEST_CASE("warnings do not refuse and say that they are warnings") {
  Problems problems;
  problems.warn({make_source("a.yaml", "a.yaml", "x: 1\n"), 1, 4}, "x", "odd");
  CHECK_FALSE(problems.refused());
  CHECK(problems.warnings() == 1);
  CHECK_NOTHROW(problems.refuse_if_any());
  CHECK(problems.text() == "a.yaml:1:4  warning: x: odd\n    1 | x: 1\n      |    ^\n");
  CHECK(problems.warnings_text() == problems.text());
}

TEST_CASE("problems stand in the order of the files and lines") {
  const auto first = make_source("b.yaml", "b.yaml", "1\n2\n3\n");
  const auto second = make_source("a.yaml", "a.yaml", "1\n");
  Problems problems;
  problems.error({first, 3, 1}, "", "three");
  problems.error({second, 1, 1}, "", "other file");
  problems.error({first, 1, 1}, "", "one");
  const std::string text = problems.text();
  CHECK(text.find("one") < text.find("three"));
  CHECK(text.find("three") < text.find("other file"));
  CHECK_THROWS_AS(problems.refuse_if_any(), InputError);
  try {
    problems.refuse_if_any();
  } catch (const InputError& error) {
    CHECK(error.what() == text);
    CHECK(error.problems().errors() == 3);
  }
}

TEST_CASE("signs that would play with the terminal are made visible") {
  CHECK(visible("a\x1b[31mb") == "a\\x1b[31mb");
  CHECK(visible("line\nnext") == "line\\x0anext");
  CHECK(visible("\xff") == "\\xff");
  CHECK(visible("\u202eevil") == "\\u202eevil");
  CHECK(visible("grün °C") == "grün °C");
  CHECK(visible(std::string(200, 'a')).size() == 80 + std::string("…").size());
}

TEST_CASE("a long line is cut around the caret, which still points to the right sign") {
  const std::string line = "key: " + std::string(300, 'a') + "X" + std::string(300, 'b');
  Problems problems;
  problems.error({make_source("long.yaml", "long.yaml", line), 1, 306}, "", "here");
  const std::string text = problems.text();
  std::vector<std::string> lines = make_source("", "", text)->lines;
  REQUIRE(lines.size() == 3);
  const std::size_t caret = characters(lines[2].substr(0, lines[2].find('^')));
  const std::size_t x = characters(lines[1].substr(0, lines[1].find('X')));
  CHECK(caret == x);
  CHECK(characters(lines[1]) < 120);
}

TEST_CASE("the caret counts signs, not bytes, and escapes by their width") {
  Problems problems;
  problems.error({make_source("u.yaml", "u.yaml", "ä: \u202e x"), 1, 9}, "", "here");
  CHECK(problems.text() == "u.yaml:1:9  here\n    1 | ä: \\u202e x\n      |           ^\n");
}

TEST_CASE("the same complaint about the same place is made once") {
  Problems problems;
  const auto source = make_source("m.yaml", "m.yaml", "x\n");
  for (int i = 0; i < 3; ++i) problems.error({source, 1, 1}, "a", "again");
  problems.error({source, 1, 1}, "b", "again");
  CHECK(problems.errors() == 2);
  CHECK(problems.warnings() == 0);
}

TEST_CASE("thousands of problems are cut") {
  Problems problems;
  const auto source = make_source("m.yaml", "m.yaml", "x\n");
  for (int i = 0; i < 5000; ++i) problems.error({source, 1, 1}, "", "number " + std::to_string(i));
  CHECK_THAT(problems.text(), Catch::Matchers::Contains("and 4800 more"));
}

// RFC 3629, section 4: well-formed sequences; overlong forms and surrogates are none.
TEST_CASE("UTF-8 is told from other bytes") {
  CHECK(first_bad_byte("plain") == std::string_view::npos);
  CHECK(first_bad_byte("\u00e4\u20ac\U0001f600") == std::string_view::npos);
  CHECK(first_bad_byte("a\xC0\xAF") == 1);         // overlong "/"
  CHECK(first_bad_byte("\xED\xA0\x80") == 0);      // surrogate
  CHECK(first_bad_byte("\xF4\x90\x80\x80") == 0);  // beyond U+10FFFF
  CHECK(first_bad_byte("ab\xE2\x82") == 2);        // cut off
  CHECK(first_bad_byte("\x80") == 0);
}

TEST_CASE("exit codes are distinct and explained") {
  std::vector<int> numbers;
  for (const ExitCodeRow& row : exit_codes()) {
    numbers.push_back(static_cast<int>(row.code));
    CHECK_FALSE(row.name.empty());
    CHECK(row.sentence.back() == '.');
  }
  // A number once given keeps its meaning; later ones may follow.
  REQUIRE(numbers.size() >= 6);
  CHECK(std::vector<int>(numbers.begin(), numbers.begin() + 6) ==
        std::vector<int>{0, 2, 3, 4, 5, 6});
  CHECK(std::set<int>(numbers.begin(), numbers.end()).size() == numbers.size());
}
