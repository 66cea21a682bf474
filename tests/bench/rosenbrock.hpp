// SPDX-License-Identifier: Apache-2.0
// Odeint's Rosenbrock stepper behind a plain function: its vectors (Boost.uBLAS 1.74) are older
// than C++20, so its source is compiled as C++17 and knows nothing of the model.
#pragma once
#include <cstddef>

namespace serosa::bench {

struct PlainSystem {
  const void* course;
  void (*rates)(const void* course, double t, const double* x, double* dx);
  /// dfdy row by row
  void (*jacobian)(const void* course, double t, const double* x, double* dfdy, double* dfdt);
};

/// Integrates `n` numbers from `t` to `to`. False: it took too many evaluations of the rates.
bool rosenbrock4(const PlainSystem& system, double tolerance, std::size_t n, double* x, double t,
                 double to, double first_step, int most_evaluations);

}  // namespace serosa::bench
