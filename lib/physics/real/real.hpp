// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <concepts>
#include <cstddef>

#include "physics/real/dual.hpp"
#include "physics/real/elementary.hpp"
#include "physics/real/pack.hpp"

/// The number types the model is written for: a plain `double`, a `Pack<W>` of runs side by side,
/// a `Dual<N>` that carries derivatives. A formula takes them all when it is written on a type
/// `Real`, decides by `select(condition, a, b)` instead of `if`, and calls exp, log, pow, sqrt,
/// cbrt, tanh, expm1, log1p, abs, min and max of this namespace.
namespace serosa::physics {

template <class R>
struct RealTraits;
template <>
struct RealTraits<double> {
  static constexpr int lanes = 1;
  using Scalar = double;
  using Condition = bool;
};
template <int W>
struct RealTraits<Pack<W>> {
  static constexpr int lanes = W;
  using Scalar = double;
  using Condition = Mask<W>;
};
template <int N>
struct RealTraits<Dual<N>> {
  static constexpr int lanes = 1;
  using Scalar = Dual<N>;
  using Condition = bool;
};

/// Number of runs that one number of this type holds.
template <class R>
inline constexpr int lanes = RealTraits<R>::lanes;
/// What one lane holds: `double`, or the dual number itself.
template <class R>
using Scalar = typename RealTraits<R>::Scalar;
/// What a comparison gives: `bool`, or a mask with one truth value per lane.
template <class R>
using ConditionOf = typename RealTraits<R>::Condition;

template <class R>
concept Real = requires(R a, R b, double c) {
  RealTraits<R>::lanes;
  R(c);
  { a + b } -> std::same_as<R>;
  { a - c } -> std::same_as<R>;
  { c* a } -> std::same_as<R>;
  { a / b } -> std::same_as<R>;
  { -a } -> std::same_as<R>;
  { a < b } -> std::same_as<ConditionOf<R>>;
  { select(a < c, a, b) } -> std::same_as<R>;
  { exp(a) } -> std::same_as<R>;
  { log(a) } -> std::same_as<R>;
  { pow(a, c) } -> std::same_as<R>;
  { sqrt(a) } -> std::same_as<R>;
};

/// The plain value in one lane.
SEROSA_INLINE double value_of(double x, int = 0) { return x; }
template <int W>
SEROSA_INLINE double value_of(const Pack<W>& x, int lane) {
  return x.v[lane];
}
template <int N>
SEROSA_INLINE double value_of(const Dual<N>& x, int = 0) {
  return x.value;
}

/// One lane with all it carries, derivatives included.
SEROSA_INLINE double lane_of(double x, int) { return x; }
template <int W>
SEROSA_INLINE double lane_of(const Pack<W>& x, int lane) {
  return x.v[lane];
}
template <int N>
SEROSA_INLINE Dual<N> lane_of(const Dual<N>& x, int) {
  return x;
}

/// Replaces one lane; the others keep their bits.
SEROSA_INLINE void set_lane(double& x, int, double value) { x = value; }
template <int W>
SEROSA_INLINE void set_lane(Pack<W>& x, int lane, double value) {
  x.v[lane] = value;
}
template <int N>
SEROSA_INLINE void set_lane(Dual<N>& x, int, const Dual<N>& value) {
  x = value;
}

/// One lane of a condition.
SEROSA_INLINE bool lane_of(bool condition, int) { return condition; }
template <int W>
SEROSA_INLINE bool lane_of(const Mask<W>& condition, int lane) {
  return condition[lane];
}
SEROSA_INLINE void set_lane(bool& condition, int, bool value) { condition = value; }
template <int W>
SEROSA_INLINE void set_lane(Mask<W>& condition, int lane, bool value) {
  condition.set(lane, value);
}

/// The same number in every lane, without derivatives.
template <class R>
SEROSA_INLINE R broadcast(double value) {
  return R(value);
}

/// One over each of n numbers, at the price of one division and three multiplications a number
/// (a division costs as much as a dozen of these): the inverse of the product, times the product of
/// all others. Within n + 2 roundings; the product must not leave the range of doubles.
template <class R, class... More>
SEROSA_INLINE std::array<R, 1 + sizeof...(More)> inverses(const R& first, const More&... more) {
  constexpr std::size_t n = 1 + sizeof...(More);
  const std::array<R, n> of{first, more...};
  std::array<R, n> before{};  // product of all before this one
  before[0] = R(1.0);
  for (std::size_t i = 1; i < n; ++i) before[i] = i == 1 ? of[0] : before[i - 1] * of[i - 1];
  R rest = 1.0 / (n == 1 ? of[0] : before[n - 1] * of[n - 1]);
  std::array<R, n> result{};
  for (std::size_t i = n - 1; i > 0; --i) {
    result[i] = rest * before[i];
    rest = rest * of[i];
  }
  result[0] = rest;
  return result;
}

}  // namespace serosa::physics
