// SPDX-License-Identifier: Apache-2.0
#pragma once
#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace serosa::study {

/// A root between two places of opposite sign, closed in on place by place, so that many can be
/// sought side by side: inverse quadratic interpolation where it is safe, else halving
/// (Chandrupatla, Advances in Engineering Software 28 (1997) 145).
///
/// ```cpp
/// Bracket b(0, f(0), 40, f(40), 0.01);
/// while (!b.done()) b.tell(f(b.next()));
/// ```
class Bracket {
 public:
  /// @param tolerance  the root is at most this far from `root()`
  /// Throws std::invalid_argument when the signs do not differ.
  Bracket(double first, double value_first, double last, double value_last, double tolerance)
      : a_(last),
        fa_(value_last),
        b_(first),
        fb_(value_first),
        c_(first),
        fc_(value_first),
        tolerance_(tolerance) {
    if (!(std::isfinite(fa_) && std::isfinite(fb_)) || fa_ * fb_ > 0)
      throw std::invalid_argument("a bracket needs values of opposite sign");
    done_ = fa_ == 0 || fb_ == 0 || std::abs(b_ - a_) <= tolerance_;
  }

  bool done() const { return done_; }
  /// Where to look next.
  double next() const { return a_ + share_ * (b_ - a_); }
  /// The value there. One that is not finite ends the search without a root.
  void tell(double value) {
    const double x = next();
    if (!std::isfinite(value)) {
      failed_ = done_ = true;
      return;
    }
    if ((value > 0) == (fa_ > 0)) {
      c_ = a_, fc_ = fa_;
    } else {
      c_ = b_, fc_ = fb_;
      b_ = a_, fb_ = fa_;
    }
    a_ = x, fa_ = value;
    const double width = std::abs(b_ - a_);
    if (fa_ == 0 || width <= tolerance_) {
      done_ = true;
      return;
    }
    share_ = 0.5;
    const double xi = (a_ - b_) / (c_ - b_), phi = (fa_ - fb_) / (fc_ - fb_);
    if (phi * phi < xi && (1 - phi) * (1 - phi) < 1 - xi)
      share_ = fa_ / (fb_ - fa_) * fc_ / (fb_ - fc_) +
               (c_ - a_) / (b_ - a_) * fa_ / (fc_ - fa_) * fb_ / (fc_ - fb_);
    const double least = 0.5 * tolerance_ / width;
    share_ = std::clamp(share_, least, 1 - least);
  }
  /// NaN when a value was not finite.
  double root() const {
    if (failed_) return std::nan("");
    return std::abs(fa_) <= std::abs(fb_) ? a_ : b_;
  }

 private:
  double a_, fa_;  // the last place looked at
  double b_, fb_;  // the other end
  double c_, fc_;  // the place before
  double tolerance_;
  double share_ = 0.5;
  bool done_ = false, failed_ = false;
};

}  // namespace serosa::study
