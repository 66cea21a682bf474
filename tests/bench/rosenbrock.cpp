// SPDX-License-Identifier: Apache-2.0
#include "bench/rosenbrock.hpp"

#include <algorithm>
#include <stdexcept>
#include <vector>

// GCC 12 takes odeint's working memory, which every step writes before it reads, for unset.
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#pragma GCC diagnostic ignored "-Wuninitialized"
#include <boost/numeric/odeint/integrate/integrate_adaptive.hpp>
#include <boost/numeric/odeint/stepper/generation.hpp>
#include <boost/numeric/odeint/stepper/rosenbrock4.hpp>
#include <boost/numeric/odeint/stepper/rosenbrock4_controller.hpp>

namespace serosa::bench {

bool rosenbrock4(const PlainSystem& system, double tolerance, std::size_t n, double* x, double t,
                 double to, double first_step, int most_evaluations) {
  namespace odeint = boost::numeric::odeint;
  using Vector = boost::numeric::ublas::vector<double>;
  using Matrix = boost::numeric::ublas::matrix<double>;
  struct Spent {};
  Vector state(n);
  std::copy_n(x, n, state.begin());
  std::vector<double> rows(n * n);
  int left = most_evaluations;
  const auto rates = [&](const Vector& at, Vector& dx, double hour) {
    if (--left < 0) throw Spent{};
    system.rates(system.course, hour, &at[0], &dx[0]);
  };
  const auto derivatives = [&](const Vector& at, Matrix& j, const double& hour, Vector& dfdt) {
    system.jacobian(system.course, hour, &at[0], rows.data(), &dfdt[0]);
    for (std::size_t i = 0; i < n; ++i)
      for (std::size_t k = 0; k < n; ++k) j(i, k) = rows[i * n + k];
  };
  try {
    odeint::integrate_adaptive(
        odeint::make_controlled<odeint::rosenbrock4<double>>(tolerance, tolerance),
        std::make_pair(rates, derivatives), state, t, to, first_step);
  } catch (const Spent&) {
    return false;
  }
  std::copy(state.begin(), state.end(), x);
  return true;
}

}  // namespace serosa::bench
