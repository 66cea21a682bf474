// SPDX-License-Identifier: Apache-2.0
// Distribution functions and their inverses, by the library's own elementary functions, so that
// what is drawn is the same to the bit on every machine. Errors were measured against the system's
// mathematical library in tests/study/test_probability.cpp.
#pragma once

namespace serosa::study {

/// Of the standard normal law; relative error below 1e-12 down to x = -37, 0 below. Taylor series
/// within 3, the continued fraction beyond (Abramowitz and Stegun, Handbook of Mathematical
/// Functions, 1964, 26.2.11 and 26.2.14).
double normal_cdf(double x);

/// Inverse of `normal_cdf`; relative error about 1e-15. −infinity at 0, infinity at 1, NaN outside.
/// Wichura, Algorithm AS 241, Applied Statistics 37 (1988) 477, PPND16.
double normal_quantile(double p);

/// Logarithm of the gamma function, x > 0; relative error of gamma about 1e-14 (Lanczos, SIAM
/// Journal on Numerical Analysis 1 (1964) 86, with nine coefficients, from memory).
double log_gamma(double x);

/// The regularised incomplete beta function I_x(a, b), a and b > 0, 0 <= x <= 1: the continued
/// fraction of Abramowitz and Stegun 26.5.8, evaluated by Lentz's method.
double incomplete_beta(double x, double a, double b);

/// Inverse of `incomplete_beta` in x.
double beta_quantile(double p, double a, double b);

/// Inverse of Student's distribution function with `freedom` degrees of freedom (Abramowitz and
/// Stegun 26.7.1).
double student_quantile(double p, double freedom);

/// Probability of at most `k` successes in `n` trials (Abramowitz and Stegun 26.5.24).
double binomial_cdf(double k, double n, double p);

}  // namespace serosa::study
