// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include "files/bibliography.hpp"

using namespace serosa::files;
using Catch::Matchers::Contains;

namespace {

std::string complaint(const std::string& text) {
  Problems problems;
  const auto works = parse_bibliography(make_source("r.bib", "r.bib", text), problems);
  if (works) return "(read)";
  return problems.refused() ? problems.text() : "(refused without a word)";
}

}  // namespace

TEST_CASE("a bibliography is read") {
  Problems problems;
  const auto works = parse_bibliography(
      make_source("r.bib", "r.bib",
                  "% a comment with @ in it\n"
                  "@Article{first1977, author = {Name, A. B. and Other, C. and Third, D.},\n"
                  "  title = {A {Title} with  blanks\n   and \\& signs}, year = 1977,\n"
                  "  journal = \"A Journal\", pages = {12--34}, doi = {10.1000/182}, }\n\n"
                  "@book{second, author={Solo, X.}, title={Book}, year={2001}}\n"
                  "@techreport{third, institution={An Institute}, title={T}, year={1999}}\n"
                  "@misc{two-names, author={Ann One and Bob Two}, title={T}, year={1999}}"),
      problems);
  INFO(problems.text());
  REQUIRE(works);
  REQUIRE(works->size() == 4);
  const Reference& first = works->at("first1977");
  CHECK(first.type == "article");
  CHECK(first.field("title") == "A Title with blanks and & signs");
  CHECK(first.field("year") == "1977");
  CHECK(first.field("pages") == "12–34");
  CHECK(first.field("volume").empty());
  CHECK(first.short_citation() == "Name et al. 1977");
  CHECK(first.full_citation() ==
        "Name, A. B.; Other, C.; Third, D. (1977). A Title with blanks and & signs. A "
        "Journal:12–34 doi:10.1000/182");
  CHECK(first.origin.line == 2);
  CHECK(works->at("second").short_citation() == "Solo 2001");
  CHECK(works->at("third").short_citation() == "An Institute 1999");
  CHECK(works->at("two-names").short_citation() == "One & Two 1999");
}

TEST_CASE("an empty bibliography is one") { CHECK(complaint("% nothing yet\n") == "(read)"); }

TEST_CASE("a broken bibliography is refused with its line") {
  struct Row {
    const char* text;
    const char* says;
  };
  const Row rows[] = {
      {"junk\n@book{a, title={T}}", "r.bib:1:1  an entry begins with @"},
      {"@artcle{a, title={T}}", "did you mean @article?"},
      {"@string{x = {y}}", "entries of the type @string are not read"},
      {"@book a", "a \"{\" is missing"},
      {"@book{, title={T}}", "the key of the entry is missing"},
      {"@book{a title={T}}", "a comma or the closing \"}\""},
      {"@book{a, title {T}}", "a \"=\" is missing behind title"},
      {"@book{a, title={T}\n", "a comma or the closing"},
      {"@book{a,\n title={T\n", "r.bib:2:8  the value that begins here is not closed"},
      {"@book{a, title=\"T", "is not closed"},
      {"@book{a, title=T}", "a value stands in { } or is a whole number"},
      {"@book{a, title={T} # {U}}", "a comma or the closing"},
      {"@book{a, title={M\\\"uller}, author={A}, year=2000}", "TeX commands are not read"},
      {"@book{a, title={T}, title={U}, author={A}, year=2000}", "title stands here twice"},
      {"@book{a, author={A}, title={T}, year=2000}\n@book{a, author={A}, title={T}, year=2000}",
       "r.bib:2:1  the key \"a\" stands here a second time; the first is in line 1"},
      {"@book{a, author={A}, year=2000}", "the field title is missing"},
      {"@book{a, title={T}, year=2000}", "the field author"},
      {"@book{a, title={T}, author={ }, year=2000}", "the field author"},
      {"@book{a, title={T}, author={A}}", "the field year is missing"},
      {"@book{a, title={T}, author={A}, year={in press}}", "no year"},
      {"@book{a, title=\"T}\", author={A}, year=2000}", "there is a \"}\" without"},
      {"@", "the type of the entry is missing"},
      {"@book{a, title=", "the file ends in the middle"},
      {"@book{a, title={\\", "TeX commands"},
  };
  for (const Row& row : rows) {
    INFO(row.text);
    CHECK_THAT(complaint(row.text), Contains(row.says));
  }
}

TEST_CASE("A work without named authors or year, and an organization with \"and\" in its name") {
  Problems problems;
  const auto works = parse_bibliography(
      make_source(
          "r.bib", "r.bib",
          "@article{a, author={(not stated)}, title={[What it is about]}, journal={J}, year=2017}\n"
          "@misc{b, author={(not stated)}, title={[What it is about]}, howpublished={a record; year "
          "of publication not known}, year=2026}\n"
          "@misc{c, organization={Institute for Health and Care}, title={T}, year=2011}\n"
          "@misc{d, author={One, A. and others}, title={T}, howpublished={journal and year of "
          "publication not known}, year=2026}\n"),
      problems);
  INFO(problems.text());
  REQUIRE(works);
  CHECK(works->at("a").short_citation() == "J 2017 (authors not stated)");
  CHECK(works->at("a").full_citation() == "Authors not stated (2017). [What it is about]. J");
  CHECK(works->at("b").short_citation() == "What it is about, year not known (authors not stated)");
  CHECK(works->at("b").full_citation() ==
        "Authors not stated (year not known). [What it is about]. a record; year of publication "
        "not known");
  CHECK(works->at("c").short_citation() == "Institute for Health and Care 2011");
  CHECK(works->at("c").full_citation() == "Institute for Health and Care (2011). T.");
  CHECK(works->at("d").full_citation() ==
        "One, A.; et al. (year not known). T. journal and year of publication not known");
}
