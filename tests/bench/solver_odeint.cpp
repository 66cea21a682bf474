// SPDX-License-Identifier: Apache-2.0
// Boost.Odeint as shipped, on plain vectors: its controlled Dormand-Prince 5(4) and its controlled
// Rosenbrock method of order 4. One absolute tolerance for all states: Odeint takes no more.
// GCC 12 takes odeint's working memory, which every step writes before it reads, for unset.
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#pragma GCC diagnostic ignored "-Wuninitialized"
#include <boost/numeric/odeint/integrate/integrate_adaptive.hpp>
#include <boost/numeric/odeint/stepper/generation.hpp>
#include <boost/numeric/odeint/stepper/runge_kutta_dopri5.hpp>

#include "bench/course.hpp"
#include "bench/rosenbrock.hpp"

namespace serosa::bench {
namespace {

namespace odeint = boost::numeric::odeint;
constexpr double first_step = 1e-3;          // h
constexpr int most_evaluations = 2'000'000;  // between two stops; then it gets nowhere
constexpr const char* spent = "too many evaluations of the rates";

class Dopri : public Solver {
 public:
  explicit Dopri(double tolerance) : tolerance_(tolerance), x_(N) {}
  void restart(Course&) override {}
  void advance(Course& course, double to, double) override {
    std::copy(course.x.begin(), course.x.end(), x_.begin());
    int left = most_evaluations;
    const auto system = [&](const std::vector<double>& x, std::vector<double>& dx, double t) {
      if (--left < 0) throw SolverError(spent);
      course.rates(t, x.data(), dx.data());
    };
    odeint::integrate_adaptive(
        odeint::make_controlled<odeint::runge_kutta_dopri5<std::vector<double>>>(tolerance_,
                                                                                 tolerance_),
        system, x_, course.t, to, std::min(first_step, to - course.t));
    std::copy(x_.begin(), x_.end(), course.x.begin());
  }

 private:
  double tolerance_;
  std::vector<double> x_;
};

class Rosenbrock : public Solver {
 public:
  explicit Rosenbrock(double tolerance) : tolerance_(tolerance) {}
  void restart(Course&) override {}
  void advance(Course& course, double to, double) override {
    const PlainSystem system{&course,
                             [](const void* c, double t, const double* x, double* dx) {
                               static_cast<const Course*>(c)->rates(t, x, dx);
                             },
                             [](const void* c, double t, const double* x, double* j, double* dt) {
                               jacobian(*static_cast<const Course*>(c), t, x, j, dt);
                             }};
    if (!rosenbrock4(system, tolerance_, N, course.x.data(), course.t, to,
                     std::min(first_step, to - course.t), most_evaluations))
      throw SolverError(spent);
  }

 private:
  double tolerance_;
};

}  // namespace

const std::vector<Method>& odeint_methods() {
  static const std::vector<Method> all{
      {"odeint dopri5", "Boost.Odeint", "Dormand-Prince 5(4), controlled, as shipped",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Dopri>(tolerance);
       }},
      {"odeint rosenbrock4", "Boost.Odeint",
       "Rosenbrock of order 4, controlled, as shipped, Jacobian by differences",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Rosenbrock>(tolerance);
       }}};
  return all;
}

}  // namespace serosa::bench
