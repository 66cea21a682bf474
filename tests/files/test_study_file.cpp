// SPDX-License-Identifier: Apache-2.0
// Study files: what is read, what a run of one is, what is refused and in which words.
#include "files/study_file.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "temporary_folder.hpp"

namespace serosa::files {
namespace {

using Catch::Matchers::Contains;
using Catch::Matchers::WithinRel;
using simulate::RunStatus;

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

struct StudyFolder {
  TemporaryFolder folder;
  StudyFile read(const std::string& text, Problems& problems) const {
    return read_study(folder.write("trial.yaml", text), shipped(), problems);
  }
};

const std::string head =
    "title: Trial\ndesign: {kind: random, runs: 50, seed: 1}\noutputs: [bowel_evaporation]\n"
    "times: [1 h]\n";
const std::string wrapped = "case: wrapped\n";

StudyFile read_good(const std::string& text, const StudyFolder& folder = {}) {
  Problems problems;
  auto f = folder.read(text, problems);
  INFO(problems.text());
  REQUIRE_FALSE(problems.refused());
  return f;
}
std::string refusal(const std::string& text, const StudyFolder& folder = {}) {
  Problems problems;
  folder.read(text, problems);
  CHECK(problems.refused());
  return problems.text();
}
std::string refused_vary(const std::string& vary) {
  return refusal(head + wrapped + "vary: " + vary + "\n");
}
const study::Law& law_of(const StudyFile& f, const std::string& path) {
  for (const auto& input : f.study.inputs)
    if (input.path == path) return input.law;
  throw std::out_of_range(path);
}

TEST_CASE("the key tables of studies have no faults") {
  for (const auto* table : {&study_keys(), &law_keys(), &cohort_keys()})
    CHECK(faults(*table) == std::vector<std::string>{});
}

TEST_CASE("every law is read in its units") {
  StudyFolder folder;
  folder.folder.write("group/babies.csv", "id,\"weight [g]\"\n1,2400\n2,\"2510\"\n\n3,2633\n");
  const auto f =
      read_good(head + wrapped +
                    "vary:\n"
                    "  baby.weight: {law: empirical, file: group/babies.csv, column: "
                    "'weight [g]'}\n"
                    "  baby.gestation: {law: normal, mean: 36 wk, sd: 7 d, from: 35 wk}\n"
                    "  baby.length: {law: uniform, from: 45 cm, to: 0.5 m}\n"
                    "  bowel.spread: {law: triangular, from: 0, mode: 20 %, to: 0.6}\n"
                    "  bowel.matting: {law: beta, a: 2, b: 3, from: 0, to: 1}\n"
                    "  bowel.thickening: {law: lognormal, median: 1.2, factor: 1.25}\n"
                    "  air.temperature: {law: normal, mean: 26 degC, sd: 1 K}\n"
                    "  air.speed: {law: grid, from: 5 cm/s, to: 0.45 m/s, points: 3, "
                    "spacing: logarithmic}\n"
                    "  timeline.wrap.at: [2 min, 0.1 h]\n"
                    "  timeline.wrap.seal: {law: list, values: [90 %, 0.7], weights: "
                    "[3, 1]}\n"
                    "  timeline.wrap.layers: [1, 2]\n"
                    "  bowel.kinked: [true, false]\n"
                    "  parameters.spread: published\n",
                folder);
  const auto near = [&](const char* path, double u, double x) {
    CAPTURE(path);
    CHECK_THAT(law_of(f, path).quantile(u), WithinRel(x, rounding));
  };
  near("baby.weight", 0.5, 2510);
  near("baby.gestation", 0.5, study::Law::normal(36, 1, 35, 1e9).quantile(0.5));
  near("baby.length", 0.5, 47.5 / 100 * (f.study.inputs[2].unit == "cm" ? 100 : 1));
  near("bowel.spread", 0.3, study::Law::triangular(0, 0.2, 0.6).quantile(0.3));
  near("bowel.matting", 0.3, study::Law::beta(2, 3, 0, 1).quantile(0.3));
  near("bowel.thickening", 0.5, 1.2);
  // A spread of temperatures is a difference, not a point on the scale.
  near("air.temperature", 0.8413447460685429, 27);
  near("air.speed", 0.5, 0.15);
  near("timeline.wrap.at", 0.9, 0.1);
  near("timeline.wrap.seal", 0.74, 0.9);
  near("timeline.wrap.seal", 0.76, 0.7);
  CHECK(f.study.inputs[11].words == std::vector<std::string>{"true", "false"});
  // The folder of a batch keeps the table, and the study in it points there.
  REQUIRE(f.tables.size() == 1);
  CHECK(f.tables[0].name == "tables/group-babies.csv");
  CHECK(f.understood.find("vary")->find("baby.weight")->find("file")->text == f.tables[0].name);
}

TEST_CASE("a run of a study is the case with its values") {
  const auto f = read_good(head +
                           "arms:\n  bare: {case: exposed}\n"
                           "  late: {case: wrapped, set: {timeline.wrap.at: 20 min}}\n"
                           "vary:\n  baby.weight: {law: uniform, from: 2 kg, to: 3 kg}\n"
                           "  baby.length: {law: uniform, from: 45 cm, to: 48 cm}\n"
                           "  timeline.wrap.seal: {law: uniform, from: 60 %, to: 90 %}\n"
                           "  timeline.wrap.with: [polyethylene-film, pvc-cling-film]\n"
                           "  timeline.dry.at: {law: uniform, from: 1 min, to: 30 min}\n"
                           "  parameters.spread: {law: uniform, from: 0.1, to: 0.3}\n");
  study::Drawer drawer(f.study);
  std::vector<double> values;
  std::set<double> seals;
  for (const std::uint64_t run : {0ull, 1ull, 7ull, 49ull}) {
    drawer.draw(run, values);
    for (std::size_t arm = 0; arm < 2; ++arm) {
      care::Case c;
      baby::Parameters<double> p;
      REQUIRE(make_run(f.study, arm, values, c, p) == RunStatus::finished);
      // The file that `serosa case` writes gives the same case, read anew.
      Problems problems;
      auto file = read_case(case_of_run(f, arm, values), "again", shipped(), problems);
      INFO(problems.text());
      REQUIRE_FALSE(problems.refused());
      const auto same = [](const std::vector<double*>& a, const std::vector<double*>& b) {
        bool all = a.size() == b.size();
        for (std::size_t i = 0; all && i < a.size(); ++i)
          all = *a[i] == *b[i] || (std::isnan(*a[i]) && std::isnan(*b[i]));
        return all;
      };
      CHECK(same(study::numbers(c), study::numbers(file.c)));
      REQUIRE(c.timeline.size() == file.c.timeline.size());
      for (std::size_t a = 0; a < c.timeline.size(); ++a) {
        CHECK(c.timeline[a].name == file.c.timeline[a].name);
        CHECK(same(study::numbers(c.timeline[a]), study::numbers(file.c.timeline[a])));
        if (const auto* cover = std::get_if<care::CoverBowel>(&c.timeline[a].deed))
          seals.insert(cover->seal);
      }
      CHECK(p.spread == values[5]);
      CHECK(file.parameters.spread == values[5]);
      CHECK(c.baby.weight == values[0]);
    }
  }
  CHECK(seals.size() == 4);  // the wrapped arm only, each run its own
}

TEST_CASE("a list of one value, and values that are rare, are set as all others") {
  const auto f = read_good(head + wrapped +
                           "vary:\n  baby.weight: [2 kg]\n"
                           "  timeline.wrap.seal: {law: list, values: [90 %, 70 %], weights: [999, "
                           "1]}\n");
  care::Case c;
  baby::Parameters<double> p;
  REQUIRE(make_run(f.study, 0, {2000, 0.7}, c, p) == RunStatus::finished);
  CHECK(c.baby.weight == 2000);
  for (const auto& act : c.timeline)
    if (const auto* cover = std::get_if<care::CoverBowel>(&act.deed)) CHECK(cover->seal == 0.7);
}

TEST_CASE("all parameters of a grade vary, and one by itself keeps its own law") {
  const auto f = read_good(head + wrapped + "vary: all graded assumption, animal\n");
  std::size_t count = 0;
  for (const auto& p : shipped().parameters)
    if (p.distribution != Distribution::fixed &&
        (p.grade == Grade::assumption || p.grade == Grade::animal)) {
      ++count;
      const auto& law = law_of(f, "parameters." + p.name);
      const double slack = 0.5 * (p.model_range.high - p.model_range.low) + 1e-12;
      CHECK(law.quantile(0.001) >= p.model_range.low - slack);
      CHECK(law.quantile(0.999) <= p.model_range.high + slack);
    }
  CHECK(f.study.inputs.size() == count);
  const auto own =
      read_good(head + wrapped + "vary:\n  parameters: all\n  parameters.spread: [0.3, 0.4]\n");
  CHECK(law_of(own, "parameters.spread").values() == std::vector<double>{0.3, 0.4});
}

TEST_CASE("a law of a published parameter is the range as its file means it") {
  ParameterEntry p;
  p.model_value = 3, p.model_range = {2, 8};
  p.distribution = Distribution::normal;
  // "the range holds 95 % around its middle": of the law that half a width is cut off outside.
  CHECK_THAT(published_law(p).quantile(0.5), WithinRel(5, rounding));
  const double cut = 0.5 * std::erfc(2 * 1.9599639845400545 / std::sqrt(2.0));
  CHECK_THAT(published_law(p).quantile((0.025 - cut) / (1 - 2 * cut)), WithinRel(2, 1e-9));
  p.distribution = Distribution::lognormal;
  CHECK_THAT(published_law(p).quantile(0.4), WithinRel(3.78, 0.05));
  CHECK(published_law(p).lowest() == 0);
  p.distribution = Distribution::triangular;
  CHECK_THAT(published_law(p).quantile(1.0 / 6), WithinRel(3, rounding));
  p.distribution = Distribution::fixed;
  CHECK_THROWS_WITH(published_law(p), Contains("never drawn"));
}

TEST_CASE("the cohort has the published spread of gestation and weight") {
  const auto f = read_good(
      "title: Group\ncase: exposed\ncohort: gastroschisis\ndesign: {runs: 4000}\n"
      "outputs: [bowel_evaporation]\ntimes: [1 h]\n");
  study::Drawer drawer(f.study);
  std::vector<double> values, weeks, grams;
  for (std::uint64_t run = 0; run < 4000; ++run) {
    drawer.draw(run, values);
    weeks.push_back(values[0]), grams.push_back(values[1]);
  }
  const auto moments = [](const std::vector<double>& x) {
    double mean = 0, square = 0;
    for (const double y : x) mean += y / double(x.size());
    for (const double y : x) square += (y - mean) * (y - mean) / double(x.size() - 1);
    return std::pair{mean, std::sqrt(square)};
  };
  REQUIRE(f.study.inputs[0].path == "baby.gestation");
  REQUIRE(f.study.inputs[1].path == "baby.weight");
  // Jansen 2012, abstract: 36.17 ± 1.95 wk and 2562 ± 539 g. The ends cut off (30 to 41 wk, 1000 to
  // 4500 g) take up to 3 % of the spread.
  const auto [week, week_sd] = moments(weeks);
  const auto [gram, gram_sd] = moments(grams);
  CHECK_THAT(week, WithinRel(36.17, 0.003));
  CHECK_THAT(week_sd, WithinRel(1.95, 0.04));
  CHECK_THAT(gram, WithinRel(2562, 0.005));
  CHECK_THAT(gram_sd, WithinRel(539, 0.04));
  double together = 0;
  for (std::size_t i = 0; i < weeks.size(); ++i)
    together += (weeks[i] - week) * (grams[i] - gram) / week_sd / gram_sd / 3999;
  // Rank correlation 0.7 of normal laws is a correlation of 2 sin(0.7 pi / 6) = 0.717.
  CHECK_THAT(together, WithinRel(0.717, 0.03));
}

TEST_CASE("values that can't be are runs that fail, by name") {
  const auto f =
      read_good(head + wrapped + "vary:\n  bowel.thickening: {law: normal, mean: 1.2, sd: 0.5}\n");
  study::Drawer drawer(f.study);
  std::vector<double> values;
  std::size_t impossible = 0;
  for (std::uint64_t run = 0; run < 50; ++run) {
    drawer.draw(run, values);
    care::Case c;
    baby::Parameters<double> p;
    const auto status = make_run(f.study, 0, values, c, p);
    CHECK(status == (values[0] < f.study.inputs[0].possible_low ? RunStatus::impossible_input
                                                                : RunStatus::finished));
    impossible += status == RunStatus::impossible_input;
  }
  CHECK(impossible > 0);
  const auto crossed = read_good(head + wrapped +
                                 "vary:\n  timeline.wrap.at: {law: uniform, from: -1 min, to: 3 "
                                 "min}\n");
  care::Case c;
  baby::Parameters<double> p;
  CHECK(make_run(crossed.study, 0, {-0.5 / 60}, c, p) == RunStatus::contradictory_input);
  CHECK(make_run(crossed.study, 0, {0.5 / 60}, c, p) == RunStatus::finished);
}

TEST_CASE("what is wrong in `vary` is quoted") {
  CHECK_THAT(refused_vary("{baby.weight: {law: gaussian}}"),
             Contains("trial.yaml:6:27") && Contains("\"gaussian\" is not known here") &&
                 Contains("one of published, uniform, normal"));
  CHECK_THAT(refused_vary("{baby.weight: {law: normal, mean: 2 h, sd: 1 kg}}"),
             Contains("trial.yaml:6:41") && Contains("\"2 h\" is a length of time"));
  CHECK_THAT(refused_vary("{baby.wieght: [2 kg]}"), Contains("did you mean weight?"));
  CHECK_THAT(refused_vary("{timeline.wrp.at: [1 min]}"),
             Contains("no arm of the study has such an act; did you mean wrap?"));
  CHECK_THAT(refused_vary("{timeline.wrap.sael: [90 %]}"),
             Contains("a case file has no such input; did you mean seal?"));
  CHECK_THAT(refused_vary("{parameters.spred: published}"), Contains("did you mean spread?"));
  CHECK_THAT(refused_vary("{baby.delivery: [vaginal, cesarean]}"),
             Contains("trial.yaml:6:33") && Contains("did you mean caesarean?"));
  CHECK_THAT(refused_vary("{baby.delivery: {law: uniform, from: 1, to: 2}}"),
             Contains("give a list of them"));
  CHECK_THAT(refused_vary("{title: [a, b]}"), Contains("can't vary from run to run"));
  CHECK_THAT(refused_vary("{until: [1 h, 2 h]}"), Contains("nothing that can vary"));
  CHECK_THAT(refused_vary("{air.humidity: {law: uniform, from: 30 %, to: 130 %}}"),
             Contains("reaches what is not possible") && Contains("between"));
  CHECK_THAT(refused_vary("{air.humidity: [30 %, 130 %]}"), Contains("is not possible"));
  CHECK_THAT(refused_vary("{baby.weight: {law: uniform, from: 3 kg, to: 2 kg}}"),
             Contains("lower end must lie below"));
  CHECK_THAT(refused_vary("{baby.weight: 3 kg}"), Contains("a law or a list is expected"));
  CHECK_THAT(refused_vary("{baby.weight: {law: list, values: [2 kg], weights: [1, 2]}}"),
             Contains("as many weights as values"));
  CHECK_THAT(refused_vary("all graded guess"), Contains("all graded followed by some of"));
  CHECK_THAT(refused_vary("{timeline.wrap.at: {law: uniform, from: -60 min, to: -10 min}}"),
             Contains("at their middle values make no possible case") &&
                 Contains("can't be done before the birth"));
}

TEST_CASE("what is wrong with a table of measured values is quoted") {
  const StudyFolder folder;
  folder.folder.write("w.csv", "id,weight\n1,2400\n2,heavy\n");
  const auto told = [&](const std::string& law) {
    return refusal(head + wrapped + "vary: {baby.weight: {law: empirical, " + law + "}}\n", folder);
  };
  CHECK_THAT(told("file: v.csv, column: weight, unit: g"),
             Contains("there is no such file") && Contains("w.csv"));
  CHECK_THAT(told("file: w.csv, column: wieght, unit: g"), Contains("one of id, weight"));
  CHECK_THAT(told("file: w.csv, column: weight, unit: g"),
             Contains("w.csv:3:1") && Contains("no number in the column") && Contains("2,heavy"));
  CHECK_THAT(told("file: w.csv, column: id"), Contains("the unit of its numbers is missing"));
  CHECK_THAT(told("file: w.csv, column: id, unit: h"), Contains("unit"));
  CHECK_THAT(told("file: ../w.csv, column: id, unit: g"), Contains("outside the folder"));
}

TEST_CASE("what is wrong with arms, design, bands and correlations is quoted") {
  CHECK_THAT(refusal(head), Contains("names one `case`, or several `arms`"));
  CHECK_THAT(refusal(head + "case: wraped\n"), Contains("did you mean wrapped"));
  CHECK_THAT(refusal(head + "arms: {a/b: {case: wrapped}}\n"), Contains("becomes a file's"));
  CHECK_THAT(refusal(head + "arms: {a: {case: wrapped, set: {baby.weight: 3 h}}}\n"),
             Contains("is a length of time"));
  CHECK_THAT(refusal("title: T\ncase: wrapped\noutputs: [urine]\ntimes: [1 h]\ndesign: {}\n"),
             Contains("the number of runs is missing"));
  const std::string grid =
      "title: T\ncase: wrapped\noutputs: [urine]\ntimes: [1 h]\ndesign: {kind: full-grid, runs: "
      "3}\n";
  CHECK_THAT(refusal(grid + "vary: {baby.weight: [2 kg, 3 kg]}\n"),
             Contains("has 2 combinations; leave `runs` out"));
  CHECK_THAT(refusal(grid + "vary: {baby.weight: {law: uniform, from: 2 kg, to: 3 kg}}\n"),
             Contains("needs lists or grids") && !Contains("0 combinations"));
  CHECK_THAT(refusal(head + wrapped + "bands: {x: {output: core_temperature, below: 36 degC}}\n"),
             Contains("add it to `outputs`"));
  CHECK_THAT(refusal(head + wrapped + "bands: {x: {output: bowel_evaporation, below: 36}}\n"),
             Contains("a number alone has no unit"));
  const std::string two =
      "vary: {baby.weight: {law: uniform, from: 2 kg, to: 3 kg}, baby.gestation: {law: uniform, "
      "from: 34 wk, to: 38 wk}}\n";
  CHECK_THAT(refusal(head + wrapped + two +
                     "correlations: [{inputs: [baby.weight, baby.length], rank: 0.5}]\n"),
             Contains("\"baby.length\" does not vary"));
  CHECK_THAT(refusal(head + wrapped + two +
                     "correlations: [{inputs: [baby.weight, baby.gestation], rank: 1.5}]\n"),
             Contains("rank"));
}

TEST_CASE("what is odd is warned about") {
  Problems problems;
  const StudyFolder folder;
  folder.read(head + wrapped, problems);
  CHECK_FALSE(problems.refused());
  CHECK_THAT(problems.text(), Contains("nothing varies in this study"));
  Problems more;
  folder.read(head + wrapped + "vary: {baby.weight: {law: normal, mean: 36 kg, sd: 1 kg}}\n", more);
  CHECK_FALSE(more.refused());
  CHECK_THAT(more.text(), Contains("goes beyond the published range"));
}

TEST_CASE("a journal belongs to what decides the bits of its runs") {
  const std::string vary = "vary: {baby.weight: {law: uniform, from: 2 kg, to: 3 kg}}\n";
  const auto print = [](const std::string& text) { return fingerprint(read_good(text), "1 abc"); };
  const std::string first = print(head + wrapped + vary);
  CHECK(print(head + wrapped + vary) == first);
  CHECK(print(head + "case: exposed\n" + vary) != first);
  CHECK(print(head + wrapped + "vary: {baby.weight: {law: uniform, from: 2 kg, to: 3.1 kg}}\n") !=
        first);
  CHECK(fingerprint(read_good(head + wrapped + vary), "1 abd") != first);
  // A table of measured values counts with its numbers.
  StudyFolder folder;
  const std::string table = head + wrapped +
                            "vary: {baby.weight: {law: empirical, file: w.csv, column: w, unit: "
                            "g}}\n";
  folder.folder.write("w.csv", "w\n2000\n2100\n");
  const std::string before = fingerprint(read_good(table, folder), "");
  folder.folder.write("w.csv", "w\n2000\n2101\n");
  CHECK(fingerprint(read_good(table, folder), "") != before);
}

TEST_CASE("every shipped study and cohort reads without a warning") {
  for (const auto& item : std::filesystem::directory_iterator(SEROSA_MODELS "/studies")) {
    Problems problems;
    CAPTURE(item.path().string());
    const auto f = read_study(item.path(), shipped(), problems);
    CHECK(problems.text() == "");
    CHECK(f.study.runs() > 0);
  }
}

}  // namespace
}  // namespace serosa::files
