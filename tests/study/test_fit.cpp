// SPDX-License-Identifier: Apache-2.0
// Fitting: derivatives, recovery of what data were made with, and what cannot be told.
#include "study/fit.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "files/fit_file.hpp"
#include "files/temporary_folder.hpp"
#include "units/units.hpp"

namespace serosa::study {
namespace {

const files::Models& models() {
  static const files::Models all = [] {
    files::Problems problems;
    auto m = files::read_models(SEROSA_MODELS, nullptr, problems);
    problems.refuse_if_any();
    return m;
  }();
  return all;
}

/// A problem from the text of a fit file and of its data, as a user writes them.
files::FitFile made(const std::string& fit, const std::string& data) {
  const TemporaryFolder folder;
  files::Problems problems;
  auto file = files::read_fit(folder.write("fit.yaml", fit), folder.write("data.csv", data),
                              models(), problems);
  problems.refuse_if_any();
  return file;
}

/// Rows of a table with the same figure everywhere, for data that are simulated afterwards.
std::string rows(const std::string& head, double every, double until, const std::string& cells) {
  std::string text = head + "\n";
  for (double t = every; t < until + 1e-9; t += every)
    text += units::shortest(t) + "," + cells + "\n";
  return text;
}

files::FitFile three_inputs() {
  return made(
      "title: three\ncase: exposed\n"
      "vary: {parameters.spread: published, parameters.solute_load: published,\n"
      "       parameters.skin_loss_term: published}\n"
      "errors: {weight: {sd: 1 g}, urine: {sd: 0.4 g}, bowel_temperature: {sd: 0.1 K}}\n",
      rows("time [h],weight [g],urine [g],bowel_temperature [degC]", 0.25, 3, "1,1,1"));
}

const std::vector<double> truth{0.27, 0.21, 5.8};

bool inside(const FittedRange& range, double value) {
  return value >= range.low && value <= range.high;
}

}  // namespace

TEST_CASE("a range maps to shares and back, evenly or by factors", "[fit]") {
  const FittedRange even{2, 6, 3, false}, factors{0.1, 10, 1, true};
  CHECK(even.value_at(0.25) == 3);
  CHECK(even.share_of(3) == 0.25);
  CHECK_THAT(factors.value_at(0.5), Catch::Matchers::WithinRel(1.0, 1e-14));
  CHECK_THAT(factors.share_of(1), Catch::Matchers::WithinAbs(0.5, 1e-14));
  for (const auto& range : {even, factors}) {
    CHECK(range.value_at(0) == range.low);
    CHECK(range.value_at(1) == range.high);
    const double h = 1e-6, at = 0.3;
    const double difference = (range.value_at(at + h) - range.value_at(at - h)) / (2 * h);
    // Rounding of values near 1 over a step of 2e-6.
    CHECK_THAT(range.slope_at(at), Catch::Matchers::WithinRel(difference, 1e-8));
  }
}

// Percentiles of chi-square: Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, table
// 26.8 (from memory), printed to six or seven digits.
TEST_CASE("the chi-square law equals the handbook's table", "[fit]") {
  struct Row {
    double freedom, p, x;
  };
  const Row table[] = {{1, 0.95, 3.84146},  {1, 0.5, 0.454937},  {2, 0.95, 5.99147},
                       {5, 0.05, 1.145476}, {10, 0.95, 18.3070}, {10, 0.005, 2.15585},
                       {30, 0.99, 50.8922}, {30, 0.5, 29.3360},  {100, 0.95, 124.342},
                       {100, 0.05, 77.9295}};
  for (const auto& row : table) {
    INFO(row.freedom << " degrees of freedom, " << row.x);
    // Six digits of x are about six of p, times the slope of the law, at most 1.
    CHECK_THAT(chi_square_cdf(row.x, row.freedom), Catch::Matchers::WithinAbs(row.p, 3e-6));
  }
  CHECK(chi_square_cdf(0, 3) == 0);
  // Two degrees of freedom have a closed form.
  for (const double x : {0.01, 1.0, 5.0, 40.0})
    CHECK_THAT(1 - chi_square_cdf(x, 2), Catch::Matchers::WithinAbs(std::exp(-x / 2), 1e-14));
}

TEST_CASE("derivatives by dual numbers equal central differences on frozen steps", "[fit]") {
  const auto f = made(
      "title: all kinds\ncase: wrapped\n"
      "vary:\n"
      "  parameters.spread: published\n"
      "  parameters.mesenteric_flow: published\n"
      "  baby.weight: {law: uniform, from: 2 kg, to: 3.5 kg}\n"
      "  baby.gestation: {law: uniform, from: 34 wk, to: 39 wk}\n"
      "  bowel.herniated: {law: uniform, from: 50 %, to: 100 %}\n"
      "  timeline.wrap.at: {law: uniform, from: 10 min, to: 30 min}\n"
      "  timeline.wrap.seal: {law: uniform, from: 60 %, to: 99 %}\n"
      "  air.humidity: {law: uniform, from: 30 %, to: 70 %}\n"
      "errors: {weight: {sd: 1 g}, urine since last: {sd: 0.4 g}, core_temperature: {sd: 0.1 K},\n"
      "         bowel_evaporation: {sd: 1 g}}\n",
      rows("time [h],weight [g],urine since last [g],core_temperature [degC],bowel_evaporation [g]",
           0.7, 4.2, "1,1,1,1"));
  const auto& p = f.problem;
  const std::size_t inputs = p.ranges.size();
  FitModel model(p);
  std::vector<double> values;
  for (std::size_t j = 0; j < inputs; ++j)
    values.push_back(p.ranges[j].value_at(0.35 + 0.04 * static_cast<double>(j)));
  std::vector<double> figures, slopes, plain;
  REQUIRE(model.figures(values, figures, slopes).finished());
  model.freeze(true);
  REQUIRE(model.figures(values, plain).finished());
  CHECK(plain == figures);
  std::size_t sharp = 0;
  for (std::size_t j = 0; j < inputs; ++j) {
    const std::string& path = p.study.inputs[j].path;
    INFO(path);
    const auto difference = [&](double step) {
      std::vector<double> ends[2];
      for (int side = 0; side < 2; ++side) {
        auto moved = values;
        moved[j] += side ? step : -step;
        REQUIRE(model.figures(moved, ends[side]).finished());
      }
      std::vector<double> d;
      for (std::size_t i = 0; i < figures.size(); ++i)
        d.push_back((ends[1][i] - ends[0][i]) / (2 * step));
      return d;
    };
    const double step = 2e-4 * (p.ranges[j].high - p.ranges[j].low);
    const auto wide = difference(step), narrow = difference(step / 2);
    for (std::size_t i = 0; i < figures.size(); ++i) {
      const double expected = (4 * narrow[i] - wide[i]) / 3, found = slopes[i * inputs + j];
      // 1e-6 of the derivative; what the two differences disagree by; and the rounding of figures
      // (a weight of 2 kg among them) over the step.
      const double allowed = 1e-6 * std::abs(expected) + std::abs(narrow[i] - wide[i]) +
                             2e-11 * (std::abs(figures[i]) + 1) / step;
      if (std::abs(expected) > 10 * allowed) ++sharp;
      INFO(p.observables[p.measurements[i].observable].name << " at " << p.measurements[i].time);
      CHECK(std::abs(found - expected) <= allowed);
    }
  }
  INFO(sharp << " of " << figures.size() * inputs << " derivatives known to a tenth or better");
  CHECK(2 * sharp > figures.size() * inputs);
}

TEST_CASE("without errors a fit finds what the data were made with", "[fit]") {
  auto f = three_inputs();
  std::vector<double> figures;
  REQUIRE(FitModel(f.problem).figures(truth, figures).finished());
  for (std::size_t i = 0; i < figures.size(); ++i) f.problem.measurements[i].value = figures[i];
  FitSettings settings;
  settings.starts = 6;
  const Fit found = fit(f.problem, settings);
  REQUIRE(found.outcome.finished());
  CHECK(found.agreeing == 6);
  // Searches end when no more than 1e-4 of chi-square is left to gain.
  CHECK(found.chi_square < 2e-4);
  for (std::size_t j = 0; j < truth.size(); ++j) {
    INFO(f.problem.study.inputs[j].path);
    CHECK(std::abs(found.inputs[j].value - truth[j]) < 0.02 * found.inputs[j].sd);
    CHECK(found.inputs[j].low < truth[j]);
    CHECK(found.inputs[j].high > truth[j]);
    const auto& points = found.profiles[j].points;
    for (std::size_t i = 1; i < points.size(); ++i)
      CHECK(points[i].values[j] > points[i - 1].values[j]);
  }
}

TEST_CASE("profiles end where chi-square has risen by the threshold", "[fit]") {
  auto f = three_inputs();
  f.problem.measurements = simulated(f.problem, truth, 5);
  const Fit found = fit(f.problem, {.starts = 1});
  // The 95 % point of chi-square with one degree of freedom (table 26.8 as above).
  CHECK_THAT(found.threshold, Catch::Matchers::WithinAbs(3.841459, 1e-6));
  for (std::size_t j = 0; j < truth.size(); ++j) {
    INFO(f.problem.study.inputs[j].path);
    const auto& in = found.inputs[j];
    REQUIRE(in.verdict == FitVerdict::told);
    // An independent look: with the input held at the end of its interval, a fit of the others
    // from elsewhere comes to the same chi-square. 1 % is three times what the walk allows itself.
    for (const double end : {in.low, in.high}) {
      FitProblem held = f.problem;
      const double width = 1e-9 * (held.ranges[j].high - held.ranges[j].low);
      held.ranges[j].low = end - width;
      held.ranges[j].high = end + width;
      held.ranges[j].start = end;
      FitSettings settings{.starts = 3, .seed = 99};
      settings.profiles = false;
      const double rise = fit(held, settings).chi_square - found.chi_square;
      CHECK_THAT(rise, Catch::Matchers::WithinRel(found.threshold, 0.01));
    }
    // Nearly a parabola here: the Fisher information gives nearly the same interval.
    CHECK_THAT(in.high - in.low,
               Catch::Matchers::WithinRel(2 * std::sqrt(found.threshold) * in.sd, 0.15));
  }
}

TEST_CASE("intervals hold the true values in at least 90 of 100 noisy repeats", "[fit]") {
  const auto f = three_inputs();
  const Repeats r = repeated(f.problem, truth, 100, {.starts = 1, .seed = 1, .threads = 2});
  CHECK(r.failed == 0);
  std::size_t all = 0;
  for (std::size_t j = 0; j < truth.size(); ++j) {
    INFO(f.problem.study.inputs[j].path << ": " << r.covered[j] << " of 100");
    CHECK(r.covered[j] >= 90);
    all += r.covered[j];
    // No bias that the repeats could show: four standard errors of the mean.
    CHECK(std::abs(r.mean[j] - truth[j]) < 0.4 * r.sd[j]);
  }
  // Nor are they too wide: of 300 intervals of 95 %, 285 hold the true value on average; with all
  // 300 the chance would be 2e-7, with more than 296 it is below 2e-3 were they independent.
  CHECK(all <= 296);
}

TEST_CASE("errors of simulated figures have the stated size", "[fit]") {
  auto f = three_inputs();
  std::vector<double> figures;
  REQUIRE(FitModel(f.problem).figures(truth, figures).finished());
  double sum = 0, squares = 0, n = 0;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    const auto made_up = simulated(f.problem, truth, seed);
    for (std::size_t i = 0; i < figures.size(); ++i) {
      const double z = (made_up[i].value - figures[i]) / made_up[i].sd;
      ++n, sum += z, squares += z * z;
    }
  }
  // Of n = 3600 standard normal numbers: four standard errors of the mean and of the mean square.
  CHECK(std::abs(sum / n) < 4 / std::sqrt(n));
  CHECK(std::abs(squares / n - 1) < 4 * std::sqrt(2 / n));
  CHECK(simulated(f.problem, truth, 3)[0].value == simulated(f.problem, truth, 3)[0].value);
  CHECK(simulated(f.problem, truth, 3)[0].value != simulated(f.problem, truth, 4)[0].value);
}

