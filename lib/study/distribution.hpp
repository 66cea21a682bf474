// SPDX-License-Identifier: Apache-2.0
// The laws that inputs of a study are drawn by.
#pragma once
#include <string_view>
#include <vector>

namespace serosa::study {

/// A law on the real line, known by its quantile function. The makers throw std::invalid_argument
/// with a sentence for the person who asked for it.
class Law {
 public:
  static Law uniform(double low, double high);
  /// Mean and standard deviation are those before the ends are cut off.
  static Law normal(double mean, double sd, double low, double high);
  static Law normal(double mean, double sd);
  /// The logarithm is normal: `median`, and the factor by which one standard deviation multiplies.
  static Law lognormal(double median, double factor, double low, double high);
  static Law lognormal(double median, double factor);
  static Law triangular(double low, double mode, double high);
  /// Between `low` and `high`, with the shape exponents `a` and `b`.
  static Law beta(double a, double b, double low, double high);
  /// Draws the values themselves, all alike.
  static Law empirical(std::vector<double> values);
  /// Draws the values in their order, with weights or (empty) all alike.
  static Law levels(std::vector<double> values, std::vector<double> weights = {});

  /// The value below which the share `u` lies, 0 < u < 1.
  double quantile(double u) const;
  /// The ends; may be infinite.
  double lowest() const;
  double highest() const;
  /// How many values there are; 0 when they are not listed.
  std::size_t level_count() const { return values_.size(); }
  const std::vector<double>& values() const { return values_; }

 private:
  enum class Shape { uniform, normal, lognormal, triangular, beta, levels };
  explicit Law(Shape shape) : shape_(shape) {}
  void cut(double low, double high);
  double whole(double u) const;  ///< the quantile before the ends are cut off

  Shape shape_;
  double a_ = 0, b_ = 0;         ///< mean and sd (of the logarithm), mode, or exponents
  double low_ = 0, high_ = 0;    ///< ends
  double below_ = 0, left_ = 1;  ///< share cut off below, share left
  bool mirrored_ = false;        ///< the part that is left lies above the middle
  std::vector<double> values_;
  std::vector<double> upto_;  ///< cumulated weights
};

/// Binds inputs by rank: a Gaussian copula with the rank correlations (Spearman) asked for. Pearson
/// correlation of the normal scores: 2 sin(pi rho / 6) (Kruskal, Journal of the American
/// Statistical Association 53 (1958) 814, section 5).
///
/// With a Latin hypercube only the first of the inputs bound together keeps one run per layer.
class Copula {
 public:
  struct Pair {
    std::size_t one, other;  ///< inputs
    double rank;             ///< between -1 and 1
  };
  Copula() = default;
  /// Throws std::invalid_argument when no law has these correlations together.
  explicit Copula(const std::vector<Pair>& pairs);

  bool empty() const { return inputs_.empty(); }
  /// Replaces independent fractions, one per input, by bound ones.
  void bind(double* fractions) const;

 private:
  std::vector<std::size_t> inputs_;
  std::vector<double> factor_;  ///< Cholesky's, row by row
};

}  // namespace serosa::study
