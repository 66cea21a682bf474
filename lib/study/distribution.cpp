// SPDX-License-Identifier: Apache-2.0
#include "study/distribution.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <stdexcept>

#include "physics/real/real.hpp"
#include "study/probability.hpp"

namespace serosa::study {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

void require(bool fine, const char* sentence) {
  if (!fine) throw std::invalid_argument(sentence);
}

double sine(double x) {  // |x| <= pi / 6
  double term = x, sum = x;
  for (int k = 2; k < 24; k += 2) {
    term *= -x * x / (k * (k + 1));
    sum += term;
  }
  return sum;
}

}  // namespace

Law Law::uniform(double low, double high) {
  require(low < high, "the lower end must lie below the upper end");
  Law law(Shape::uniform);
  law.low_ = low, law.high_ = high;
  return law;
}

Law Law::normal(double mean, double sd, double low, double high) {
  require(sd > 0, "the standard deviation must be above zero");
  Law law(Shape::normal);
  law.a_ = mean, law.b_ = sd;
  law.cut(low, high);
  return law;
}
Law Law::normal(double mean, double sd) { return normal(mean, sd, -infinity, infinity); }

Law Law::lognormal(double median, double factor, double low, double high) {
  require(median > 0, "the median must be above zero");
  require(factor > 1, "the factor must be above one");
  Law law(Shape::lognormal);
  law.a_ = physics::log(median), law.b_ = physics::log(factor);
  law.cut(std::max(low, 0.0), high);
  return law;
}
Law Law::lognormal(double median, double factor) {
  return lognormal(median, factor, 0.0, infinity);
}

Law Law::triangular(double low, double mode, double high) {
  require(low < high, "the lower end must lie below the upper end");
  require(low <= mode && mode <= high, "the most frequent value must lie between the ends");
  Law law(Shape::triangular);
  law.a_ = mode, law.low_ = low, law.high_ = high;
  return law;
}

Law Law::beta(double a, double b, double low, double high) {
  require(a > 0 && b > 0, "both exponents must be above zero");
  require(low < high, "the lower end must lie below the upper end");
  Law law(Shape::beta);
  law.a_ = a, law.b_ = b, law.low_ = low, law.high_ = high;
  return law;
}

Law Law::empirical(std::vector<double> values) {
  require(!values.empty(), "there are no values");
  std::sort(values.begin(), values.end());
  return levels(std::move(values));
}

Law Law::levels(std::vector<double> values, std::vector<double> weights) {
  require(!values.empty(), "there are no values");
  require(weights.empty() || weights.size() == values.size(),
          "there must be as many weights as values");
  for (const double x : values) require(std::isfinite(x), "a value is not a number");
  for (const double w : weights) require(w >= 0 && std::isfinite(w), "a weight is negative");
  Law law(Shape::levels);
  const double sum = std::accumulate(weights.begin(), weights.end(), 0.0);
  require(weights.empty() || sum > 0, "all weights are zero");
  double upto = 0;
  for (const double w : weights) law.upto_.push_back((upto += w) / sum);
  const auto [least, most] = std::minmax_element(values.begin(), values.end());
  law.low_ = *least, law.high_ = *most;
  law.values_ = std::move(values);
  return law;
}

void Law::cut(double low, double high) {
  require(low < high, "the lower end must lie below the upper end");
  low_ = low, high_ = high;
  const auto score = [&](double x) {
    if (shape_ == Shape::lognormal) {
      if (x <= 0) return -infinity;
      x = std::isinf(x) ? x : physics::log(x);
    }
    return (x - a_) / b_;
  };
  double from = score(low), to = score(high);
  // Above the middle, shares near one would lose their digits: look from the other side.
  if ((mirrored_ = from > 0)) {
    std::swap(from, to);
    from = -from, to = -to;
  }
  below_ = from == -infinity ? 0.0 : normal_cdf(from);
  left_ = (to == infinity ? 1.0 : normal_cdf(to)) - below_;
  require(left_ > 1e-12, "next to nothing of the law lies between the ends");
}

