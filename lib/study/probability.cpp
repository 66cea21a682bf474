// SPDX-License-Identifier: Apache-2.0
#include "study/probability.hpp"

#include <cmath>
#include <limits>

#include "physics/real/real.hpp"

namespace serosa::study {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double root_two_pi = 2.5066282746310005024;

double density(double x) { return physics::exp(-0.5 * x * x) / root_two_pi; }

/// Probability above x, x >= 3.
double upper_tail(double x) {
  double fraction = x;
  for (int k = 80; k > 0; --k) fraction = x + k / fraction;
  return density(x) / fraction;
}

template <int N>
double polynomial(const double (&c)[N], double x) {
  double sum = c[N - 1];
  for (int i = N - 2; i >= 0; --i) sum = sum * x + c[i];
  return sum;
}

}  // namespace

double normal_cdf(double x) {
  if (std::isnan(x)) return nan;
  if (x <= -3) return x < -37.5 ? 0.0 : upper_tail(-x);
  if (x >= 3) return x > 37.5 ? 1.0 : 1.0 - upper_tail(x);
  double term = x, sum = x;
  for (double k = 3; std::abs(term) > 1e-18 * std::abs(sum); k += 2) {
    term *= x * x / k;
    sum += term;
  }
  return 0.5 + density(x) * sum;
}

double normal_quantile(double p) {
  if (!(p >= 0 && p <= 1)) return nan;
  if (p == 0) return -infinity;
  if (p == 1) return infinity;
  static constexpr double a[] = {3.3871328727963666080e0,  1.3314166789178437745e+2,
                                 1.9715909503065514427e+3, 1.3731693765509461125e+4,
                                 4.5921953931549871457e+4, 6.7265770927008700853e+4,
                                 3.3430575583588128105e+4, 2.5090809287301226727e+3};
  static constexpr double b[] = {1.0,
                                 4.2313330701600911252e+1,
                                 6.8718700749205790830e+2,
                                 5.3941960214247511077e+3,
                                 2.1213794301586595867e+4,
                                 3.9307895800092710610e+4,
                                 2.8729085735721942674e+4,
                                 5.2264952788528545610e+3};
  static constexpr double c[] = {1.42343711074968357734e0,  4.63033784615654529590e0,
                                 5.76949722146069140550e0,  3.64784832476320460504e0,
                                 1.27045825245236838258e0,  2.41780725177450611770e-1,
                                 2.27238449892691845833e-2, 7.74545014278341407640e-4};
  static constexpr double d[] = {1.0,
                                 2.05319162663775882187e0,
                                 1.67638483018380384940e0,
                                 6.89767334985100004550e-1,
                                 1.48103976427480074590e-1,
                                 1.51986665636164571966e-2,
                                 5.47593808499534494600e-4,
                                 1.05075007164441684324e-9};
  static constexpr double e[] = {6.65790464350110377720e0,  5.46378491116411436990e0,
                                 1.78482653991729133580e0,  2.96560571828504891230e-1,
                                 2.65321895265761230930e-2, 1.24266094738807843860e-3,
                                 2.71155556874348757815e-5, 2.01033439929228813265e-7};
  static constexpr double f[] = {1.0,
                                 5.99832206555887937690e-1,
                                 1.36929880922735805310e-1,
                                 1.48753612908506148525e-2,
                                 7.86869131145613259100e-4,
                                 1.84631831751005468180e-5,
                                 1.42151175831644588870e-7,
                                 2.04426310338993978564e-15};
  const double q = p - 0.5;
  if (std::abs(q) <= 0.425) {
    const double r = 0.180625 - q * q;
    return q * polynomial(a, r) / polynomial(b, r);
  }
  const double r = physics::sqrt(-physics::log(q < 0 ? p : 1 - p));
  const double x = r <= 5 ? polynomial(c, r - 1.6) / polynomial(d, r - 1.6)
                          : polynomial(e, r - 5) / polynomial(f, r - 5);
  return q < 0 ? -x : x;
}

double log_gamma(double x) {
  static constexpr double c[] = {676.5203681218851,     -1259.1392167224028,  771.32342877765313,
                                 -176.61502916214059,   12.507343278686905,   -0.13857109526572012,
                                 9.9843695780195716e-6, 1.5056327351493116e-7};
  double sum = 0.99999999999980993;
  for (int i = 0; i < 8; ++i) sum += c[i] / (x + i);
  const double t = x + 6.5;
  return (x - 0.5) * physics::log(t) - t + physics::log(root_two_pi * sum);
}

double incomplete_beta(double x, double a, double b) {
  if (!(x > 0)) return x == 0 ? 0.0 : nan;
  if (x >= 1) return x == 1 ? 1.0 : nan;
  // The fraction converges fast on this side of the mean.
  if (x > (a + 1) / (a + b + 2)) return 1.0 - incomplete_beta(1 - x, b, a);
  const double front = physics::exp(a * physics::log(x) + b * physics::log1p(-x) +
                                    log_gamma(a + b) - log_gamma(a) - log_gamma(b)) /
                       a;
  constexpr double tiny = 1e-300;
  const auto nonzero = [](double y) { return std::abs(y) < tiny ? tiny : y; };
  double d = 1 / nonzero(1 - (a + b) * x / (a + 1)), c = 1, fraction = d;
  const auto take = [&](double term) {
    d = 1 / nonzero(1 + term * d);
    c = nonzero(1 + term / c);
    fraction *= d * c;
    return d * c;
  };
  for (double m = 1; m < 100000; ++m) {
    take(m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)));
    const double change = take(-(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)));
    if (std::abs(change - 1) < 1e-16) break;
  }
  return front * fraction;
}

double beta_quantile(double p, double a, double b) {
  if (!(p >= 0 && p <= 1)) return nan;
  if (p == 0 || p == 1) return p;
  const double norm = log_gamma(a + b) - log_gamma(a) - log_gamma(b);
  double low = 0, high = 1, x = a / (a + b);
  // Newton's steps, halved where they would leave the bracket.
  for (int i = 0; i < 200; ++i) {
    const double error = incomplete_beta(x, a, b) - p;
    (error > 0 ? high : low) = x;
    const double slope =
        physics::exp(norm + (a - 1) * physics::log(x) + (b - 1) * physics::log1p(-x));
    double next = x - error / slope;
    if (!(next > low && next < high)) next = low + 0.5 * (high - low);
    if (std::abs(next - x) <= 1e-15 * x) return next;
    x = next;
  }
  return x;
}

double student_quantile(double p, double freedom) {
  if (!(p > 0 && p < 1)) return nan;
  if (p < 0.5) return -student_quantile(1 - p, freedom);
  // t^2 / (t^2 + freedom) has a beta law.
  const double y = beta_quantile(2 * p - 1, 0.5, 0.5 * freedom);
  return physics::sqrt(freedom * y / (1 - y));
}

double binomial_cdf(double k, double n, double p) {
  if (k < 0) return 0;
  if (k >= n) return 1;
  return incomplete_beta(1 - p, n - k, k + 1);
}

}  // namespace serosa::study
