// SPDX-License-Identifier: Apache-2.0
// Every method of the table keeps what the table promises.
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <vector>

#include "simulate/stabilised.hpp"

namespace serosa::simulate::test {
namespace {

using Catch::Matchers::WithinAbs;

// The method as a Butcher tableau.
struct Tableau {
  explicit Tableau(const Stabilised& m) : stages(static_cast<std::size_t>(m.stages)) {
    a.assign(stages, std::vector<double>(stages, 0.0));
    for (std::size_t i = 0; i < stages; ++i) {
      b.push_back(m.weight[i]);
      if (i == 0) continue;
      for (std::size_t j = 0; j + 1 < i; ++j) a[i][j] = m.weight[j];
      a[i][i - 1] = m.forward[i - 1];
    }
    for (const auto& row : a) {
      double sum = 0.0;
      for (const double x : row) sum += x;
      c.push_back(sum);
    }
  }
  std::size_t stages;
  std::vector<std::vector<double>> a;
  std::vector<double> b, c;

  double weighted(const auto& value) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < stages; ++i) sum += b[i] * value(i);
    return sum;
  }
  double row(std::size_t i, const auto& value) const {
    double sum = 0.0;
    for (std::size_t j = 0; j < stages; ++j) sum += a[i][j] * value(j);
    return sum;
  }
  // What x' = z x, x = 1 becomes in a step of 1, by the stages.
  std::complex<double> growth(std::complex<double> z, double* largest_stage = nullptr) const {
    std::vector<std::complex<double>> k;
    for (std::size_t i = 0; i < stages; ++i) {
      std::complex<double> y = 1.0;
      for (std::size_t j = 0; j < i; ++j) y += a[i][j] * k[j];
      if (largest_stage) *largest_stage = std::max(*largest_stage, std::abs(y));
      k.push_back(z * y);
    }
    std::complex<double> x = 1.0;
    for (std::size_t i = 0; i < stages; ++i) x += b[i] * k[i];
    return x;
  }
};

TEST_CASE("every stabilised method is of order 3", "[integrator]") {
  // Hairer, Nørsett and Wanner, Solving Ordinary Differential Equations I, theorem II.2.1. The
  // coefficients are doubles: 1e-14 is a few of their last digits.
  for (const Stabilised& m : stabilised_methods) {
    INFO(m.stages << " stages");
    const Tableau t(m);
    const auto c = [&](std::size_t i) { return t.c[i]; };
    CHECK_THAT(t.weighted([](std::size_t) { return 1.0; }), WithinAbs(1.0, 1e-14));
    CHECK_THAT(t.weighted(c), WithinAbs(1.0 / 2, 1e-14));
    CHECK_THAT(t.weighted([&](std::size_t i) { return c(i) * c(i); }), WithinAbs(1.0 / 3, 1e-14));
    CHECK_THAT(t.weighted([&](std::size_t i) { return t.row(i, c); }), WithinAbs(1.0 / 6, 1e-14));
  }
}

TEST_CASE("nodes are the row sums and lie within the step", "[integrator]") {
  for (const Stabilised& m : stabilised_methods) {
    INFO(m.stages << " stages");
    const Tableau t(m);
    for (std::size_t i = 0; i < t.stages; ++i) {
      CHECK_THAT(m.node[i], WithinAbs(t.c[i], 1e-15));
      CHECK(m.node[i] >= 0.0);
      CHECK(m.node[i] < 1.0);
    }
  }
}

TEST_CASE("every stabilised method is stable as far as it reaches, and no further by much",
          "[integrator]") {
  double before = 0.0;
  for (const Stabilised& m : stabilised_methods) {
    INFO(m.stages << " stages");
    const Tableau t(m);
    double largest_stage = 0.0;
    for (int n = 1; n <= 4000; ++n) {
      const double z = -m.reach * n / 4000.0;
      const double growth = std::abs(t.growth(z, &largest_stage));
      // Damped once a mode is fast: what rounding and acts stir up dies out within some steps.
      if (!(growth <= (z < -1.5 && m.stages > 3 ? 0.951 : 1.0))) FAIL("at " << z << ": " << growth);
      // A mode that swings a little: 3 degrees off the axis.
      const std::complex<double> beside = std::polar(-z, M_PI * (1.0 - 3.0 / 180.0));
      if (z > -0.95 * m.reach && z < -0.05 * m.reach && m.stages > 3)
        if (!(std::abs(t.growth(beside)) <= 1.0)) FAIL("beside the axis at " << z);
    }
    CHECK(largest_stage < 5.0);  // stages may overshoot, but not as steps that explode
    CHECK(std::abs(t.growth(-1.06 * m.reach)) > 1.0);
    // More stages reach further, and further per stage: what they are for.
    CHECK(m.reach / m.stages > before);
    before = m.reach / m.stages;
  }
}

TEST_CASE("the method with the fewest stages that reaches is taken", "[integrator]") {
  CHECK(stable_at(0.0).stages == 3);
  CHECK(stable_at(stabilised_methods[0].reach).stages == 3);
  CHECK(stable_at(stabilised_methods[0].reach * 1.0001).stages == 4);
  CHECK(stable_at(1e9).stages == 9);
  CHECK(with_stages(6).stages == 6);
}

}  // namespace
}  // namespace serosa::simulate::test
