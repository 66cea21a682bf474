// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>

#include "physics/real/dual.hpp"
#include "physics/real/pack.hpp"

/// Elementary functions without branches, tables or the system's mathematical library, so that one
/// source gives the same bits for a plain number and for each lane of a pack, on every instruction
/// set, compiler and operating system. Errors, measured in tests/physics/real against 80-bit
/// arithmetic, are stated in units in the last place (ulp) of the result.
namespace serosa::physics {

namespace elementary {

SEROSA_INLINE std::uint64_t bits_of(double x) { return __builtin_bit_cast(std::uint64_t, x); }
SEROSA_INLINE double from_bits(std::uint64_t b) { return __builtin_bit_cast(double, b); }

// ln 2 in two parts; the first has 41 bits, so that its product with an exponent is exact.
inline constexpr double ln2_high = 0x1.62e42fefa3000p-1;
inline constexpr double ln2_low = 0x1.3de6af278ece6p-42;
inline constexpr double inverse_ln2 = 0x1.71547652b82fep+0;
// Adding this rounds to the nearest integer and leaves that integer in the low bits.
inline constexpr double round_to_integer = 0x1.8p52;

/// exp(x) = 2^exponent (1 + fraction); |fraction| < 0.42. Reduction after Cody and Waite (Software
/// Manual for the Elementary Functions, 1980, ch. 6).
struct Exponential {
  double fraction;
  double scale_one, scale_two;  ///< their product is 2^exponent, which alone may leave the range
};

SEROSA_INLINE Exponential exponential(double x) {
  const double shifted = x * inverse_ln2 + round_to_integer;
  const double exponent = shifted - round_to_integer;
  const double high = x - exponent * ln2_high;  // exact
  const double low = exponent * ln2_low;
  const double r = high - low;
  // (exp(r) - 1 - r) / r^2 on |r| <= ln2/2: interpolation at Chebyshev points, relative error of
  // exp below 0.2 * 2^-53 (tests/physics/real/coefficients.py).
  constexpr double c[] = {0x1.0000000000001p-1,  0x1.5555555555556p-3,  0x1.5555555553d4fp-5,
                          0x1.11111111109adp-7,  0x1.6c16c17893833p-10, 0x1.a01a01a7c8d47p-13,
                          0x1.a019b8ef67c6cp-16, 0x1.71de0d9c145d0p-19, 0x1.2891a8c1d838dp-22,
                          0x1.af38d53857513p-26};
  const double r2 = r * r, r4 = r2 * r2;
  const double q = ((c[0] + c[1] * r) + r2 * (c[2] + c[3] * r)) +
                   r4 * (((c[4] + c[5] * r) + r2 * (c[6] + c[7] * r)) + r4 * (c[8] + c[9] * r));
  // Logical shifts only: AVX2 has no arithmetic shift of 64-bit integers.
  const std::uint64_t biased = bits_of(shifted) - bits_of(round_to_integer) + 2048;
  const std::uint64_t half = biased >> 1;
  return {high + (r2 * q - low), from_bits((half - 1) << 52), from_bits((biased - half - 1) << 52)};
}

// Beyond these the exponential is infinite, or zero even as a subnormal number.
inline constexpr double exp_highest = 710.0, exp_lowest = -746.0;

SEROSA_INLINE double clamp(double x, double lowest, double highest) {
  const double not_above = x > highest ? highest : x;  // written so that NaN passes
  return not_above < lowest ? lowest : not_above;
}

SEROSA_INLINE double exp(double x) {
  const Exponential e = exponential(clamp(x, exp_lowest, exp_highest));
  return (1.0 + e.fraction) * e.scale_one * e.scale_two;
}

SEROSA_INLINE double expm1(double x) {
  // Below -40 the result is -1 to the last bit, and the scale 2^exponent stays a normal number.
  const Exponential e = exponential(clamp(x, -40.0, exp_highest));
  const double half_scale = 0.5 * e.scale_one * e.scale_two;  // 2^1024 itself has no double
  const double result = 2.0 * (half_scale * e.fraction + (half_scale - 0.5));
  return x == 0.0 ? x : result;
}

SEROSA_INLINE double log(double x) {
  constexpr double smallest_normal = std::numeric_limits<double>::min();
  const bool subnormal = x < smallest_normal;
  const double normal = subnormal ? x * 0x1p54 : x;
  // x = 2^exponent m with m in [sqrt(1/2), sqrt(2)).
  constexpr std::uint64_t sqrt_half = 0x3fe6a09e667f3bcd;
  constexpr std::uint64_t offset = std::uint64_t{1024} << 52;
  const std::uint64_t biased = (bits_of(normal) - sqrt_half + offset) >> 52;
  const double m = from_bits(bits_of(normal) - ((biased - 1024) << 52));
  const double exponent =
      from_bits(biased | bits_of(0x1p52)) - (0x1p52 + 1024.0) - (subnormal ? 54.0 : 0.0);
  // log(1 + f) = f - f^2/2 + s (f^2/2 + R), s = f / (2 + f); R from the series of the inverse
  // hyperbolic tangent, coefficients as above: relative error below 0.05 * 2^-53.
  constexpr double c[] = {0x1.5555555555558p-1, 0x1.99999999952abp-2, 0x1.2492492df7663p-2,
                          0x1.c71c62ddb431bp-3, 0x1.7462b6e311a89p-3, 0x1.39fe16ad885a7p-3,
                          0x1.2b5bd9a316a24p-3};
  const double f = m - 1.0;
  const double s = f / (2.0 + f);
  const double z = s * s, z2 = z * z;
  const double series = z * (((c[0] + c[1] * z) + z2 * (c[2] + c[3] * z)) +
                             (z2 * z2) * ((c[4] + c[5] * z) + z2 * c[6]));
  const double half_square = 0.5 * f * f;
  const double finite =
      exponent * ln2_high - ((half_square - (s * (half_square + series) + exponent * ln2_low)) - f);
  constexpr double infinity = std::numeric_limits<double>::infinity();
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  const double above_zero = x < infinity ? finite : x;  // infinity and NaN come back as they are
  const double from_zero = x == 0.0 ? -infinity : above_zero;
  return x < 0.0 ? nan : from_zero;
}

SEROSA_INLINE double log1p(double x) {
  const double u = 1.0 + x;
  const double lost = x - (u - 1.0);  // what the rounding of 1 + x took away
  const double corrected = log(u) + lost / u;
  const double large = u < std::numeric_limits<double>::infinity() ? corrected : u;
  const double not_at_end = u > 0.0 ? large : log(u);
  return u == 1.0 ? x : not_at_end;
}

SEROSA_INLINE double tanh(double x) {
  const double e = expm1(clamp(2.0 * x, -44.0, 44.0));
  return e / (e + 2.0);
}

SEROSA_INLINE double pow(double x, double y) {
  const double power = exp(y * log(x));
  return y == 0.0 ? 1.0 : power;
}

SEROSA_INLINE double cbrt(double x) {
  const double size = exp(log(std::fabs(x)) * (1.0 / 3.0));
  return x < 0.0 ? -size : size;
}

}  // namespace elementary

/// exp(x), error below 1 ulp; 0 below about -745.1, infinity above about 709.8, NaN stays NaN.
SEROSA_INLINE double exp(double x) { return elementary::exp(x); }
/// exp(x) - 1, error below 2 ulp, for small x too.
SEROSA_INLINE double expm1(double x) { return elementary::expm1(x); }
/// Natural logarithm, error below 1 ulp; log(0) is minus infinity, of a negative number NaN.
SEROSA_INLINE double log(double x) { return elementary::log(x); }
/// log(1 + x), error below 2 ulp, for small x too; NaN below -1.
SEROSA_INLINE double log1p(double x) { return elementary::log1p(x); }
/// Hyperbolic tangent, error below 3 ulp, for small x too.
SEROSA_INLINE double tanh(double x) { return elementary::tanh(x); }
/// x to the power y for x >= 0, as exp(y log x): relative error below (3 + 2 |y log x|) 2^-53.
/// pow(x, 0) is 1, pow(0, y) is 0 for y > 0; NaN for x < 0.
SEROSA_INLINE double pow(double x, double y) { return elementary::pow(x, y); }
/// Cube root, of negative numbers too, as exp(log(|x|) / 3): relative error as of pow.
SEROSA_INLINE double cbrt(double x) { return elementary::cbrt(x); }
/// Square root, correctly rounded.
SEROSA_INLINE double sqrt(double x) { return std::sqrt(x); }
SEROSA_INLINE double abs(double x) { return std::fabs(x); }
/// The smaller and the larger; when either is NaN, b.
SEROSA_INLINE double min(double a, double b) { return a < b ? a : b; }
SEROSA_INLINE double max(double a, double b) { return a > b ? a : b; }
SEROSA_INLINE bool isfinite(double x) {
  return std::fabs(x) < std::numeric_limits<double>::infinity();
}

#define SEROSA_LANEWISE(FUNCTION, ONE)                \
  template <int W>                                    \
  SEROSA_INLINE Pack<W> FUNCTION(const Pack<W>& x) {  \
    Pack<W> r;                                        \
    SEROSA_LANES                                      \
    for (int l = 0; l < W; ++l) r.v[l] = ONE(x.v[l]); \
    return r;                                         \
  }
SEROSA_LANEWISE(exp, elementary::exp)
SEROSA_LANEWISE(expm1, elementary::expm1)
SEROSA_LANEWISE(log, elementary::log)
SEROSA_LANEWISE(log1p, elementary::log1p)
SEROSA_LANEWISE(tanh, elementary::tanh)
SEROSA_LANEWISE(cbrt, elementary::cbrt)
SEROSA_LANEWISE(sqrt, std::sqrt)
SEROSA_LANEWISE(abs, std::fabs)
#undef SEROSA_LANEWISE

#define SEROSA_LANEWISE(FUNCTION, ONE)                                 \
  template <int W>                                                     \
  SEROSA_INLINE Pack<W> FUNCTION(const Pack<W>& a, const Pack<W>& b) { \
    Pack<W> r;                                                         \
    SEROSA_LANES                                                       \
    for (int l = 0; l < W; ++l) r.v[l] = ONE(a.v[l], b.v[l]);          \
    return r;                                                          \
  }                                                                    \
  template <int W>                                                     \
  SEROSA_INLINE Pack<W> FUNCTION(const Pack<W>& a, double b) {         \
    Pack<W> r;                                                         \
    SEROSA_LANES                                                       \
    for (int l = 0; l < W; ++l) r.v[l] = ONE(a.v[l], b);               \
    return r;                                                          \
  }                                                                    \
  template <int W>                                                     \
  SEROSA_INLINE Pack<W> FUNCTION(double a, const Pack<W>& b) {         \
    Pack<W> r;                                                         \
    SEROSA_LANES                                                       \
    for (int l = 0; l < W; ++l) r.v[l] = ONE(a, b.v[l]);               \
    return r;                                                          \
  }
SEROSA_LANEWISE(pow, elementary::pow)
SEROSA_LANEWISE(min, physics::min)
SEROSA_LANEWISE(max, physics::max)
#undef SEROSA_LANEWISE

template <int W>
SEROSA_INLINE Mask<W> isfinite(const Pack<W>& x) {
  return abs(x) < std::numeric_limits<double>::infinity();
}

#define SEROSA_DERIVED(FUNCTION, DERIVATIVE)         \
  template <int N>                                   \
  SEROSA_INLINE Dual<N> FUNCTION(const Dual<N>& x) { \
    const double f = FUNCTION(x.value);              \
    return Dual<N>::chain(x, f, DERIVATIVE);         \
  }
SEROSA_DERIVED(exp, f)
SEROSA_DERIVED(expm1, f + 1.0)
SEROSA_DERIVED(log, 1.0 / x.value)
SEROSA_DERIVED(log1p, 1.0 / (1.0 + x.value))
SEROSA_DERIVED(tanh, (1.0 - f) * (1.0 + f))
SEROSA_DERIVED(cbrt, 1.0 / (3.0 * f * f))
SEROSA_DERIVED(sqrt, 0.5 / f)
SEROSA_DERIVED(abs, x.value < 0.0 ? -1.0 : 1.0)
#undef SEROSA_DERIVED

template <int N>
SEROSA_INLINE Dual<N> pow(const Dual<N>& x, double y) {
  return Dual<N>::chain(x, pow(x.value, y), y * pow(x.value, y - 1.0));
}
template <int N>
SEROSA_INLINE Dual<N> pow(double x, const Dual<N>& y) {
  const double f = pow(x, y.value);
  return Dual<N>::chain(y, f, f * log(x));
}
template <int N>
SEROSA_INLINE Dual<N> pow(const Dual<N>& x, const Dual<N>& y) {
  const double f = pow(x.value, y.value);
  return Dual<N>::combine(x, y, f, y.value * pow(x.value, y.value - 1.0), f * log(x.value));
}
template <int N>
SEROSA_INLINE Dual<N> min(const Dual<N>& a, const Dual<N>& b) {
  return a.value < b.value ? a : b;
}
template <int N>
SEROSA_INLINE Dual<N> max(const Dual<N>& a, const Dual<N>& b) {
  return a.value > b.value ? a : b;
}
template <int N>
SEROSA_INLINE Dual<N> min(const Dual<N>& a, double b) {
  return a.value < b ? a : Dual<N>(b);
}
template <int N>
SEROSA_INLINE Dual<N> max(const Dual<N>& a, double b) {
  return a.value > b ? a : Dual<N>(b);
}
template <int N>
SEROSA_INLINE Dual<N> min(double a, const Dual<N>& b) {
  return a < b.value ? Dual<N>(a) : b;
}
template <int N>
SEROSA_INLINE Dual<N> max(double a, const Dual<N>& b) {
  return a > b.value ? Dual<N>(a) : b;
}
/// Finite in value and in every slope.
template <int N>
SEROSA_INLINE bool isfinite(const Dual<N>& x) {
  bool finite = isfinite(x.value);
  for (std::size_t n = 0; n < N; ++n) finite = finite && isfinite(x.slope[n]);
  return finite;
}

}  // namespace serosa::physics
