// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "simulate/integrator.hpp"

/// Problems with exact answers. Each has its size N, `rates` on any Real, `start()`, `exact(t)`,
/// the end of its run, the times of its acts and what they do.
namespace serosa::simulate::test {

using physics::Real;

/// Two stores that exchange and drain: x' = A x, A = [[-3, 1], [2, -2]], eigenvalues -1 and -4.
struct LinearExchange {
  static constexpr const char* name = "linear exchange";
  static constexpr std::size_t N = 2;
  static constexpr double end = 2.0;
  static constexpr std::array<double, 0> acts{};
  static std::array<double, N> start() { return {3.0, 0.0}; }
  template <Real R>
  static void rates(const std::array<R, N>& x, std::array<R, N>& dxdt, const R&) {
    dxdt[0] = x[1] - 3.0 * x[0];
    dxdt[1] = 2.0 * x[0] - 2.0 * x[1];
  }
  static std::array<double, N> exact(double t) {
    return {std::exp(-t) + 2.0 * std::exp(-4.0 * t), 2.0 * std::exp(-t) - 2.0 * std::exp(-4.0 * t)};
  }
  template <class State>
  static void act(State, std::size_t) {}
};

/// Logistic growth x' = 3 x (1 - x), x(0) = 0.1.
struct Logistic {
  static constexpr const char* name = "logistic growth";
  static constexpr std::size_t N = 1;
  static constexpr double end = 2.0;
  static constexpr std::array<double, 0> acts{};
  static std::array<double, N> start() { return {0.1}; }
  template <Real R>
  static void rates(const std::array<R, N>& x, std::array<R, N>& dxdt, const R&) {
    dxdt[0] = 3.0 * x[0] * (1.0 - x[0]);
  }
  static std::array<double, N> exact(double t) { return {1.0 / (1.0 + 9.0 * std::exp(-3.0 * t))}; }
  template <class State>
  static void act(State, std::size_t) {}
};

/// An oscillator with a growing push, x'' = -4 x + exp(t/2): rates that depend on the time itself.
/// Particular solution exp(t/2) / (1/4 + 4).
struct ForcedOscillator {
  static constexpr const char* name = "forced oscillator";
  static constexpr std::size_t N = 2;
  static constexpr double end = 3.0;
  static constexpr std::array<double, 0> acts{};
  static std::array<double, N> start() { return {1.0, 0.5}; }
  template <Real R>
  static void rates(const std::array<R, N>& x, std::array<R, N>& dxdt, const R& t) {
    using physics::exp;
    dxdt[0] = x[1];
    dxdt[1] = exp(0.5 * t) - 4.0 * x[0];
  }
  static std::array<double, N> exact(double t) {
    const double p = std::exp(0.5 * t) / 4.25;
    const double a = 1.0 - 1.0 / 4.25, b = (0.5 - 0.5 / 4.25) / 2.0;
    return {a * std::cos(2.0 * t) + b * std::sin(2.0 * t) + p,
            2.0 * (b * std::cos(2.0 * t) - a * std::sin(2.0 * t)) + 0.5 * p};
  }
  template <class State>
  static void act(State, std::size_t) {}
};

/// A decaying store x' = -1.5 x, refilled by 2 at t = 0.7 (exactly, between any two steps).
struct DecayWithRefill {
  static constexpr const char* name = "decay with a refill";
  static constexpr std::size_t N = 1;
  static constexpr double end = 2.0;
  static constexpr std::array<double, 1> acts{0.7};
  static std::array<double, N> start() { return {5.0}; }
  template <Real R>
  static void rates(const std::array<R, N>& x, std::array<R, N>& dxdt, const R&) {
    dxdt[0] = -1.5 * x[0];
  }
  static std::array<double, N> exact(double t) {
    return {5.0 * std::exp(-1.5 * t) + (t < 0.7 ? 0.0 : 2.0 * std::exp(-1.5 * (t - 0.7)))};
  }
  template <class State>
  static void act(State x, std::size_t) {
    x.set(0, x[0] + 2.0);
  }
};

inline constexpr double never = std::numeric_limits<double>::infinity();

/// Serves one run of a problem to a plain number and keeps what comes out.
template <class Problem>
struct OneRun {
  static constexpr std::size_t N = Problem::N;
  using State = LaneState<double, N>;
  std::vector<double> grid;
  bool started = false;
  std::size_t act = 0, output = 0;
  RunReport report;
  std::vector<std::array<double, N>> outputs;

  bool begin(int, State x) {
    if (started) return false;
    x.store(Problem::start());
    return started = true;
  }
  double start(int) const { return 0.0; }
  double end(int) const { return Problem::end; }
  double next_stop(int) const { return act < Problem::acts.size() ? Problem::acts[act] : never; }
  bool at_stop(int, State x, double) {
    Problem::act(x, act++);
    return true;
  }
  bool after_step(int, State, double) { return false; }
  double next_output(int) const { return output < grid.size() ? grid[output] : never; }
  void at_output(int, double, const std::array<double, N>& x) {
    outputs.push_back(x);
    ++output;
  }
  void at_end(int, const RunReport& r) { report = r; }
};

template <class Problem, Real R>
struct RatesOf {
  void operator()(const std::array<R, Problem::N>& x, std::array<R, Problem::N>& dxdt,
                  const R& t) const {
    Problem::rates(x, dxdt, t);
  }
};

}  // namespace serosa::simulate::test
