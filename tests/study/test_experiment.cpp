// SPDX-License-Identifier: Apache-2.0
// Readings of known curves, bands, formulas and verdicts.
#include "study/experiment.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

namespace serosa::study {
namespace {

namespace out = simulate::output;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

// Sums of a few hundred doubles of order one.
constexpr double rounding = 1e-12;

/// A run whose core temperature follows 37 + 2 t and whose urine follows t², for a 2 kg baby.
simulate::Result curve(const std::vector<double>& times) {
  simulate::Result r;
  r.body.weight = 2;
  r.values.assign(times.size() * out::count, 0.0);
  for (std::size_t i = 0; i < times.size(); ++i) {
    r.values[i * out::count + out::core_temperature] = 37 + 2 * times[i];
    r.values[i * out::count + out::urine] = times[i] * times[i];
  }
  return r;
}

Figure figure_of(out::Index output, Taking taking, double from, double to) {
  Figure f;
  f.output = output;
  f.taking = taking;
  f.from = from;
  f.to = to;
  return f;
}

double taken(Figure f) {
  Experiment e;
  e.arms.resize(1);
  Reading r;
  r.figure = f;
  e.readings = {r};
  const auto times = hours(e, 0);
  return take(f, curve(times), times);
}

TEST_CASE("values, changes and rates are those of the curve") {
  CHECK_THAT(taken(figure_of(out::urine, Taking::at, 3, 3)), WithinAbs(9, rounding));
  CHECK_THAT(taken(figure_of(out::urine, Taking::change, 1, 3)), WithinAbs(8, rounding));
  CHECK_THAT(taken(figure_of(out::urine, Taking::rate, 1, 3)), WithinAbs(4, rounding));
  CHECK_THAT(taken(figure_of(out::core_temperature, Taking::rate, 0, 5)), WithinAbs(2, rounding));
}

TEST_CASE("means and extremes are those of the curve") {
  // The trapezoids overstate the mean of t² by h²/6 with h = 2/200.
  CHECK_THAT(taken(figure_of(out::urine, Taking::mean, 1, 3)), WithinAbs(13.0 / 3, 2e-5));
  CHECK_THAT(taken(figure_of(out::core_temperature, Taking::mean, 0, 4)), WithinAbs(41, 1e-9));
  CHECK_THAT(taken(figure_of(out::urine, Taking::most, 1, 3)), WithinAbs(9, rounding));
  CHECK_THAT(taken(figure_of(out::urine, Taking::least, 1, 3)), WithinAbs(1, rounding));
}

TEST_CASE("a level is reached where the curve crosses it, or never") {
  Figure f = figure_of(out::core_temperature, Taking::reaches, 0, 2);
  f.level = 38.5;
  CHECK_THAT(taken(f), WithinAbs(0.75, rounding));
  f.level = 50;
  CHECK(std::isnan(taken(f)));
}

TEST_CASE("a figure may be divided by a size of the subject") {
  Figure f = figure_of(out::urine, Taking::rate, 1, 3);
  f.per = Divisor::weight;
  CHECK_THAT(taken(f), WithinAbs(2, rounding));
}

TEST_CASE("the bands of the house") {
  const auto mean = with_deviation(10, 2);
  CHECK(mean.holds(6));
  CHECK(mean.holds(14));
  CHECK_FALSE(mean.holds(14.01));
  const auto alone = without_spread(-10);
  CHECK(alone.holds(-12));
  CHECK(alone.holds(-8));
  CHECK_FALSE(alone.holds(-7.9));
  const auto interval = with_interval(std::nullopt, 1, 2, "95 % interval");
  CHECK(interval.holds(1));
  CHECK_FALSE(interval.holds(0.99));
  const auto more = bounded(0, std::numeric_limits<double>::infinity());
  CHECK(more.holds(1e-9));
  CHECK_FALSE(more.holds(0));
}

/// Three readings whose values are given by formulas alone.
Experiment formulas(const std::vector<std::pair<std::string, std::string>>& list) {
  Experiment e;
  for (const auto& [name, formula] : list) {
    Reading r;
    r.name = name;
    r.formula = formula;
    r.published = without_spread(1);
    e.readings.push_back(r);
  }
  return e;
}

double value_of(const std::string& formula) {
  const Experiment e = formulas({{"x", formula}});
  return carry_out({&e, 1}).front().findings.front().simulated;
}

TEST_CASE("formulas follow the rules of arithmetic") {
  CHECK_THAT(value_of("1 + 2 * 3"), WithinAbs(7, rounding));
  CHECK_THAT(value_of("(1 + 2) * 3"), WithinAbs(9, rounding));
  CHECK_THAT(value_of("8 / 4 / 2"), WithinAbs(1, rounding));
  CHECK_THAT(value_of("5 - 3 - 1"), WithinAbs(1, rounding));
  CHECK_THAT(value_of("-2 * -3"), WithinAbs(6, rounding));
  CHECK_THAT(value_of("ln(2.718281828459045)"), WithinAbs(1, rounding));
  CHECK_THAT(value_of("1e-3 * 1000"), WithinAbs(1, rounding));
}

TEST_CASE("formulas take other readings by name, blanks as underscores") {
  const Experiment e = formulas(
      {{"sum", "the_first + second_one"}, {"the first", "2"}, {"second-one", "3 * the_first"}});
  CHECK_NOTHROW(check_formulas(e));
  const auto outcome = carry_out({&e, 1}).front();
  CHECK_THAT(outcome.findings[0].simulated, WithinAbs(8, rounding));
}

TEST_CASE("a formula that can't be computed is refused by name") {
  CHECK_THROWS_AS(check_formulas(formulas({{"x", "2 +"}})), FormulaError);
  CHECK_THROWS_AS(check_formulas(formulas({{"x", "(2"}})), FormulaError);
  CHECK_THROWS_AS(check_formulas(formulas({{"x", "2 3"}})), FormulaError);
  CHECK_THROWS_AS(check_formulas(formulas({{"x", "nowhere"}})), FormulaError);
  CHECK_THROWS_AS(check_formulas(formulas({{"x", "y"}, {"y", "x"}})), FormulaError);
  CHECK_THROWS_AS(check_formulas(formulas({{"x", std::string(500, '(') + "1"}})), FormulaError);
  CHECK_THROWS_AS(check_formulas(formulas({{"x", std::string(500, '-') + "1"}})), FormulaError);
}

TEST_CASE("verdicts: the worst reading decides, a known failure that holds is told") {
  const auto verdict = [](double value, const std::string& known_failure) {
    Experiment e = formulas({{"good", "1"}, {"other", std::to_string(value)}});
    e.readings[1].known_failure = known_failure;
    return carry_out({&e, 1}).front().verdict;
  };
  CHECK(verdict(1, "") == Verdict::holds);
  CHECK(verdict(2, "") == Verdict::fails);
  CHECK(verdict(2, "reason") == Verdict::known_failure);
  CHECK(verdict(1, "reason") == Verdict::known_failure_holds);
  const Experiment nothing = formulas({{"bad", "ln(-1)"}});
  CHECK(carry_out({&nothing, 1}).front().verdict == Verdict::not_computed);
}

TEST_CASE("the tally counts experiments by role and part") {
  std::vector<Experiment> all{formulas({{"x", "1"}}), formulas({{"x", "2"}}),
                              formulas({{"x", "1"}})};
  all[2].role = Role::calibration;
  all[1].part = ModelPart::kidney;
  const auto outcomes = carry_out(all);
  const auto checks = tally(all, outcomes, Role::check);
  CHECK(checks.all == 2);
  CHECK(checks.holding == 1);
  CHECK(checks.failing == 1);
  CHECK(tally(all, outcomes, Role::check, ModelPart::kidney).failing == 1);
  CHECK(tally(all, outcomes, Role::calibration).holding == 1);
}

}  // namespace
}  // namespace serosa::study
