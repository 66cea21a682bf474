// SPDX-License-Identifier: Apache-2.0
// A number type that writes down what is done with it, as lines of Python: include it before the
// headers of the model, so that their templates see its functions.
#pragma once
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "physics/real/real.hpp"

namespace serosa::physics {

/// One line `v = text` and the variables it reads.
struct Line {
  std::string text;
  std::vector<long> reads;
};
inline std::vector<Line> lines;

/// A constant, an input with a name, or the result of a line.
struct Written {
  double value = 0.0;
  std::string name;  ///< of an input
  long line = -1;
  Written() = default;
  Written(double v) : value(v) {}
  static Written input(const std::string& name) {
    Written w;
    w.name = name;
    return w;
  }
  bool constant() const { return name.empty() && line < 0; }
};

struct WrittenCondition {
  std::string text;
  std::vector<long> reads;
  bool constant, value;
  WrittenCondition(bool v) : text(v ? "True" : "False"), constant(true), value(v) {}
  WrittenCondition(std::string t, std::vector<long> r)
      : text(std::move(t)), reads(std::move(r)), constant(false), value(false) {}
};

inline std::string text_of(const Written& w) {
  if (!w.name.empty()) return w.name;
  if (w.line >= 0) return "v" + std::to_string(w.line);
  std::ostringstream out;
  out.precision(17);
  out << w.value;
  const std::string text = out.str();
  return w.value < 0 ? "(" + text + ")" : text;
}
inline void reads_of(const Written& w, std::vector<long>& reads) {
  if (w.line >= 0) reads.push_back(w.line);
}
inline Written write(std::string text, std::vector<long> reads) {
  Written w;
  w.line = static_cast<long>(lines.size());
  lines.push_back({std::move(text), std::move(reads)});
  return w;
}
inline Written write(const Written& a, const char* op, const Written& b) {
  std::vector<long> reads;
  reads_of(a, reads);
  reads_of(b, reads);
  return write(text_of(a) + op + text_of(b), reads);
}
inline Written call(const std::string& function, const Written& x) {
  std::vector<long> reads;
  reads_of(x, reads);
  return write(function + "(" + text_of(x) + ")", reads);
}

#define SEROSA_ARITHMETIC(OP)                                                        \
  inline Written operator OP(const Written& a, const Written& b) {                   \
    if (a.constant() && b.constant()) return Written(a.value OP b.value);            \
    return write(a, #OP, b);                                                         \
  }                                                                                  \
  inline Written operator OP(const Written& a, double b) { return a OP Written(b); } \
  inline Written operator OP(double a, const Written& b) { return Written(a) OP b; } \
  inline Written& operator OP##=(Written& a, const Written& b) { return a = a OP b; }
SEROSA_ARITHMETIC(+)
SEROSA_ARITHMETIC(-)
SEROSA_ARITHMETIC(*)
#undef SEROSA_ARITHMETIC
/// Python refuses to divide by zero where IEEE 754 gives an infinity that a choice leaves out.
inline Written operator/(const Written& a, const Written& b) {
  if (a.constant() && b.constant()) return Written(a.value / b.value);
  if (b.constant()) return write(a, "/", b);
  std::vector<long> reads;
  reads_of(a, reads);
  reads_of(b, reads);
  const std::string x = text_of(a), y = text_of(b);
  return write(x + "/" + y + " if " + y + " else " + x + "*inf", reads);
}
inline Written operator/(const Written& a, double b) { return a / Written(b); }
inline Written operator/(double a, const Written& b) { return Written(a) / b; }
inline Written& operator/=(Written& a, const Written& b) { return a = a / b; }
inline Written operator-(const Written& a) {
  return a.constant() ? Written(-a.value) : call("-", a);
}

#define SEROSA_COMPARISON(OP)                                                                 \
  inline WrittenCondition operator OP(const Written& a, const Written& b) {                   \
    if (a.constant() && b.constant()) return WrittenCondition(a.value OP b.value);            \
    std::vector<long> reads;                                                                  \
    reads_of(a, reads);                                                                       \
    reads_of(b, reads);                                                                       \
    return {"(" + text_of(a) + #OP + text_of(b) + ")", reads};                                \
  }                                                                                           \
  inline WrittenCondition operator OP(const Written& a, double b) { return a OP Written(b); } \
  inline WrittenCondition operator OP(double a, const Written& b) { return Written(a) OP b; }
SEROSA_COMPARISON(<)
SEROSA_COMPARISON(<=)
SEROSA_COMPARISON(>)
SEROSA_COMPARISON(>=)
#undef SEROSA_COMPARISON

inline Written select(const WrittenCondition& mask, const Written& a, const Written& b) {
  if (mask.constant) return mask.value ? a : b;
  std::vector<long> reads = mask.reads;
  reads_of(a, reads);
  reads_of(b, reads);
  return write(text_of(a) + " if " + mask.text + " else " + text_of(b), reads);
}

template <>
struct RealTraits<Written> {
  static constexpr int lanes = 1;
  using Scalar = Written;
  using Condition = WrittenCondition;
};

#define SEROSA_FUNCTION(NAME)                                      \
  inline Written NAME(const Written& x) {                          \
    return x.constant() ? Written(NAME(x.value)) : call(#NAME, x); \
  }
SEROSA_FUNCTION(exp)
SEROSA_FUNCTION(expm1)
SEROSA_FUNCTION(log)
SEROSA_FUNCTION(log1p)
SEROSA_FUNCTION(sqrt)
SEROSA_FUNCTION(cbrt)
SEROSA_FUNCTION(tanh)
SEROSA_FUNCTION(abs)
#undef SEROSA_FUNCTION
inline Written pow(const Written& x, const Written& y) {
  return x.constant() && y.constant() ? Written(pow(x.value, y.value)) : write(x, "**", y);
}
inline Written pow(const Written& x, double y) { return pow(x, Written(y)); }
inline Written min(const Written& a, const Written& b) { return select(a < b, a, b); }
inline Written max(const Written& a, const Written& b) { return select(a > b, a, b); }
inline double value_of(const Written& x, int) { return x.value; }

}  // namespace serosa::physics
