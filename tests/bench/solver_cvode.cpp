// SPDX-License-Identifier: Apache-2.0
// CVODE of SUNDIALS: BDF with a dense Jacobian by its own differences, Adams with its fixed-point
// iteration. Started anew at acts only, outputs by its interpolation.
#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

#include <algorithm>

#include "bench/course.hpp"

namespace serosa::bench {
namespace {

void want(int flag, const char* what) {
  if (flag < 0) throw SolverError(std::string(what) + " ends with " + std::to_string(flag));
}

class Cvode : public Solver {
 public:
  Cvode(int method, double tolerance) : method_(method), tolerance_(tolerance) {
    want(SUNContext_Create(nullptr, &context_), "SUNContext_Create");
    y_ = N_VNew_Serial(N, context_);
    scale_ = N_VNew_Serial(N, context_);
    const auto absolute = absolute_tolerances(tolerance);
    std::copy(absolute.begin(), absolute.end(), N_VGetArrayPointer(scale_));
  }
  Cvode(const Cvode&) = delete;
  Cvode& operator=(const Cvode&) = delete;
  ~Cvode() override {
    if (memory_ != nullptr) CVodeFree(&memory_);
    if (linear_ != nullptr) SUNLinSolFree(linear_);
    if (matrix_ != nullptr) SUNMatDestroy(matrix_);
    if (nonlinear_ != nullptr) SUNNonlinSolFree(nonlinear_);
    N_VDestroy(y_);
    N_VDestroy(scale_);
    SUNContext_Free(&context_);
  }

  void restart(Course& course) override {
    course_ = &course;
    std::copy(course.x.begin(), course.x.end(), N_VGetArrayPointer(y_));
    if (memory_ == nullptr)
      create(course.t);
    else
      want(CVodeReInit(memory_, course.t, y_), "CVodeReInit");
  }
  void advance(Course& course, double to, double change) override {
    // Set always: the one before would stay where CVODE has just been.
    want(CVodeSetStopTime(memory_, std::min(change, never)), "CVodeSetStopTime");
    const int flag = CVode(memory_, to, y_, &course.t, CV_NORMAL);
    if (flag < 0) throw SolverError("CVode: " + complaint_);
    std::copy_n(N_VGetArrayPointer(y_), N, course.x.begin());
  }

 private:
  static constexpr double never = 1e9;  // h
  static int slope(double t, N_Vector y, N_Vector dy, void* self) {
    static_cast<Cvode*>(self)->course_->rates(t, N_VGetArrayPointer(y), N_VGetArrayPointer(dy));
    return 0;
  }
  void create(double t) {
    memory_ = CVodeCreate(method_, context_);
    CVodeSetErrHandlerFn(
        memory_,
        [](int, const char*, const char*, char* message, void* self) {
          static_cast<Cvode*>(self)->complaint_ = message;
        },
        this);
    want(CVodeInit(memory_, slope, t, y_), "CVodeInit");
    want(CVodeSVtolerances(memory_, tolerance_, scale_), "CVodeSVtolerances");
    want(CVodeSetUserData(memory_, this), "CVodeSetUserData");
    want(CVodeSetMaxNumSteps(memory_, 1'000'000), "CVodeSetMaxNumSteps");
    if (method_ == CV_BDF) {
      matrix_ = SUNDenseMatrix(N, N, context_);
      linear_ = SUNLinSol_Dense(y_, matrix_, context_);
      want(CVodeSetLinearSolver(memory_, linear_, matrix_), "CVodeSetLinearSolver");
    } else {
      nonlinear_ = SUNNonlinSol_FixedPoint(y_, 0, context_);
      want(CVodeSetNonlinearSolver(memory_, nonlinear_), "CVodeSetNonlinearSolver");
    }
  }

  int method_;
  double tolerance_;
  Course* course_ = nullptr;
  SUNContext context_ = nullptr;
  N_Vector y_ = nullptr, scale_ = nullptr;
  SUNMatrix matrix_ = nullptr;
  SUNLinearSolver linear_ = nullptr;
  SUNNonlinearSolver nonlinear_ = nullptr;
  void* memory_ = nullptr;
  std::string complaint_;
};

}  // namespace

const std::vector<Method>& cvode_methods() {
  static const std::vector<Method> all{
      {"cvode bdf", "SUNDIALS CVODE",
       "BDF of variable order, Newton, dense Jacobian by differences",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Cvode>(CV_BDF, tolerance);
       }},
      {"cvode adams", "SUNDIALS CVODE", "Adams-Moulton of variable order, fixed-point iteration",
       [](double tolerance) -> std::unique_ptr<Solver> {
         return std::make_unique<Cvode>(CV_ADAMS, tolerance);
       }}};
  return all;
}

}  // namespace serosa::bench
