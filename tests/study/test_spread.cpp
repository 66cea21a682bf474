// SPDX-License-Identifier: Apache-2.0
#include "study/spread.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "files/case_file.hpp"
#include "files/spread_inputs.hpp"

namespace serosa::study {
namespace {

using Catch::Matchers::Contains;
using Catch::Matchers::WithinAbs;
namespace out = simulate::output;

const files::Models& models() {
  static const files::Models read = [] {
    files::Problems problems;
    auto m = files::read_models(SEROSA_MODELS, nullptr, problems);
    problems.refuse_if_any();
    return m;
  }();
  return read;
}

SpreadArm arm(const std::string& name) {
  files::Problems problems;
  const auto f = files::read_case(std::filesystem::path(SEROSA_MODELS) / "cases" / (name + ".yaml"),
                                  models(), {}, problems);
  problems.refuse_if_any();
  return {name, f.c, f.parameters};
}

SpreadRequest request(std::vector<SpreadArm> arms, std::uint64_t runs) {
  SpreadRequest q;
  auto varied = files::spread_inputs(models(), {arms.front().parameters});
  q.arms = std::move(arms);
  q.parameters = std::move(varied.inputs);
  q.assumed = std::move(varied.assumed);
  q.outputs = {out::bowel_evaporation, out::third_space};
  q.times = {1, 2};
  q.runs = runs;
  q.threads = 2;
  return q;
}

/// Only these parameters; the first is called an assumption.
void keep(SpreadRequest& q, const std::vector<std::string>& names) {
  std::vector<Input> chosen;
  for (const auto& name : names)
    for (const auto& input : q.parameters)
      if (input.path == "parameters." + name) chosen.push_back(input);
  REQUIRE(chosen.size() == names.size());
  q.parameters = chosen;
  q.assumed.assign(names.size(), false);
  q.assumed[0] = true;
}

TEST_CASE("bands are the quantiles of the runs, each made by itself", "[spread]") {
  auto q = request({arm("exposed")}, 32);
  const auto s = spread(q);
  // The same draws by the design alone, run one after another.
  Design d;
  d.kind = DesignKind::radial;
  d.radial = RadialPlan{8, {{"assumptions", {}}, {"measured", {}}}, {}, 0};
  for (std::size_t j = 0; j < q.parameters.size(); ++j) {
    d.names.push_back(q.parameters[j].path);
    d.radial->groups[q.assumed[j] ? 0 : 1].inputs.push_back(j);
  }
  d.runs = 32;
  Points points(d);
  std::vector<double> u(d.names.size()), values;
  for (std::uint64_t run = 0; run < 32; ++run) {
    points.at(run, u);
    auto p = q.arms[0].parameters;
    for (std::size_t j = 0; j < u.size(); ++j)
      files::parameter(p, *q.parameters[j].parameter) = q.parameters[j].law.quantile(u[j]);
    const simulate::Job job{&q.arms[0].c, &p, q.times};
    std::vector<simulate::Result> r(1);
    simulate::run({&job, 1}, r);
    if (r[0].report.status == simulate::RunStatus::finished)
      values.push_back(r[0].at(1, out::bowel_evaporation));
  }
  std::sort(values.begin(), values.end());
  const auto& f = s.at(0, 0, 1);
  REQUIRE(f.n == values.size());
  CHECK(s.failed[0] == 32 - values.size());
  const double place = 0.05 * static_cast<double>(values.size() - 1);
  const auto below = static_cast<std::size_t>(place);
  const double expected =
      values[below] + (place - std::floor(place)) * (values[below + 1] - values[below]);
  CHECK_THAT(f.quantiles[0], WithinAbs(expected, 1e-12 * expected));
  CHECK(f.quantiles[0] < f.quantiles[1]);
  CHECK(f.quantiles[1] < f.quantiles[2]);
}

TEST_CASE("the variance is shared out between assumptions and the rest", "[spread]") {
  // Evaporation depends on how far the loops lie apart, and not at all on the sodium of gastric
  // fluid; whichever is called the assumption.
  auto q = request({arm("exposed")}, 256);
  keep(q, {"spread", "gastric_sodium"});
  const auto s = spread(q);
  CHECK_THAT(s.at(0, 0, 1).assumed.value, WithinAbs(1, 1e-6));
  CHECK(s.at(0, 0, 1).measured.low < 0.05);
  q.assumed = {false, true};
  const auto other = spread(q);
  CHECK_THAT(other.at(0, 0, 1).measured.value, WithinAbs(1, 1e-6));
  CHECK(other.at(0, 0, 1).assumed.low < 0.05);
  // One kind alone has nothing to be shared with.
  q.assumed = {true, true};
  CHECK(std::isnan(spread(q).at(0, 0, 1).assumed.value));
}

TEST_CASE("arms share their draws, so a difference is narrower than either", "[spread]") {
  const auto s = spread(request({arm("exposed"), arm("wrapped"), arm("exposed")}, 64));
  const auto width = [](const SpreadFigure& f) { return f.quantiles[2] - f.quantiles[0]; };
  CHECK(width(s.difference(2, 0, 1)) == 0);
  CHECK(s.difference(1, 0, 1).quantiles[2] < 0);
  CHECK(width(s.difference(1, 1, 1)) < width(s.at(0, 1, 1)) + width(s.at(1, 1, 1)));
}

TEST_CASE("what a case sets itself is not drawn", "[spread]") {
  auto p = models().values();
  p.spread = 0.55;
  const auto all = files::spread_inputs(models(), {models().values()});
  const auto fewer = files::spread_inputs(models(), {p});
  CHECK(fewer.inputs.size() + 1 == all.inputs.size());
  CHECK(fewer.kept == std::vector<std::string>{"spread"});
}

TEST_CASE("a number of runs that makes no design is refused", "[spread]") {
  CHECK_THROWS_WITH(spread(request({arm("exposed")}, 30)), Contains("multiple of 4"));
}

}  // namespace
}  // namespace serosa::study