// At one gestation the model knows the excretion only as a product of the two (model, kidney), so
// no data can tell them apart; at two it can.
TEST_CASE("a pair built to be inseparable is named, and told apart by a second gestation",
          "[fit]") {
  const std::string inputs =
      "vary: {parameters.sodium_excretion_term: published,\n"
      "       parameters.sodium_excretion_per_week: published,\n"
      "       parameters.gastric_secretion: published}\n"
      "errors: {urine_sodium: {sd: 0.002 mmol}, gastric_drainage: {sd: 0.3 g}}\n";
  const std::string one = "title: one\narms: {a: {case: exposed, set: {baby.gestation: 36 wk}}}\n";
  const std::string head = "time [h],arm,urine_sodium [mmol],gastric_drainage [mL]";
  const std::vector<double> pair{0.008, 0.11, 3};
  const auto secretion = models().find("gastric_secretion")->model_value;
  auto f = made(one + inputs, rows(head, 0.5, 6, "a,1,1"));
  const std::vector<double> true_values{pair[0], pair[1], secretion};
  f.problem.measurements = simulated(f.problem, true_values, 1);
  const Fit apart = fit(f.problem, {.starts = 4});
  REQUIRE(apart.outcome.finished());
  CHECK(apart.inputs[0].verdict == FitVerdict::not_apart);
  CHECK(apart.inputs[1].verdict == FitVerdict::not_apart);
  CHECK(apart.inputs[2].verdict == FitVerdict::told);
  REQUIRE(apart.combinations.size() == 1);
  CHECK(apart.combinations[0].inputs == std::vector<std::size_t>{0, 1});
  // Both raise the excretion; to make up for each other one rises while the other falls.
  CHECK(apart.combinations[0].shares[0] * apart.combinations[0].shares[1] < 0);

  auto g = made(
      "title: two\narms: {a: {case: exposed, set: {baby.gestation: 36 wk}},\n"
      "       b: {case: exposed, set: {baby.gestation: 39 wk}}}\n" +
          inputs,
      rows(head, 0.5, 6, "a,1,1") + rows("", 0.5, 6, "b,1,1"));
  g.problem.measurements = simulated(g.problem, true_values, 1);
  const Fit told = fit(g.problem, {.starts = 4});
  CHECK(told.combinations.empty());
  for (std::size_t j = 0; j < 3; ++j) {
    INFO(g.problem.study.inputs[j].path);
    CHECK(told.inputs[j].verdict == FitVerdict::told);
    CHECK(told.inputs[j].low <= true_values[j]);
    CHECK(told.inputs[j].high >= true_values[j]);
  }
}

