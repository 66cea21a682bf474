// SPDX-License-Identifier: Apache-2.0
// A number type that counts what is done with it: include it before the headers of the model, so
// that their templates see its functions.
#pragma once
#include <array>
#include <cmath>
#include <cstddef>

#include "physics/real/real.hpp"

namespace serosa::physics {

/// Kinds of operation, counted apart: `sum` additions and subtractions, `choice` comparisons,
/// selections, minima and maxima.
enum class Operation : std::size_t {
  sum,
  product,
  division,
  root,
  exp,
  log,
  pow,
  cbrt,
  tanh,
  choice,
  count
};

/// How often each was done. `fixed`: with operands that all stay the same between two acts.
struct Count {
  std::array<long, static_cast<std::size_t>(Operation::count)> moving{}, fixed{};
  long of(Operation o) const {
    const auto i = static_cast<std::size_t>(o);
    return moving[i] + fixed[i];
  }
};
inline Count counted;

/// A number, and whether it stays the same between two acts.
struct Counted {
  double value = 0.0;
  bool fixed = true;
  Counted() = default;
  Counted(double v) : value(v) {}
  Counted(double v, bool f) : value(v), fixed(f) {}
};

inline Counted note(Operation o, double value, bool fixed) {
  ++(fixed ? counted.fixed : counted.moving)[static_cast<std::size_t>(o)];
  return {value, fixed};
}

#define SEROSA_ARITHMETIC(OP, KIND)                                       \
  inline Counted operator OP(const Counted& a, const Counted& b) {        \
    return note(Operation::KIND, a.value OP b.value, a.fixed && b.fixed); \
  }                                                                       \
  inline Counted operator OP(const Counted& a, double b) {                \
    return note(Operation::KIND, a.value OP b, a.fixed);                  \
  }                                                                       \
  inline Counted operator OP(double a, const Counted& b) {                \
    return note(Operation::KIND, a OP b.value, b.fixed);                  \
  }                                                                       \
  inline Counted& operator OP##=(Counted& a, const Counted& b) { return a = a OP b; }
SEROSA_ARITHMETIC(+, sum)
SEROSA_ARITHMETIC(-, sum)
SEROSA_ARITHMETIC(*, product)
SEROSA_ARITHMETIC(/, division)
#undef SEROSA_ARITHMETIC
inline Counted operator-(const Counted& a) { return {-a.value, a.fixed}; }

#define SEROSA_COMPARISON(OP)                                   \
  inline bool operator OP(const Counted& a, const Counted& b) { \
    note(Operation::choice, 0.0, a.fixed&& b.fixed);            \
    return a.value OP b.value;                                  \
  }                                                             \
  inline bool operator OP(const Counted& a, double b) {         \
    note(Operation::choice, 0.0, a.fixed);                      \
    return a.value OP b;                                        \
  }                                                             \
  inline bool operator OP(double a, const Counted& b) {         \
    note(Operation::choice, 0.0, b.fixed);                      \
    return a OP b.value;                                        \
  }
SEROSA_COMPARISON(<)
SEROSA_COMPARISON(<=)
SEROSA_COMPARISON(>)
SEROSA_COMPARISON(>=)
#undef SEROSA_COMPARISON

inline Counted select(bool mask, const Counted& a, const Counted& b) {
  note(Operation::choice, 0.0, a.fixed && b.fixed);
  return {mask ? a.value : b.value, a.fixed && b.fixed};
}

template <>
struct RealTraits<Counted> {
  static constexpr int lanes = 1;
  using Scalar = Counted;
  using Condition = bool;
};

#define SEROSA_FUNCTION(NAME, KIND) \
  inline Counted NAME(const Counted& x) { return note(Operation::KIND, NAME(x.value), x.fixed); }
SEROSA_FUNCTION(exp, exp)
SEROSA_FUNCTION(log, log)
SEROSA_FUNCTION(sqrt, root)
SEROSA_FUNCTION(cbrt, cbrt)
SEROSA_FUNCTION(tanh, tanh)
#undef SEROSA_FUNCTION
inline Counted abs(const Counted& x) { return {std::fabs(x.value), x.fixed}; }
inline Counted pow(const Counted& x, double y) {
  return note(Operation::pow, pow(x.value, y), x.fixed);
}
inline Counted min(const Counted& a, const Counted& b) {
  return note(Operation::choice, min(a.value, b.value), a.fixed && b.fixed);
}
inline Counted max(const Counted& a, const Counted& b) {
  return note(Operation::choice, max(a.value, b.value), a.fixed && b.fixed);
}
inline double value_of(const Counted& x, int) { return x.value; }

}  // namespace serosa::physics
