// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <memory>

#include "stores.hpp"

namespace serosa::simulate::test {
namespace {

using physics::Dual;
using physics::Scalar;
constexpr std::size_t S = 3, N = 3 * S;

// What is varied: room, draught, passage, coupling, hour of the refill, its size, hour of the
// draught.
constexpr std::size_t K = 7;
constexpr std::array<double, K> base{22.0, 1.2, 1.5, 12.0, 1.37, 0.8, 2.91};
template <class T>
using Parameters = std::array<T, K>;

template <class T>
struct Outcome {
  std::vector<std::array<T, N>> outputs;
  RunReport report;
};

template <Real R>
struct ShortRun {
  using T = Scalar<R>;
  using State = LaneState<R, N>;
  Stores<R, S>& system;
  Parameters<T> p;
  Outcome<T> outcome{};
  int act = 0;
  std::size_t output = 0;
  bool begun = false;
  static constexpr std::array<double, 6> grid{0.0, 0.41, 1.1, 2.23, 3.3, 5.0};

  bool begin(int, State x) {
    if (begun) return false;
    begun = true;
    system.room = p[0], system.draught = p[1], system.passage = p[2], system.coupling = p[3];
    for (std::size_t i = 0; i < S; ++i) {
      x.set(i, T(0.1 + 0.6 * static_cast<double>(i)));
      x.set(S + i, T(36.0 - static_cast<double>(i)));
      x.set(2 * S + i, T(0.0));
    }
    return true;
  }
  T start(int) const { return T(0.0); }
  T end(int) const { return T(5.0); }
  T next_stop(int) const {
    return act == 0 ? p[4] : act == 1 ? p[6] : T(std::numeric_limits<double>::infinity());
  }
  bool at_stop(int, State x, const T&) {
    if (act++ == 0)
      x.set(1, x[1] + p[5]);
    else
      system.draught = 2.0 * system.draught;
    return true;
  }
  // Store 2 seals at the end of some step: when that is moves with the act times.
  bool after_step(int, State x, const T&) {
    if (!(x[2] < 0.9 && system.wet[2] > 0.5)) return false;
    system.wet[2] = R(0.0);
    return true;
  }
  double next_output(int) const {
    return output < grid.size() ? grid[output] : std::numeric_limits<double>::infinity();
  }
  void at_output(int, double, const std::array<T, N>& x) {
    outcome.outputs.push_back(x);
    ++output;
  }
  void at_end(int, const RunReport& report) { outcome.report = report; }
};

template <Real R>
Outcome<Scalar<R>> integrate(const Parameters<Scalar<R>>& p, StepSequence* record,
                             const StepSequence* replay) {
  Stores<R, S> system;
  ShortRun<R> journey{system, p};
  const auto integrator = std::make_unique<Integrator<R, N>>(stores_control<S>());
  integrator->record(0, record);
  integrator->replay(0, replay);
  integrator->run(system, journey);
  REQUIRE(journey.outcome.report.status == RunStatus::finished);
  REQUIRE(journey.outcome.outputs.size() == journey.grid.size());
  return journey.outcome;
}

Parameters<Dual<K>> variables() {
  Parameters<Dual<K>> p;
  for (std::size_t k = 0; k < K; ++k) p[k] = Dual<K>::variable(base[k], static_cast<int>(k));
  return p;
}

TEST_CASE("a run of dual numbers has the values of the plain run", "[integrator]") {
  StepSequence plain_steps, dual_steps;
  const auto plain = integrate<double>(base, &plain_steps, nullptr);
  const auto dual = integrate<Dual<K>>(variables(), &dual_steps, nullptr);
  CHECK(plain_steps.shares == dual_steps.shares);
  CHECK(plain.report == dual.report);
  CHECK(plain.report.effort.restarts == 3);  // two acts and a store sealed
  for (std::size_t n = 0; n < plain.outputs.size(); ++n)
    for (std::size_t i = 0; i < N; ++i) CHECK(plain.outputs[n][i] == dual.outputs[n][i].value);
}

TEST_CASE("a recorded run replays to the same bits", "[integrator]") {
  StepSequence steps;
  const auto free = integrate<double>(base, &steps, nullptr);
  const auto again = integrate<double>(base, nullptr, &steps);
  CHECK(steps.shares.size() == static_cast<std::size_t>(free.report.effort.accepted_steps));
  CHECK(free.outputs == again.outputs);
  const auto dual = integrate<Dual<K>>(variables(), nullptr, nullptr);
  const auto dual_again = integrate<Dual<K>>(variables(), nullptr, &steps);
  for (std::size_t n = 0; n < dual.outputs.size(); ++n)
    for (std::size_t i = 0; i < N; ++i)
      CHECK(dual.outputs[n][i].slope == dual_again.outputs[n][i].slope);
}

// Derivatives by parameters and by act times, on the steps of the unchanged run.
TEST_CASE("derivatives by dual numbers equal central differences on frozen steps", "[integrator]") {
  StepSequence steps;
  const auto dual = integrate<Dual<K>>(variables(), &steps, nullptr);
  const auto moved = [&](std::size_t k, double by) {
    auto p = base;
    p[k] += by;
    auto outcome = integrate<double>(p, nullptr, &steps);
    // Otherwise the differences would not be of one smooth function.
    REQUIRE(outcome.report.effort.restarts == dual.report.effort.restarts);
    return outcome;
  };
  for (std::size_t k = 0; k < K; ++k) {
    const double h = 4e-4 * base[k];
    const auto up = moved(k, h), down = moved(k, -h), up_half = moved(k, h / 2),
               down_half = moved(k, -h / 2);
    double largest = 0.0;
    for (std::size_t n = 0; n < dual.outputs.size(); ++n) {
      for (std::size_t i = 0; i < N; ++i) {
        const double wide = (up.outputs[n][i] - down.outputs[n][i]) / (2.0 * h);
        const double narrow = (up_half.outputs[n][i] - down_half.outputs[n][i]) / h;
        const double expected = (4.0 * narrow - wide) / 3.0;
        INFO("parameter " << k << ", output " << n << ", state " << i);
        // 1e-6 as the law asks; the absolute part is rounding, 2^-53 * 36 degC / h.
        CHECK_THAT(dual.outputs[n][i].slope[k],
                   Catch::Matchers::WithinAbs(expected, 1e-6 * std::fabs(expected) + 1e-13 / h));
        largest = std::max(largest, std::fabs(expected));
      }
    }
    CHECK(largest > 1e-3);  // every parameter matters to something
  }
}

}  // namespace
}  // namespace serosa::simulate::test
