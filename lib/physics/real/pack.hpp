// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstdint>

#include "physics/real/inline.hpp"

namespace serosa::physics {

/// W truth values, one per lane, as wide as the numbers they choose between.
template <int W>
struct alignas(sizeof(double) * W) Mask {
  static_assert(W > 0 && (W & (W - 1)) == 0, "the lanes fill whole vector registers");
  std::int64_t v[W];  ///< -1 true, 0 false

  Mask() = default;
  SEROSA_INLINE Mask(bool all) {
    SEROSA_LANES
    for (int l = 0; l < W; ++l) v[l] = all ? -1 : 0;
  }
  SEROSA_INLINE bool operator[](int lane) const { return v[lane] != 0; }
  SEROSA_INLINE void set(int lane, bool value) { v[lane] = value ? -1 : 0; }

  friend SEROSA_INLINE Mask operator&&(const Mask& a, const Mask& b) {
    Mask r;
    SEROSA_LANES
    for (int l = 0; l < W; ++l) r.v[l] = a.v[l] & b.v[l];
    return r;
  }
  friend SEROSA_INLINE Mask operator||(const Mask& a, const Mask& b) {
    Mask r;
    SEROSA_LANES
    for (int l = 0; l < W; ++l) r.v[l] = a.v[l] | b.v[l];
    return r;
  }
  friend SEROSA_INLINE Mask operator!(const Mask& a) {
    Mask r;
    SEROSA_LANES
    for (int l = 0; l < W; ++l) r.v[l] = ~a.v[l];
    return r;
  }
};

/// W numbers that are computed side by side, lane by lane, none looking at another. Arithmetic with
/// plain numbers broadcasts them. Its alignment is the same on every instruction set.
template <int W>
struct alignas(sizeof(double) * W) Pack {
  static_assert(W > 0 && (W & (W - 1)) == 0, "the lanes fill whole vector registers");
  double v[W];

  Pack() = default;
  SEROSA_INLINE Pack(double all) {
    SEROSA_LANES
    for (int l = 0; l < W; ++l) v[l] = all;
  }
  SEROSA_INLINE double operator[](int lane) const { return v[lane]; }
  SEROSA_INLINE double& operator[](int lane) { return v[lane]; }

#define SEROSA_ARITHMETIC(OP)                                                      \
  friend SEROSA_INLINE Pack operator OP(const Pack& a, const Pack& b) {            \
    Pack r;                                                                        \
    SEROSA_LANES                                                                   \
    for (int l = 0; l < W; ++l) r.v[l] = a.v[l] OP b.v[l];                         \
    return r;                                                                      \
  }                                                                                \
  friend SEROSA_INLINE Pack operator OP(const Pack& a, double b) {                 \
    Pack r;                                                                        \
    SEROSA_LANES                                                                   \
    for (int l = 0; l < W; ++l) r.v[l] = a.v[l] OP b;                              \
    return r;                                                                      \
  }                                                                                \
  friend SEROSA_INLINE Pack operator OP(double a, const Pack& b) {                 \
    Pack r;                                                                        \
    SEROSA_LANES                                                                   \
    for (int l = 0; l < W; ++l) r.v[l] = a OP b.v[l];                              \
    return r;                                                                      \
  }                                                                                \
  SEROSA_INLINE Pack& operator OP##=(const Pack& b) { return *this = *this OP b; } \
  SEROSA_INLINE Pack& operator OP##=(double b) { return *this = *this OP b; }
  SEROSA_ARITHMETIC(+)
  SEROSA_ARITHMETIC(-)
  SEROSA_ARITHMETIC(*)
  SEROSA_ARITHMETIC(/)
#undef SEROSA_ARITHMETIC

#define SEROSA_COMPARISON(OP)                                              \
  friend SEROSA_INLINE Mask<W> operator OP(const Pack& a, const Pack& b) { \
    Mask<W> r;                                                             \
    SEROSA_LANES                                                           \
    for (int l = 0; l < W; ++l) r.v[l] = a.v[l] OP b.v[l] ? -1 : 0;        \
    return r;                                                              \
  }                                                                        \
  friend SEROSA_INLINE Mask<W> operator OP(const Pack& a, double b) {      \
    Mask<W> r;                                                             \
    SEROSA_LANES                                                           \
    for (int l = 0; l < W; ++l) r.v[l] = a.v[l] OP b ? -1 : 0;             \
    return r;                                                              \
  }                                                                        \
  friend SEROSA_INLINE Mask<W> operator OP(double a, const Pack& b) {      \
    Mask<W> r;                                                             \
    SEROSA_LANES                                                           \
    for (int l = 0; l < W; ++l) r.v[l] = a OP b.v[l] ? -1 : 0;             \
    return r;                                                              \
  }
  SEROSA_COMPARISON(<)
  SEROSA_COMPARISON(<=)
  SEROSA_COMPARISON(>)
  SEROSA_COMPARISON(>=)
  SEROSA_COMPARISON(==)
  SEROSA_COMPARISON(!=)
#undef SEROSA_COMPARISON

  friend SEROSA_INLINE Pack operator+(const Pack& a) { return a; }
  friend SEROSA_INLINE Pack operator-(const Pack& a) {
    Pack r;
    SEROSA_LANES
    for (int l = 0; l < W; ++l) r.v[l] = -a.v[l];
    return r;
  }
};

/// Lane by lane: `a` where the mask is true, `b` elsewhere. Both are computed always.
template <int W>
SEROSA_INLINE Pack<W> select(const Mask<W>& mask, const Pack<W>& a, const Pack<W>& b) {
  Pack<W> r;
  SEROSA_LANES
  for (int l = 0; l < W; ++l) r.v[l] = mask.v[l] ? a.v[l] : b.v[l];
  return r;
}
template <int W>
SEROSA_INLINE Pack<W> select(const Mask<W>& mask, const Pack<W>& a, double b) {
  return select(mask, a, Pack<W>(b));
}
template <int W>
SEROSA_INLINE Pack<W> select(const Mask<W>& mask, double a, const Pack<W>& b) {
  return select(mask, Pack<W>(a), b);
}
template <int W>
SEROSA_INLINE Pack<W> select(const Mask<W>& mask, double a, double b) {
  return select(mask, Pack<W>(a), Pack<W>(b));
}
/// One choice for all lanes.
template <int W>
SEROSA_INLINE Pack<W> select(bool mask, const Pack<W>& a, const Pack<W>& b) {
  return mask ? a : b;
}
SEROSA_INLINE double select(bool mask, double a, double b) { return mask ? a : b; }

/// Whether any, or every, lane is true.
template <int W>
SEROSA_INLINE bool any(const Mask<W>& mask) {
  std::int64_t bits = 0;
  for (int l = 0; l < W; ++l) bits |= mask.v[l];
  return bits != 0;
}
template <int W>
SEROSA_INLINE bool all(const Mask<W>& mask) {
  std::int64_t bits = -1;
  for (int l = 0; l < W; ++l) bits &= mask.v[l];
  return bits != 0;
}
SEROSA_INLINE bool any(bool mask) { return mask; }
SEROSA_INLINE bool all(bool mask) { return mask; }

}  // namespace serosa::physics