double Law::whole(double u) const {
  switch (shape_) {
    case Shape::uniform:
      return low_ + u * (high_ - low_);
    case Shape::normal:
    case Shape::lognormal: {
      const double share = below_ + (mirrored_ ? 1 - u : u) * left_;
      const double score = normal_quantile(share);
      const double x = a_ + b_ * (mirrored_ ? -score : score);
      return shape_ == Shape::normal ? x : physics::exp(x);
    }
    case Shape::triangular: {
      const double width = high_ - low_, rise = a_ - low_, fall = high_ - a_;
      return u * width < rise ? low_ + physics::sqrt(u * width * rise)
                              : high_ - physics::sqrt((1 - u) * width * fall);
    }
    case Shape::beta:
      return low_ + (high_ - low_) * beta_quantile(u, a_, b_);
    case Shape::levels: {
      const auto last = values_.size() - 1;
      if (upto_.empty())
        return values_[std::min(last,
                                static_cast<std::size_t>(u * static_cast<double>(values_.size())))];
      const auto at = std::upper_bound(upto_.begin(), upto_.end(), u) - upto_.begin();
      return values_[std::min(last, static_cast<std::size_t>(at))];
    }
  }
  return u;
}

double Law::quantile(double u) const {
  const double x = whole(u);
  return std::isfinite(x) ? std::clamp(x, low_, high_) : x;
}

double Law::lowest() const { return low_; }
double Law::highest() const { return high_; }

Copula::Copula(const std::vector<Pair>& pairs) {
  for (const Pair& p : pairs) {
    require(p.one != p.other, "an input can't be bound to itself");
    require(p.rank >= -1 && p.rank <= 1, "a rank correlation lies between -1 and 1");
    for (const std::size_t input : {p.one, p.other})
      if (std::find(inputs_.begin(), inputs_.end(), input) == inputs_.end())
        inputs_.push_back(input);
  }
  std::sort(inputs_.begin(), inputs_.end());
  const std::size_t n = inputs_.size();
  std::vector<double> scores(n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i) scores[i * n + i] = 1;
  const auto place = [&](std::size_t input) {
    return static_cast<std::size_t>(std::lower_bound(inputs_.begin(), inputs_.end(), input) -
                                    inputs_.begin());
  };
  constexpr double sixth_of_pi = 0.52359877559829887308;
  for (const Pair& p : pairs) {
    const std::size_t i = place(p.one), j = place(p.other);
    require(scores[i * n + j] == 0, "two inputs are bound twice");
    scores[i * n + j] = scores[j * n + i] = 2 * sine(sixth_of_pi * p.rank);
  }
  factor_.assign(n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = 0; j <= i; ++j) {
      double rest = scores[i * n + j];
      for (std::size_t k = 0; k < j; ++k) rest -= factor_[i * n + k] * factor_[j * n + k];
      if (i == j) {
        require(rest > -1e-12, "no inputs can have these correlations together");
        factor_[i * n + i] = physics::sqrt(std::max(rest, 0.0));
      } else if (factor_[j * n + j] > 1e-6) {
        factor_[i * n + j] = rest / factor_[j * n + j];
      } else {
        // Input j is a function of those before it, and what binds to them binds to it.
        require(std::abs(rest) < 1e-6, "no inputs can have these correlations together");
      }
    }
}

void Copula::bind(double* fractions) const {
  const std::size_t n = inputs_.size();
  // From the last row up: each needs only the scores of those before it.
  double scores[64];
  std::vector<double> many;
  double* z = scores;
  if (n > 64) many.resize(n), z = many.data();
  for (std::size_t i = 0; i < n; ++i) z[i] = normal_quantile(fractions[inputs_[i]]);
  for (std::size_t i = n; i-- > 0;) {
    bool bound = false;
    double sum = factor_[i * n + i] * z[i];
    for (std::size_t k = 0; k < i; ++k) {
      bound = bound || factor_[i * n + k] != 0;
      sum += factor_[i * n + k] * z[k];
    }
    if (!bound) continue;
    // A fraction is never quite 0 or 1.
    fractions[inputs_[i]] = std::clamp(normal_cdf(sum), 0x1p-53, 1 - 0x1p-53);
  }
}

}  // namespace serosa::study
