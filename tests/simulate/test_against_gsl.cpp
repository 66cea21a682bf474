// SPDX-License-Identifier: Apache-2.0
// The same rates by somebody else's solvers: GSL's Prince-Dormand 8(9) on every shipped case and
// its implicit multistep method (BDF) on two, against eight runs abreast at a tolerance of 1e-9.
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <memory>
#include <string>
#include <vector>

#include "baby/birth.hpp"
#include "files/case_file.hpp"
#include "simulate/run.hpp"

namespace serosa::simulate {
namespace {

namespace fs = std::filesystem;
constexpr std::size_t N = baby::state::count;

/// The shipped cases with their parameters.
const std::vector<files::CaseFile>& cases() {
  static const std::vector<files::CaseFile> all = [] {
    files::Problems problems;
    const auto models = files::read_models(SEROSA_MODELS, nullptr, problems);
    std::vector<fs::path> paths;
    for (const auto& entry : fs::directory_iterator(models.folder / "cases"))
      if (entry.path().extension() == ".yaml") paths.push_back(entry.path());
    std::sort(paths.begin(), paths.end());
    std::vector<files::CaseFile> read;
    for (const auto& path : paths) read.push_back(files::read_case(path, models, {}, problems));
    problems.refuse_if_any();
    return read;
  }();
  return all;
}

/// Twelve hours that fall together with no act.
std::vector<double> hours_of(const care::Case& c) {
  std::vector<double> times;
  for (int i = 1; i <= 12; ++i) times.push_back(c.until * (i - 0.0123) / 12);
  return times;
}

int slope(double t, const double y[], double dydt[], void* subject) {
  baby::State<double> x, dx;
  std::copy_n(y, N, x.begin());
  baby::rates(t, x, *static_cast<const baby::Subject<double>*>(subject), dx);
  std::copy_n(dx.begin(), N, dydt);
  return std::all_of(dx.begin(), dx.end(), [](double v) { return std::isfinite(v); })
             ? GSL_SUCCESS
             : GSL_EBADFUNC;
}

/// Derivatives by differences; an implicit method needs them only roughly.
int jacobian(double t, const double y[], double* dfdy, double dfdt[], void* subject) {
  std::vector<double> x(y, y + N), up(N), down(N);
  for (std::size_t j = 0; j < N; ++j) {
    const double step = 1e-6 * std::max(1.0, std::abs(y[j]));
    x[j] = y[j] + step;
    slope(t, x.data(), up.data(), subject);
    x[j] = y[j] - step;
    slope(t, x.data(), down.data(), subject);
    x[j] = y[j];
    for (std::size_t i = 0; i < N; ++i) dfdy[i * N + j] = (up[i] - down[i]) / (2 * step);
  }
  const double step = 1e-6;
  slope(t + step, y, up.data(), subject);
  slope(t - step, y, down.data(), subject);
  for (std::size_t i = 0; i < N; ++i) dfdt[i] = (up[i] - down[i]) / (2 * step);
  return GSL_SUCCESS;
}

/// A case by one of GSL's methods, started anew at every act. All outputs at `times`.
std::vector<double> by_gsl(const files::CaseFile& file, const std::vector<double>& times,
                           const gsl_odeiv2_step_type* method, double tolerance) {
  baby::Subject<double> s{};
  s.parameters = file.parameters;
  s.body = baby::prepare(file.c.baby, s.parameters);
  care::Carer<double>::at_rest(file.c, s.parameters, s.controls);
  care::Carer<double> carer;
  carer.start(file.c);
  double t = care::Carer<double>::first_hour(file.c);
  baby::State<double> x = baby::birth_state(s, file.c.wet);
  const baby::State<double> start = x;
  carer.act(t, x, s);

  std::vector<double> scale(N);
  for (std::size_t i = 0; i < N; ++i) scale[i] = baby::state_list[i].absolute_tolerance;
  gsl_odeiv2_system system{slope, jacobian, N, &s};
  const std::unique_ptr<gsl_odeiv2_driver, decltype(&gsl_odeiv2_driver_free)> driver(
      gsl_odeiv2_driver_alloc_scaled_new(&system, method, 1e-4, tolerance * 1e3, tolerance, 1, 0,
                                         scale.data()),
      gsl_odeiv2_driver_free);
  std::vector<double> values(times.size() * output::count);
  for (std::size_t next = 0; next < times.size();) {
    const double stop = std::min(carer.next(), times[next]);
    if (stop > t) {
      gsl_odeiv2_driver_reset(driver.get());
      gsl_odeiv2_driver_reset_hstart(driver.get(), 1e-4);
      REQUIRE(gsl_odeiv2_driver_apply(driver.get(), &t, stop, x.data()) == GSL_SUCCESS);
    }
    if (carer.next() <= t) {
      carer.act(t, x, s);
    } else {
      observe(t, x, start, s, carer.given(t), carer.glucose_rate(),
              values.data() + next * output::count);
      ++next;
    }
  }
  return values;
}

/// All cases eight abreast.
const std::vector<Result>& by_lanes() {
  static const std::vector<Result> all = [] {
    std::vector<std::vector<double>> times;
    for (const auto& file : cases()) times.push_back(hours_of(file.c));
    std::vector<Job> jobs;
    for (std::size_t i = 0; i < cases().size(); ++i)
      jobs.push_back({&cases()[i].c, &cases()[i].parameters, times[i]});
    std::vector<Result> results(jobs.size());
    // Absolute tolerances shrink with the relative one, from 1e-4.
    run(jobs, results,
        {.relative_tolerance = 1e-9, .absolute_tolerance_factor = 1e-5, .step_budget = 5'000'000});
    return results;
  }();
  return all;
}

/// The scale of an output: its largest size in any shipped case.
double scale_of(std::size_t o) {
  double scale = 0;
  for (const auto& result : by_lanes())
    for (std::size_t i = o; i < result.values.size(); i += output::count)
      scale = std::max(scale, std::abs(result.values[i]));
  return scale;
}

/// Accounts are zero but for rounding; they have no scale.
bool is_account(std::size_t o) {
  return output_list[o].name.find("unaccounted") != std::string_view::npos;
}

struct Gap {
  double size = 0;  ///< of the output's scale
  std::string name;
};

Gap largest_gap(const std::vector<double>& values, const Result& lanes) {
  Gap largest;
  for (std::size_t o = 0; o < output::count; ++o) {
    if (is_account(o)) continue;
    const double scale = scale_of(o);
    for (std::size_t i = o; i < values.size(); i += output::count) {
      const double gap = std::abs(values[i] - lanes.values[i]) / (scale > 0 ? scale : 1);
      if (!(gap <= largest.size)) largest = {gap, std::string(output_list[o].name)};
    }
  }
  return largest;
}

TEST_CASE("every shipped case comes out the same by GSL's Prince-Dormand method") {
  gsl_set_error_handler_off();
  for (std::size_t i = 0; i < cases().size(); ++i) {
    REQUIRE(by_lanes()[i].report.status == RunStatus::finished);
    const auto values = by_gsl(cases()[i], hours_of(cases()[i].c), gsl_odeiv2_step_rk8pd, 1e-11);
    const Gap gap = largest_gap(values, by_lanes()[i]);
    INFO(cases()[i].c.name << ": " << gap.name);
    CHECK(gap.size < 1e-6);
  }
}

TEST_CASE("two cases come out the same by GSL's implicit multistep method") {
  gsl_set_error_handler_off();
  for (const char* name : {"exposed", "wrapped"}) {
    const auto found = std::find_if(cases().begin(), cases().end(),
                                    [&](const auto& file) { return file.c.name == name; });
    REQUIRE(found != cases().end());
    const auto values = by_gsl(*found, hours_of(found->c), gsl_odeiv2_step_msbdf, 1e-10);
    const Gap gap =
        largest_gap(values, by_lanes()[static_cast<std::size_t>(found - cases().begin())]);
    INFO(name << ": " << gap.name);
    CHECK(gap.size < 1e-6);
  }
}

}  // namespace
}  // namespace serosa::simulate
