// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>

#include "physics/real/inline.hpp"

namespace serosa::physics {

/// A value with its derivatives along N directions, carried forward by the rules of
/// differentiation. Comparisons and choices look at the value alone.
template <int N>
struct Dual {
  double value = 0.0;
  std::array<double, N> slope{};

  Dual() = default;
  SEROSA_INLINE Dual(double constant) : value(constant) {}
  SEROSA_INLINE Dual(double v, const std::array<double, N>& s) : value(v), slope(s) {}
  /// The independent variable of one direction: slope 1 there, 0 elsewhere.
  static SEROSA_INLINE Dual variable(double v, int direction) {
    Dual r(v);
    r.slope[static_cast<std::size_t>(direction)] = 1.0;
    return r;
  }

  friend SEROSA_INLINE Dual operator+(const Dual& a) { return a; }
  friend SEROSA_INLINE Dual operator-(const Dual& a) { return chain(a, -a.value, -1.0); }
  friend SEROSA_INLINE Dual operator+(const Dual& a, const Dual& b) {
    return combine(a, b, a.value + b.value, 1.0, 1.0);
  }
  friend SEROSA_INLINE Dual operator-(const Dual& a, const Dual& b) {
    return combine(a, b, a.value - b.value, 1.0, -1.0);
  }
  friend SEROSA_INLINE Dual operator*(const Dual& a, const Dual& b) {
    return combine(a, b, a.value * b.value, b.value, a.value);
  }
  friend SEROSA_INLINE Dual operator/(const Dual& a, const Dual& b) {
    const double quotient = a.value / b.value;
    return combine(a, b, quotient, 1.0 / b.value, -quotient / b.value);
  }
  friend SEROSA_INLINE Dual operator+(const Dual& a, double b) { return {a.value + b, a.slope}; }
  friend SEROSA_INLINE Dual operator+(double a, const Dual& b) { return {a + b.value, b.slope}; }
  friend SEROSA_INLINE Dual operator-(const Dual& a, double b) { return {a.value - b, a.slope}; }
  friend SEROSA_INLINE Dual operator-(double a, const Dual& b) {
    return chain(b, a - b.value, -1.0);
  }
  friend SEROSA_INLINE Dual operator*(const Dual& a, double b) { return chain(a, a.value * b, b); }
  friend SEROSA_INLINE Dual operator*(double a, const Dual& b) { return chain(b, a * b.value, a); }
  friend SEROSA_INLINE Dual operator/(const Dual& a, double b) {
    return chain(a, a.value / b, 1.0 / b);
  }
  friend SEROSA_INLINE Dual operator/(double a, const Dual& b) {
    const double quotient = a / b.value;
    return chain(b, quotient, -quotient / b.value);
  }
  SEROSA_INLINE Dual& operator+=(const Dual& b) { return *this = *this + b; }
  SEROSA_INLINE Dual& operator-=(const Dual& b) { return *this = *this - b; }
  SEROSA_INLINE Dual& operator*=(const Dual& b) { return *this = *this * b; }
  SEROSA_INLINE Dual& operator/=(const Dual& b) { return *this = *this / b; }

#define SEROSA_COMPARISON(OP)                                                             \
  friend SEROSA_INLINE bool operator OP(const Dual& a, const Dual& b) {                   \
    return a.value OP b.value;                                                            \
  }                                                                                       \
  friend SEROSA_INLINE bool operator OP(const Dual& a, double b) { return a.value OP b; } \
  friend SEROSA_INLINE bool operator OP(double a, const Dual& b) { return a OP b.value; }
  SEROSA_COMPARISON(<)
  SEROSA_COMPARISON(<=)
  SEROSA_COMPARISON(>)
  SEROSA_COMPARISON(>=)
  SEROSA_COMPARISON(==)
  SEROSA_COMPARISON(!=)
#undef SEROSA_COMPARISON

  /// f(a) with `derivative` = f'(a).
  static SEROSA_INLINE Dual chain(const Dual& a, double f, double derivative) {
    Dual r(f);
    for (std::size_t n = 0; n < N; ++n) r.slope[n] = derivative * a.slope[n];
    return r;
  }
  /// f(a, b) with both partial derivatives.
  static SEROSA_INLINE Dual combine(const Dual& a, const Dual& b, double f, double by_a,
                                    double by_b) {
    Dual r(f);
    for (std::size_t n = 0; n < N; ++n) r.slope[n] = by_a * a.slope[n] + by_b * b.slope[n];
    return r;
  }
};

template <int N>
SEROSA_INLINE Dual<N> select(bool mask, const Dual<N>& a, const Dual<N>& b) {
  return mask ? a : b;
}
template <int N>
SEROSA_INLINE Dual<N> select(bool mask, const Dual<N>& a, double b) {
  return mask ? a : Dual<N>(b);
}
template <int N>
SEROSA_INLINE Dual<N> select(bool mask, double a, const Dual<N>& b) {
  return mask ? Dual<N>(a) : b;
}

}  // namespace serosa::physics