TEST_CASE("what no figure depends on has no effect; what errors drown cannot be told", "[fit]") {
  auto f = made(
      "title: blind\ncase: exposed\n"
      "vary: {parameters.cold_failure_temperature: {law: uniform, from: 20 degC, to: 30 degC},\n"
      "       parameters.skin_loss_term: published, parameters.solute_load: published}\n"
      "errors: {weight: {sd: 30 g}, urine: {sd: 0.3 g}}\n",
      rows("time [h],weight [g],urine [g]", 0.5, 3, "1,1"));
  f.problem.measurements = simulated(f.problem, std::vector<double>{25, 6, 0.2}, 1);
  const Fit found = fit(f.problem, {.starts = 2});
  CHECK(found.inputs[0].verdict == FitVerdict::no_effect);
  CHECK(found.inputs[1].verdict == FitVerdict::cannot_tell);
  CHECK(found.inputs[1].low_open);
  CHECK(found.inputs[1].high_open);
  CHECK(found.inputs[2].verdict == FitVerdict::told);
  CHECK(found.profiles[1].low_end == ProfileEnd::bound);
}

TEST_CASE("a fit stays within its bounds, and says when it lies on one", "[fit]") {
  auto f = three_inputs();
  f.problem.measurements = simulated(f.problem, truth, 2);
  f.problem.ranges[0] = {0.35, 0.6, 0.5, false};  // the truth is 0.27
  const Fit found = fit(f.problem, {.starts = 4});
  CHECK(found.inputs[0].value == 0.35);
  CHECK(found.inputs[0].low_open);
  CHECK(found.inputs[0].verdict == FitVerdict::at_most);
  for (const auto& start : found.starts)
    for (std::size_t j = 0; j < truth.size(); ++j) {
      CHECK(inside(f.problem.ranges[j], start.from[j]));
      CHECK(inside(f.problem.ranges[j], start.to[j]));
    }
  for (const auto& profile : found.profiles)
    for (const auto& point : profile.points)
      for (std::size_t j = 0; j < truth.size(); ++j)
        CHECK(inside(f.problem.ranges[j], point.values[j]));
}

