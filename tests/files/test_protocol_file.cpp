// SPDX-License-Identifier: Apache-2.0
// Protocol files: all that are shipped read and cite what they stand for; what can't be carried
// out is refused with the lines of the file.
#include "files/protocol_file.hpp"

#include <catch2/catch.hpp>
#include <fstream>

#include "files/bibliography.hpp"
#include "files/case_file.hpp"
#include "temporary_folder.hpp"

namespace serosa::files {
namespace {

using Catch::Contains;

const Models& models() {
  static const Models read = [] {
    Problems problems;
    return read_models(SEROSA_MODELS, nullptr, problems);
  }();
  return read;
}

/// What reading this protocol says.
std::string complaints(const std::string& text, ProtocolFile* file = nullptr) {
  Problems problems;
  const auto root = parse_document(make_source("mine.yaml", "", text), problems);
  if (root) {
    auto f = read_protocol(*root, models(), problems, "");
    if (file) *file = std::move(f);
  }
  return problems.text();
}

const std::string head =
    "title: t\nreadings:\n  pressure: {reads: mean-pressure, error: 4 mmHg}\n"
    "  sodium: {delay: 1 h}\n  temperature: {reads: core-temperature, "
    "error: 0.1 K}\n  urine: {every: 1 h, over: 4 h}\n";
const std::string sampled =
    head + "orders:\n  sample: {act: sample-blood, at: 2 h, volume: 1 mL/kg}\n";

}  // namespace

TEST_CASE("every shipped protocol reads, and says what published practice it stands for",
          "[protocol]") {
  Problems problems;
  const auto bibliography =
      read_bibliography(std::filesystem::path(SEROSA_MODELS) / "references.bib", problems);
  REQUIRE(bibliography);
  const auto names = protocol_names(SEROSA_MODELS);
  CHECK(names.size() >= 10);
  for (const auto& name : names) {
    INFO(name);
    auto document = find_protocol(name, {}, models(), "", problems);
    REQUIRE(document);
    const auto f = read_protocol(document->root, models(), problems, "");
    INFO(problems.text());
    REQUIRE_FALSE(problems.refused());
    CHECK(f.protocol->name == name);
    CHECK_FALSE(f.stands_for.empty());
    CHECK(bibliography->count(f.source.substr(0, f.source.find(','))) == 1);
    CHECK(f.orders.size() + f.protocol->rules.size() > 0);
    CHECK(f.protocol->note.find("Invented") != std::string::npos);
  }
}

TEST_CASE("a protocol's words become numbers of the model", "[protocol]") {
  ProtocolFile f;
  REQUIRE(complaints(sampled + R"(look: {every: 15 min, from: 1 h}
rules:
  fill:
    when: {pressure: {below: 36 mmHg, for: 30 min}, temperature: {above: 36.5 degC}}
    unless: {sodium: {above: 150 mmol/L}}
    do: {act: bolus, fluid: saline-0.9, volume: 10 mL/kg, over: 30 min}
    at_most: 3
    gap: 2 h
    from: 1 h
    until: 40 h
    reason: low
)",
                     &f)
              .empty());
  const care::Protocol& p = *f.protocol;
  CHECK(p.look_every == 0.25);
  CHECK(p.look_from == 1);
  CHECK(p.readings[0].error == 4);
  CHECK(p.readings[1].delay == 1);
  CHECK(p.readings[2].error == 0.1);  // a difference, whatever scale
  CHECK(p.readings[3].every == 1);
  CHECK(p.readings[3].over == 4);
  const care::Rule& r = p.rules.at(0);
  CHECK(r.when.size() == 2);
  CHECK(r.when[0].below == 36);
  CHECK(r.when[0].lasting == 0.5);
  CHECK(r.when[1].above == 36.5);
  CHECK(r.unless.at(0).above == 150);
  CHECK(std::get<care::Bolus>(r.deed).fluid.sodium == 154);
  CHECK(r.at_most == 3);
  CHECK(r.gap == 2);
  CHECK(r.until == 40);
}

