// SPDX-License-Identifier: Apache-2.0
// Files of experiments: what is read, what is refused.
#include "files/experiment_file.hpp"

#include <catch2/catch.hpp>
#include <fstream>

#include "temporary_folder.hpp"

namespace serosa::files {
namespace {

using Catch::Matchers::Contains;
using Catch::Matchers::WithinRel;

// Conversion of units by a library that works in doubles.
constexpr double rounding = 1e-12;

const Models& shipped() {
  static const Models models = [] {
    Problems problems;
    Models read = read_models(SEROSA_MODELS, nullptr, problems);
    problems.refuse_if_any();
    return read;
  }();
  return models;
}

const std::string head =
    "title: A trial\nsource: somebody1999, table 2\ndone: something\nrole: check\npart: heat\n";
const std::string arms =
    "arms:\n"
    "  one:\n"
    "    baby: {weight: 3 kg}\n"
    "    timeline:\n"
    "      dry: {at: 1 min}\n"
    "  two:\n"
    "    based_on: one\n"
    "    air: {temperature: 30 degC}\n"
    "    timeline:\n"
    "      dry: {at: 2 min}\n";

/// Reads a file of this text; what is wrong stands in `problems`.
study::Experiment read(const std::string& text, Problems& problems) {
  const TemporaryFolder folder;
  const auto path = folder / "trial.yaml";
  std::ofstream(path) << text;
  return read_experiment(path, shipped(), nullptr, problems).experiment;
}
study::Experiment read_good(const std::string& text) {
  Problems problems;
  auto e = read(text, problems);
  INFO(problems.text());
  REQUIRE_FALSE(problems.refused());
  return e;
}
std::string refusal(const std::string& text) {
  Problems problems;
  read(text, problems);
  CHECK(problems.refused());
  return problems.text();
}
std::string refused_reading(const std::string& reading) {
  return refusal(head + arms + "readings:\n  x: " + reading + "\n");
}

TEST_CASE("the key table of an experiment has no faults") {
  CHECK(faults(experiment_keys()) == std::vector<std::string>{});
}

TEST_CASE("arms, readings and what was published are read") {
  const auto e = read_good(head + arms +
                           "readings:\n"
                           "  warmth: {arm: two, output: core_temperature, at: 1 h, published: "
                           "{value: 36.5, sd: 0.5}}\n");
  CHECK(e.name == "trial");
  CHECK(e.source == "somebody1999");
  CHECK(e.where == "table 2");
  REQUIRE(e.arms.size() == 2);
  CHECK(e.arms[0].c.baby.weight == 3000);
  CHECK(e.arms[1].c.baby.weight == 3000);
  CHECK(e.arms[1].c.room.air_temperature == 30);
  REQUIRE(e.arms[1].c.timeline.size() == 2);  // drying and the cord
  CHECK_THAT(e.arms[1].c.timeline[1].at, WithinRel(2.0 / 60, rounding));
  REQUIRE(e.readings.size() == 1);
  CHECK(e.readings[0].figure.arm == 1);
  CHECK(e.readings[0].unit == "degC");
  CHECK(e.readings[0].published->low == 35.5);
  CHECK(e.readings[0].published->high == 37.5);
}

TEST_CASE("a comparison takes over what it does not say") {
  const auto e = read_good(head + arms +
                           "readings:\n"
                           "  ratio: {arm: two, output: skin_loss, take: rate, from: 1 h, to: 3 h, "
                           "per: weight, against: {arm: one}, published: {value: 1}}\n");
  const auto& r = e.readings[0];
  REQUIRE(r.against);
  CHECK(r.against->figure.arm == 0);
  CHECK(r.against->figure.output == simulate::output::skin_loss);
  CHECK(r.against->figure.taking == study::Taking::rate);
  CHECK(r.against->figure.per == study::Divisor::weight);
  CHECK(r.unit == "1");
}

TEST_CASE("units of readings are those of the publication") {
  const auto scale = [](const std::string& reading) {
    return read_good(head + arms + "readings:\n  x: {arm: one, " + reading + "}\n")
        .readings[0]
        .scale;
  };
  CHECK_THAT(scale("output: urine, take: rate, from: 0 h, to: 1 h, per: weight, unit: mL/kg/d"),
             WithinRel(24, rounding));
  CHECK_THAT(scale("output: irradiance, at: 1 h, unit: mW/cm2"), WithinRel(0.1, rounding));
  CHECK_THAT(scale("output: urine_osmolality, at: 1 h, unit: mOsm/kg"), WithinRel(1, rounding));
  CHECK_THAT(scale("output: core_temperature, take: change, from: 0 h, to: 1 h, unit: K"),
             WithinRel(1, rounding));
  CHECK_THAT(scale("output: haematocrit, at: 1 h, unit: \"%\""), WithinRel(100, rounding));
  CHECK_THAT(scale("output: plasma_volume, take: change, from: 0 h, to: 1 h, against: {output: "
                   "given_total}, unit: \"%\""),
             WithinRel(100, rounding));
  CHECK_THAT(refused_reading("{arm: one, output: urine, at: 1 h, unit: kPa}"), Contains("unit"));
  CHECK_THAT(refused_reading("{arm: one, output: core_temperature, take: change, from: 0 h, to: 1 "
                             "h, unit: degC}"),
             Contains("written in K"));
  CHECK_THAT(refused_reading("{arm: one, output: core_temperature, at: 1 h, unit: K}"),
             Contains("unit"));
}

TEST_CASE("every kind of spread gives its band") {
  const auto band = [](const std::string& published) {
    const auto p =
        *read_good(head + arms + "readings:\n  x: {arm: one, output: urine, at: 1 h, published: " +
                   published + "}\n")
             .readings[0]
             .published;
    return std::pair{p.low, p.high};
  };
  CHECK(band("{value: 10}") == std::pair{8.0, 12.0});
  CHECK(band("{value: 10, sd: 2}") == std::pair{6.0, 14.0});
  CHECK(band("{value: 10, se: 1, n: 4}") == std::pair{6.0, 14.0});
  CHECK(band("{value: 10, interval: [9, 12]}") == std::pair{9.0, 12.0});
  CHECK(band("{range: [9, 12]}") == std::pair{9.0, 12.0});
  CHECK(band("{more_than: 3}").first == 3);
  CHECK(band("{less_than: 3}").second == 3);
  const auto refused = [](const std::string& published) {
    return refused_reading("{arm: one, output: urine, at: 1 h, published: " + published + "}");
  };
  CHECK_THAT(refused("{value: 10, se: 1}"), Contains("go together"));
  CHECK_THAT(refused("{value: 10, sd: 1, interval: [1, 2]}"), Contains("one kind of spread"));
  CHECK_THAT(refused("{sd: 1}"), Contains("value"));
  CHECK_THAT(refused("{}"), Contains("nothing was published"));
  CHECK_THAT(refused("{interval: [2, 1]}"), Contains("ends before"));
  CHECK_THAT(refused("{value: 10 mL}"), Contains("number"));
}

TEST_CASE("overrides of another subject carry their source") {
  const std::string text =
      "arms:\n  man:\n    baby: {weight: 75 kg}\n    parameters:\n"
      "      reference_blood_volume: {value: 70 mL/kg, source: somebody1999}\n"
      "readings:\n  x: {output: blood_volume, at: 1 h}\n";
  const auto e = read_good(head + text);
  CHECK(e.arms[0].parameters.reference_blood_volume == 70);
  Problems problems;
  const TemporaryFolder folder;
  const auto path = folder / "trial.yaml";
  std::ofstream(path) << head + text;
  const Bibliography empty;
  read_experiment(path, shipped(), &empty, problems);
  CHECK_THAT(problems.text(), Contains("not in the bibliography"));
}

TEST_CASE("fluids and covers may differ from the shipped ones") {
  const auto e = read_good(
      head +
      "arms:\n  one:\n    timeline:\n"
      "      bolus: {at: 1 min, fluid: saline-0.9, composition: {sodium: 513 mmol/L}, volume: 4 "
      "mL/kg}\n"
      "      cover: {at: 2 min, with: polyethylene-film, properties: {permeance: 2 g/m2/h/kPa}}\n"
      "readings:\n  x: {output: plasma_sodium, at: 1 h}\n");
  const auto& timeline = e.arms[0].c.timeline;
  const auto found = [&](const char* name) -> const care::Deed& {
    return std::find_if(timeline.begin(), timeline.end(),
                        [&](const auto& act) { return act.name == name; })
        ->deed;
  };
  CHECK(std::get<care::Bolus>(found("bolus")).fluid.sodium == 513);
  CHECK(std::get<care::Bolus>(found("bolus")).fluid.chloride == 154);
  CHECK(std::get<care::CoverBowel>(found("cover")).cover.permeance == 2);
}

TEST_CASE("what can't be is refused with the place and the remedy") {
  CHECK_THAT(refused_reading("{output: urine, at: 1 h}"), Contains("which arm"));
  CHECK_THAT(refused_reading("{arm: thre, output: urine, at: 1 h}"), Contains("there is no arm"));
  CHECK_THAT(refused_reading("{arm: one, output: urin, at: 1 h}"), Contains("did you mean urine"));
  CHECK_THAT(refused_reading("{arm: one, output: urine}"), Contains("when?"));
  CHECK_THAT(refused_reading("{arm: one, output: urine, from: 1 h, to: 2 h}"), Contains("take"));
  CHECK_THAT(refused_reading("{arm: one, output: urine, take: rate, from: 2 h, to: 1 h}"),
             Contains("ends before"));
  CHECK_THAT(refused_reading("{arm: one, output: urine, at: -3 h}"), Contains("before the arm"));
  CHECK_THAT(refused_reading("{arm: one, output: core_temperature, take: reaches, from: 0 h, to: 1 "
                             "h}"),
             Contains("level"));
  CHECK_THAT(refused_reading("{formula: nowhere + 1}"), Contains("nowhere"));
  CHECK_THAT(refused_reading("{formula: 1 + 1, at: 1 h}"), Contains("formula"));
  CHECK_THAT(refusal(head + "arms:\n  a: {based_on: b}\n  b: {based_on: a}\n"
                            "readings:\n  x: {arm: a, output: urine, at: 1 h}\n"),
             Contains("based on itself"));
  CHECK_THAT(refusal(head + "arms:\n  a: {based_on: bb}\nreadings:\n  x: {output: urine, at: 1 "
                            "h}\n"),
             Contains("there is no arm"));
  CHECK_THAT(refusal(head + "arms:\n  a: {based_on: no-such-case.yaml}\n"
                            "readings:\n  x: {output: urine, at: 1 h}\n"),
             Contains("no-such-case"));
  CHECK_THAT(refusal(head + arms), Contains("readings"));
}

TEST_CASE("an arm may stand on a shipped case") {
  const auto e = read_good(head +
                           "arms:\n  bare: {based_on: exposed.yaml}\n"
                           "readings:\n  x: {output: bowel_evaporation, at: 2 h}\n");
  CHECK(e.arms[0].c.exposed);
  CHECK(e.arms[0].c.timeline.size() > 3);
}

}  // namespace
}  // namespace serosa::files