TEST_CASE("the same fit has the same bits, whatever the threads", "[fit]") {
  auto f = three_inputs();
  f.problem.measurements = simulated(f.problem, truth, 3);
  const Fit one = fit(f.problem, {.starts = 3, .threads = 1});
  const Fit two = fit(f.problem, {.starts = 3, .threads = 2});
  CHECK(one.chi_square == two.chi_square);
  CHECK(one.slopes == two.slopes);
  for (std::size_t j = 0; j < truth.size(); ++j) {
    CHECK(one.inputs[j].low == two.inputs[j].low);
    CHECK(one.inputs[j].high == two.inputs[j].high);
    REQUIRE(one.profiles[j].points.size() == two.profiles[j].points.size());
    for (std::size_t i = 0; i < one.profiles[j].points.size(); ++i)
      CHECK(one.profiles[j].points[i].values == two.profiles[j].points[i].values);
  }
  std::set<double> froms;
  for (const auto& start : one.starts) froms.insert(start.from[0]);
  for (const auto& start : fit(f.problem, {.starts = 3, .seed = 2}).starts)
    froms.insert(start.from[0]);
  CHECK(froms.size() == 5);  // the first start is that of the problem
}

TEST_CASE("a fit whose runs fail says how they ended", "[fit]") {
  auto f = three_inputs();
  f.problem.settings.step_budget = 3;
  const Fit found = fit(f.problem, {.starts = 2});
  CHECK(found.outcome.status == simulate::RunStatus::step_budget_spent);
  CHECK(found.inputs.empty());
  CHECK(simulated(f.problem, truth, 1).empty());
  CHECK(repeated(f.problem, truth, 2, {.starts = 1}).failed == 2);
}

}  // namespace serosa::study