TEST_CASE("contradictions and circles are refused, with the file's own lines", "[protocol]") {
  const std::string up =
      "do: {act: change-maintenance, by: 20 mL/kg/d, most: 150 mL/kg/d}\n    "
      "at_most: 3\n    reason: r\n";
  const std::string down =
      "do: {act: change-maintenance, by: -20 mL/kg/d, most: 150 mL/kg/d}\n    "
      "at_most: 3\n    reason: r\n";
  const auto text =
      complaints(sampled +
                 "rules:\n  more:\n    when: {sodium: {above: 140 mmol/L}}\n"
                 "    " +
                 up + "  less:\n    when: {sodium: {below: 145 mmol/L}}\n    " + down);
  CHECK_THAT(text, Contains("mine.yaml:1"));
  CHECK_THAT(text, Contains("contradicts"));
  CHECK_THAT(text, Contains("\"more\", mine.yaml:1"));
  // With room between the levels it is read.
  CHECK(complaints(sampled + "rules:\n  more:\n    when: {sodium: {above: 145 mmol/L}}\n    " + up +
                   "  less:\n    when: {sodium: {below: 140 mmol/L}}\n    " + down)
            .empty());
  CHECK_THAT(
      complaints(head + "rules:\n  more:\n    when: {sodium: {above: 145 mmol/L}}\n    " + up),
      Contains("sampled"));
  const auto rule = [&](const std::string& rest) {
    return complaints(sampled +
                      "rules:\n  r:\n    do: {act: bolus, fluid: saline-0.9, volume: "
                      "10 mL/kg, over: 2 h}\n    reason: r\n    " +
                      rest + "\n");
  };
  CHECK(rule("at_most: 1").empty());
  CHECK_THAT(rule("at_most: 2\n    gap: 1 h"), Contains("has run in"));
  CHECK_THAT(rule("gap: 3 h"), Contains("at_most"));
  CHECK_THAT(rule("at_most: 1\n    when: {presure: {below: 3 mmHg}}"), Contains("mean pressure?"));
}

TEST_CASE("what is no protocol is answered with what was expected", "[protocol]") {
  CHECK_THAT(complaints(sampled + "look: {every: 25 min}\n"), Contains("whole number of looks"));
  CHECK_THAT(complaints("title: t\nreadings: {pulse: {}}\n"), Contains("pulse"));
  CHECK_THAT(complaints(head + "rules: {a: {do: {act: close}, at_most: 1, reason: r}}\n"),
             Contains("close"));
  CHECK_THAT(complaints(head + "rules: {a: {when: {pressure: {}}, do: {act: bolus, fluid: "
                               "saline-0.9, volume: 10 mL/kg}, at_most: 1, reason: r}}\n"),
             Contains("level"));
  CHECK_THAT(complaints(head + "rules: {a: {when: {pressure: {below: 30 kg}}, do: {act: bolus, "
                               "fluid: saline-0.9, volume: 10 mL/kg}, at_most: 1, reason: r}}\n"),
             Contains("30 kg"));
}

TEST_CASE("a case names a protocol, its own file's first, and is whole once understood",
          "[protocol]") {
  const TemporaryFolder folder;
  folder.write("mine.yaml", head +
                                "orders:\n  line: {act: maintenance, at: 1 h, fluid: "
                                "glucose-10, rate: 60 mL/kg/d}\n");
  const std::string text = "title: t\nprotocol: mine.yaml\nchart_errors: {seed: 5, run: 7}\n";
  folder.write("case.yaml", text);
  Problems problems;
  const auto f = read_case(folder / "case.yaml", models(), {}, problems);
  // The reading of sodium that nothing samples is refused: the file is quoted.
  CHECK_THAT(problems.text(), Contains("mine.yaml:4"));
  Problems again;
  folder.write("case.yaml",
               text + "timeline: {sample: {act: sample-blood, at: 2 h, volume: 1 mL/kg}}\n");
  const auto c = read_case(folder / "case.yaml", models(), {}, again);
  INFO(again.text());
  REQUIRE_FALSE(again.refused());
  REQUIRE(c.c.protocol);
  CHECK(c.c.protocol->name == "mine");
  CHECK(c.c.chart_seed == 5);
  CHECK(c.c.chart_run == 7);
  CHECK(std::any_of(c.c.timeline.begin(), c.c.timeline.end(),
                    [](const auto& act) { return act.name == "protocol: line"; }));
  CHECK(c.sources.size() == 2);
  // As understood it reads the same without any file beside it.
  Problems third;
  const auto whole = read_case(c.understood, "case", models(), third);
  INFO(third.text());
  REQUIRE_FALSE(third.refused());
  CHECK(whole.c.protocol->readings.size() == 4);
  CHECK(whole.c.timeline.size() == c.c.timeline.size());
  CHECK(write_document(whole.understood) == write_document(c.understood));
}

}  // namespace serosa::files
