// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <cmath>
#include <tuple>

#include "exact_problems.hpp"

namespace serosa::simulate::test {
namespace {

using Problems = std::tuple<LinearExchange, Logistic, ForcedOscillator, DecayWithRefill>;

struct Errors {
  double at_end, between;
};

// Each segment between stops in the given number of equal steps.
template <class Problem>
Errors errors_with(int steps, int stages) {
  OneRun<Problem> journey;
  StepSequence sequence;
  for (std::size_t segment = 0; segment <= Problem::acts.size(); ++segment) {
    for (int n = 0; n + 1 < steps; ++n) sequence.shares.push_back(1.0 / steps);
    sequence.shares.push_back(1.0);  // what is left of the segment, to the last bit
    for (int n = 0; n < steps; ++n) sequence.stages.push_back(stages);
  }
  for (int n = 1; n < 400; ++n) journey.grid.push_back(Problem::end * n / 400.0);
  journey.grid.push_back(Problem::end);
  Integrator<double, Problem::N> integrator{StepControl<Problem::N>{}};
  integrator.replay(0, &sequence);
  RatesOf<Problem, double> rates;
  integrator.run(rates, journey);
  REQUIRE(journey.report.status == RunStatus::finished);
  REQUIRE(journey.outputs.size() == journey.grid.size());
  Errors errors{0.0, 0.0};
  for (std::size_t n = 0; n < journey.grid.size(); ++n) {
    const auto exact = Problem::exact(journey.grid[n]);
    for (std::size_t i = 0; i < Problem::N; ++i) {
      const double error = std::fabs(journey.outputs[n][i] - exact[i]);
      errors.between = std::max(errors.between, error);
      if (n + 1 == journey.grid.size()) errors.at_end = std::max(errors.at_end, error);
    }
  }
  return errors;
}

TEMPLATE_LIST_TEST_CASE("steps are of order 3 with any number of stages, outputs between them too",
                        "[integrator]", Problems) {
  const int stages = GENERATE(range(3, 10));
  INFO(TestType::name << ", " << stages << " stages");
  const Errors wide = errors_with<TestType>(40, stages), narrow = errors_with<TestType>(80, stages),
               narrowest = errors_with<TestType>(160, stages);
  INFO("at the end " << wide.at_end << ", " << narrow.at_end << ", " << narrowest.at_end
                     << "; between " << wide.between << ", " << narrow.between << ", "
                     << narrowest.between);
  // Halving the step divides the error by 2^3. The methods were chosen for a small error of that
  // order, so the next order's share is still visible at these step sizes, and where the order's
  // own error happens to cancel the next one shows alone.
  const double order_at_end = std::log2(narrow.at_end / narrowest.at_end);
  const double order_between = std::log2(narrow.between / narrowest.between);
  CHECK(order_at_end > 2.7);
  CHECK(order_at_end < 4.4);
  CHECK(order_between > 2.7);
  CHECK(order_between < 4.4);
}

TEMPLATE_LIST_TEST_CASE("the error follows the tolerance", "[integrator]", Problems) {
  INFO(TestType::name);
  double before = 0.0;
  for (const double tolerance : {1e-4, 1e-6, 1e-8, 1e-10}) {
    StepControl<TestType::N> control;
    control.relative_tolerance = tolerance;
    control.absolute_tolerance.fill(tolerance);
    OneRun<TestType> journey;
    for (int n = 0; n <= 50; ++n) journey.grid.push_back(TestType::end * n / 50.0);
    Integrator<double, TestType::N> integrator{control};
    RatesOf<TestType, double> rates;
    integrator.run(rates, journey);
    REQUIRE(journey.report.status == RunStatus::finished);
    double error = 0.0;
    for (std::size_t n = 0; n < journey.grid.size(); ++n)
      for (std::size_t i = 0; i < TestType::N; ++i)
        error =
            std::max(error, std::fabs(journey.outputs[n][i] - TestType::exact(journey.grid[n])[i]));
    INFO("tolerance " << tolerance << ": error " << error << " in "
                      << journey.report.effort.accepted_steps << " steps");
    // The tolerance is per step; these runs sum tens of steps of values up to 5.
    CHECK(error < 50.0 * tolerance);
    if (before > 0.0) CHECK(error < before);
    before = error;
  }
}

}  // namespace
}  // namespace serosa::simulate::test
