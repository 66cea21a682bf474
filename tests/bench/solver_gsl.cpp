// SPDX-License-Identifier: Apache-2.0
// GSL's adaptive drivers, started anew at acts only; they step to every output exactly.
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

#include "bench/course.hpp"

namespace serosa::bench {
namespace {

class Gsl : public Solver {
 public:
  Gsl(const gsl_odeiv2_step_type* type, double tolerance) : system_{slope, derivatives, N, this} {
    gsl_set_error_handler_off();
    std::vector<double> scale;
    for (const auto& state : baby::state_list) scale.push_back(state.absolute_tolerance);
    driver_.reset(gsl_odeiv2_driver_alloc_scaled_new(&system_, type, first_step, tolerance / 1e-4,
                                                     tolerance, 1, 0, scale.data()));
  }
  void restart(Course& course) override {
    course_ = &course;
    gsl_odeiv2_driver_reset(driver_.get());
    gsl_odeiv2_driver_reset_hstart(driver_.get(), first_step);
  }
  void advance(Course& course, double to, double) override {
    const int flag = gsl_odeiv2_driver_apply(driver_.get(), &course.t, to, course.x.data());
    if (flag != GSL_SUCCESS) throw SolverError(gsl_strerror(flag));
  }

 private:
  static constexpr double first_step = 1e-3;  // h
  static int slope(double t, const double y[], double dydt[], void* self) {
    static_cast<Gsl*>(self)->course_->rates(t, y, dydt);
    return GSL_SUCCESS;
  }
  static int derivatives(double t, const double y[], double* dfdy, double dfdt[], void* self) {
    jacobian(*static_cast<Gsl*>(self)->course_, t, y, dfdy, dfdt);
    return GSL_SUCCESS;
  }
  struct Free {
    void operator()(gsl_odeiv2_driver* driver) const { gsl_odeiv2_driver_free(driver); }
  };

  const Course* course_ = nullptr;
  gsl_odeiv2_system system_;
  std::unique_ptr<gsl_odeiv2_driver, Free> driver_;
};

}  // namespace

const std::vector<Method>& gsl_methods() {
  static const std::vector<Method> all{
      {"gsl msbdf", "GSL", "BDF of variable order, Newton, Jacobian by differences",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Gsl>(gsl_odeiv2_step_msbdf, tolerance);
       }},
      {"gsl msadams", "GSL", "Adams of variable order",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Gsl>(gsl_odeiv2_step_msadams, tolerance);
       }},
      {"gsl rkf45", "GSL", "Runge-Kutta-Fehlberg 4(5)",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Gsl>(gsl_odeiv2_step_rkf45, tolerance);
       }},
      {"gsl rk8pd", "GSL", "Prince-Dormand 8(9)", [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Gsl>(gsl_odeiv2_step_rk8pd, tolerance);
       }}};
  return all;
}

}  // namespace serosa::bench
