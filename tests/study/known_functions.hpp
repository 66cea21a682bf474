// SPDX-License-Identifier: Apache-2.0
// Functions over the unit cube whose indices are known in closed form.
#pragma once
#include <cmath>
#include <numbers>
#include <span>
#include <vector>

#include "study/design.hpp"
#include "study/sensitivity.hpp"

namespace serosa::study {

struct KnownFunction {
  const char* name;
  double (*f)(std::span<const double>);
  std::vector<double> first, total;
};

/// Ishigami and Homma, ISUMA '90 (1990) 398, with a = 7 and b = 0.1 over (-pi, pi); its indices as
/// in Saltelli, Chan and Scott, Sensitivity Analysis, 2000, example 3.
inline double ishigami(std::span<const double> u) {
  const auto x = [&](std::size_t i) { return std::numbers::pi * (2 * u[i] - 1); };
  const double s = std::sin(x(1));
  return std::sin(x(0)) + 7 * s * s + 0.1 * std::pow(x(2), 4) * std::sin(x(0));
}

inline KnownFunction ishigami_function() {
  const double a = 7, b = 0.1, p4 = std::pow(std::numbers::pi, 4), p8 = p4 * p4;
  const double all = a * a / 8 + b * p4 / 5 + b * b * p8 / 18 + 0.5;
  const double one = 0.5 * std::pow(1 + b * p4 / 5, 2), two = a * a / 8;
  const double both = 8 * b * b * p8 / 225;  // of inputs 1 and 3 together
  return {
      "Ishigami", ishigami, {one / all, two / all, 0}, {(one + both) / all, two / all, both / all}};
}
/// Second-order index of its inputs 1 and 3.
inline double ishigami_interaction() { return ishigami_function().total[2]; }

/// Sobol' (2001), Mathematics and Computers in Simulation 55 (2001) 271, the product function with
/// a = 0, 1, 4.5, 9, 99, 99, 99, 99 of Saltelli et al. 2010, section 6.
inline constexpr double g_numbers[] = {0, 1, 4.5, 9, 99, 99, 99, 99};
inline double g(std::span<const double> u) {
  double product = 1;
  for (std::size_t i = 0; i < u.size(); ++i)
    product *= (std::fabs(4 * u[i] - 2) + g_numbers[i]) / (1 + g_numbers[i]);
  return product;
}
inline KnownFunction g_function() {
  std::vector<double> own, first, total;
  double all = 1;
  for (const double a : g_numbers) own.push_back(1 / (3 * (1 + a) * (1 + a)));
  for (const double v : own) all *= 1 + v;
  for (const double v : own) {
    first.push_back(v / (all - 1));
    total.push_back(v * all / (1 + v) / (all - 1));
  }
  return {"Sobol' G", g, first, total};
}

/// A radial design over the function's inputs.
inline Design radial_design(std::size_t inputs, std::uint64_t base, std::uint64_t seed,
                            std::uint64_t scrambles = 0, std::vector<InputGroup> groups = {},
                            std::vector<std::pair<std::size_t, std::size_t>> pairs = {}) {
  Design d;
  d.kind = DesignKind::radial;
  d.seed = seed;
  for (std::size_t j = 0; j < inputs; ++j) d.names.push_back("input " + std::to_string(j + 1));
  d.radial =
      RadialPlan{base, with_single_groups(std::move(groups), d.names), std::move(pairs), scrambles};
  d.runs = d.radial->runs();
  return d;
}

inline std::vector<double> outputs_of(const Design& design, double (*f)(std::span<const double>)) {
  Points points(design);
  std::vector<double> u(design.names.size()), y;
  for (std::uint64_t run = 0; run < design.runs; ++run) {
    points.at(run, u);
    y.push_back(f(u));
  }
  return y;
}

}  // namespace serosa::study
