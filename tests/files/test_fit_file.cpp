// SPDX-License-Identifier: Apache-2.0
// Fit files and their data: what is read, and what is refused, with its place.
#include <catch2/catch.hpp>
#include <cmath>

#include "files/fit_file.hpp"
#include "files/temporary_folder.hpp"

namespace serosa::files {
namespace {

const Models& models() {
  static const Models all = [] {
    Problems problems;
    auto m = read_models(SEROSA_MODELS, nullptr, problems);
    problems.refuse_if_any();
    return m;
  }();
  return all;
}

struct Read {
  FitFile file;
  Problems problems;
};
Read read(const std::string& fit, const std::string& data) {
  const TemporaryFolder folder;
  Read r;
  r.file =
      read_fit(folder.write("fit.yaml", fit), folder.write("data.csv", data), models(), r.problems);
  return r;
}

const std::string plain_fit =
    "title: t\ncase: exposed\nvary: {parameters.spread: published}\n"
    "errors: {urine: {sd: 0.5 mL}}\n";

/// The first error, as `line:column message`.
std::string first_error(const Problems& problems) {
  for (const auto& p : problems.all())
    if (p.weight == Problem::Weight::error)
      return std::to_string(p.origin.line) + ":" + std::to_string(p.origin.column) + " " +
             p.message + " | " + p.remark;
  return "nothing";
}

}  // namespace

TEST_CASE("a table of figures is read in the units of its headings", "[fit]") {
  const auto r = read(
      "title: t\ncase: exposed\nvary: {parameters.spread: published}\n"
      "errors: {weight: {sd: 2 g, share: 0.1 %}, core_temperature: {sd: 0.1 K}}\n",
      "# a remark\n"
      "time [min],weight [kg],urine since last [mL],urine since last sd [mL],"
      "core_temperature [degC],note\n"
      "30,2.55,0.4,0.2,36.9,\"calm, warm\"\n"
      "\n"
      "90,2.54,,,36.75,\n"
      "120,,1.5,0.3,,\n");
  REQUIRE_FALSE(r.problems.refused());
  const auto& p = r.file.problem;
  REQUIRE(p.observables.size() == 3);
  CHECK(p.observables[0].weight);
  CHECK(p.observables[1].since_last);
  REQUIRE(p.measurements.size() == 6);
  CHECK(p.measurements[0].time == 0.5);
  CHECK_THAT(p.measurements[0].value, Catch::Matchers::WithinRel(2550.0, 1e-15));
  CHECK_THAT(p.measurements[0].sd, Catch::Matchers::WithinRel(std::hypot(2.0, 2.55), 1e-15));
  // Urine is counted in g, 1 mL being 1 g; the first since birth, the next since the last one.
  CHECK(p.measurements[1].value == 0.4);
  CHECK(p.measurements[1].sd == 0.2);
  CHECK(p.measurements[1].since == 0);
  CHECK(p.measurements[5].value == 1.5);
  CHECK(p.measurements[5].since == 0.5);
  CHECK(p.measurements[5].time == 2);
  CHECK(p.measurements[2].value == 36.9);
  CHECK(p.measurements[2].sd == 0.1);
}

TEST_CASE("units may stand in a row of their own", "[fit]") {
  const auto r = read(plain_fit, "time,urine\nmin,mL\n60,1.5\n");
  INFO(r.problems.text());
  REQUIRE_FALSE(r.problems.refused());
  CHECK(r.file.problem.measurements.at(0).time == 1);
}

TEST_CASE("bad data are refused with the place", "[fit]") {
  struct Bad {
    std::string data, place, words;
  };
  const Bad table[] = {
      {"time [h],urin [g]\n1,2\n", "1:10", "did you mean urine"},
      {"urine [g]\n2\n", "1:1", "no column of times"},
      {"time [h],note\n1,2\n", "1:1", "no column of measured figures"},
      {"time [h],urine\n1,2\n", "1:10", "the unit of \"urine\" is missing"},
      {"time [h],urine [degC]\n1,2\n", "1:10", "is expected"},
      {"time [h],urine [g],urine [g]\n1,2,3\n", "1:20", "two columns \"urine\""},
      {"time [h],urine [g]\n1,2\n2,nan\n", "3:3", "no number in the column"},
      {"time [h],urine [g]\n1,inf\n", "2:3", "no number in the column"},
      {"time [h],urine [g]\n1,1e999\n", "2:3", "no number in the column"},
      {"time [h],urine [g]\n1,\"1,5\"\n", "2:3", "a point, not a comma"},
      {"time [h];urine [g]\n1;2\n", "1:1", "semicolons"},
      {"time [h],urine [g]\n-1,2\n", "2:1", "this time is not possible"},
      {"time [h],urine [g]\n1e6,2\n", "2:1", "between 0 h and 1000 h"},
      {"time [h],urine [g]\n,2\n", "2:1", "no time"},
      {"time [h],urine [g]\n1,2,3\n", "2:5", "3 cells, the headings 2"},
      {"time [h],urine [g]\n1,\"2\n", "2:3", "not closed"},
      {"time [h],urine [g]\n", "0:0", "no measured figure"},
      {"# nothing\n", "0:0", "no line of headings"},
      {"time [h],arm,urine [g]\n1,other,2\n", "2:1", "no arm \"other\""},
      {"time [h],arm,urine [g]\n1,,2\n", "2:1", "names no arm"},
      {"time [h],plasma_sodium [mmol/L]\n1,140\n", "1:10", "no error is stated"},
      {"time [h],urine [g],urine sd [g]\n1,2,0\n", "2:5", "larger than 0"},
      {"time [h],urine [g],urine sd [g]\n1,2,\n", "2:3", "the error of this figure is missing"},
      {"time [h],urine sd [g]\n1,2\n", "1:1", "no column of measured figures"},
      {"time [h],urine since last [g],urine since last sd [g]\n2,1,1\n1,1,1\n", "3:3",
       "in the order of time"},
      {"time [h],urine [g]\n0,0\n", "0:0", "after the birth"},
  };
  for (const auto& bad : table) {
    INFO(bad.data);
    const auto r = read(plain_fit, bad.data);
    const std::string error = first_error(r.problems);
    INFO(error);
    CHECK(error.starts_with(bad.place + " "));
    CHECK(error.find(bad.words) != std::string::npos);
  }
}

TEST_CASE("many bad cells and too many figures end the reading", "[fit]") {
  std::string text = "time [h],urine [g]\n";
  for (int i = 0; i < 1000; ++i) text += "1,x\n";
  const auto r = read(plain_fit, text);
  CHECK(r.problems.errors() < 30);
  CHECK(r.problems.text().find("too many problems") != std::string::npos);
  text = "time [h],urine [g]\n";
  for (std::size_t i = 0; i < most_measurements + 5; ++i) text += "1,1\n";
  CHECK(read(plain_fit, text).problems.text().find("a fit takes no more") != std::string::npos);
}

TEST_CASE("a fit file that cannot be fitted is refused with the place", "[fit]") {
  const std::string data = "time [h],urine [g]\n1,2\n2,3\n";
  struct Bad {
    std::string vary, words;
  };
  const Bad table[] = {
      {"{parameters.spred: published}", "did you mean spread"},
      {"{baby.weigth: published}", "no such input"},
      {"{baby.weight: {law: normal, mean: 2.5 kg, sd: 100 g}}", "no bounds"},
      {"{baby.weight: [2.5 kg]}", "one value only"},
      {"{parameters.spread: [0.2]}", "one value only"},
      {"{baby.delivery: [vaginal, caesarean]}", "only numbers can be fitted"},
      {"{baby.weight: {law: uniform, from: 2 kg, to: 900 kg}}", "not possible"},
      {"{parameters.spread: published, baby.weight: {law: uniform, from: 2 kg, to: 3 kg},\n"
       "       parameters.solute_load: published}",
       "3 inputs are to be fitted to 2 figures"},
  };
  for (const auto& bad : table) {
    INFO(bad.vary);
    const auto r =
        read("title: t\ncase: exposed\nvary: " + bad.vary + "\nerrors: {urine: {sd: 1 g}}\n", data);
    const std::string text = r.problems.text();
    INFO(text);
    CHECK(r.problems.refused());
    CHECK(text.find(bad.words) != std::string::npos);
    CHECK(text.find("fit.yaml:") != std::string::npos);
  }
  const auto arms = read(
      "title: t\narms: {a: {case: exposed}, b: {case: wrapped}}\n"
      "vary: {parameters.spread: published}\nerrors: {urine: {sd: 1 g}}\n",
      data);
  CHECK(arms.problems.text().find("a column `arm`") != std::string::npos);
  const auto zero = read(
      "title: t\ncase: exposed\nvary: {parameters.spread: published}\n"
      "errors: {urine: {share: 5 %}}\n",
      "time [h],urine [g]\n1,0\n");
  CHECK(first_error(zero.problems).starts_with("2:3"));
  CHECK(faults(fit_keys()).empty());
}

TEST_CASE("bounds are the published range, or the ends of a law", "[fit]") {
  const auto r = read(
      "title: t\ncase: exposed\n"
      "vary:\n  parameters.skin_loss_preterm_excess: published\n"
      "  baby.weight: {law: triangular, from: 2 kg, mode: 2.4 kg, to: 3 kg}\n"
      "  parameters.solute_load: {law: uniform, from: 0.02 mmol/kg/h, to: 0.5 mmol/kg/h}\n"
      "errors: {urine: {sd: 1 g}}\n",
      "time [h],urine [g]\n1,2\n2,3\n3,4\n");
  INFO(r.problems.text());
  REQUIRE_FALSE(r.problems.refused());
  const auto& ranges = r.file.problem.ranges;
  // A normal law is drawn from beyond its published range; a fit is not.
  const auto* excess = models().find("skin_loss_preterm_excess");
  CHECK(ranges[0].low == excess->model_range.low);
  CHECK(ranges[0].high == excess->model_range.high);
  CHECK(ranges[0].start == excess->model_value);
  CHECK_FALSE(ranges[0].logarithmic);
  CHECK(ranges[1].low == 2000);
  CHECK(ranges[1].high == 3000);
  CHECK(ranges[2].logarithmic);
}

TEST_CASE("simulated data read back to the same figures, and say what they are", "[fit]") {
  const std::string fit =
      "title: t\narms: {a: {case: exposed}, b: {case: wrapped}}\n"
      "vary: {parameters.spread: published}\n"
      "errors: {weight: {sd: 2 g}, urine since last: {sd: 0.1 g, share: 5 %}}\n";
  const auto r = read(fit,
                      "time [min],arm,weight [kg],urine since last [mL]\n60,a,2.5,\n60,b,2.5,1\n"
                      "120,b,,1\n");
  REQUIRE_FALSE(r.problems.refused());
  const std::vector<double> truth{0.3};
  auto measurements = r.file.problem.measurements;
  for (std::size_t i = 0; i < measurements.size(); ++i)
    measurements[i].value = 1.25 + static_cast<double>(i);
  const std::string csv = simulated_csv(r.file, measurements, truth, 7, "serosa 1");
  CHECK(csv.starts_with("# Simulated, not measured: made by serosa 1"));
  CHECK(csv.find("parameters.spread = 0.3") != std::string::npos);
  CHECK(csv.find("seed 7") != std::string::npos);
  CHECK(csv.find("Not dosing advice") != std::string::npos);
  const auto again = read(fit, csv);
  INFO(again.problems.text());
  REQUIRE_FALSE(again.problems.refused());
  REQUIRE(again.file.problem.measurements.size() == measurements.size());
  for (std::size_t i = 0; i < measurements.size(); ++i) {
    CHECK(again.file.problem.measurements[i].value == measurements[i].value);
    CHECK(again.file.problem.measurements[i].time == measurements[i].time);
    CHECK(again.file.problem.measurements[i].arm == measurements[i].arm);
  }
}

TEST_CASE("true values are read with their units and held to the bounds", "[fit]") {
  const auto r = read(plain_fit, "time [h],urine [g]\n1,2\n");
  REQUIRE_FALSE(r.problems.refused());
  CHECK(values_of(r.file, {"parameters.spread=45 %"}) == std::vector<double>{0.45});
  CHECK(values_of(r.file, {}).at(0) == models().find("spread")->model_value);
  for (const char* bad : {"parameters.spread=2", "spread=0.1", "parameters.spread", "=",
                          "parameters.spread=0.1 kg"}) {
    INFO(bad);
    CHECK_THROWS_AS(values_of(r.file, {bad}), InputError);
  }
}

}  // namespace serosa::files
