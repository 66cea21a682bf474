// SPDX-License-Identifier: Apache-2.0
// Figures of a run that are no output at an hour: when something first happens, and how much of the
// time it lasts. Found on the grid of a series, straight lines between its points.
#pragma once
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "simulate/outputs.hpp"

namespace serosa::study {

/// The hour at which `values` first lies at or beyond `level`: above it when `rising`, else below.
/// The first hour when it begins there; the last hour when it never gets there, with `reached`
/// false. NaN when a value before is NaN. Real is double or Dual.
/// @param hours  rising, as many as values
template <class Real>
Real first_reach(std::span<const double> hours, std::span<const Real> values, double level,
                 bool rising, bool& reached) {
  const auto beyond = [&](const Real& x) { return rising ? x >= level : x <= level; };
  reached = true;
  for (std::size_t i = 0; i < hours.size(); ++i) {
    if (!(values[i] == values[i])) return Real(std::numeric_limits<double>::quiet_NaN());
    if (!beyond(values[i])) continue;
    if (i == 0) return Real(hours[0]);
    const Real share = (Real(level) - values[i - 1]) / (values[i] - values[i - 1]);
    return Real(hours[i - 1]) + share * (hours[i] - hours[i - 1]);
  }
  reached = false;
  return Real(hours.back());
}

/// The share of the time between two hours of the grid during which `values` lies at or above
/// `low` and below `high`. NaN when a value is NaN.
template <class Real>
Real share_of_time(std::span<const double> hours, std::span<const Real> values, double low,
                   double high) {
  // The part of a straight line from x to y that lies below a level.
  const auto below = [](const Real& x, const Real& y, double level) {
    if (x < level && y < level) return Real(1.0);
    if (!(x < level) && !(y < level)) return Real(0.0);
    const Real part = (Real(level) - x) / (y - x);
    return x < level ? part : Real(1.0) - part;
  };
  Real inside(0.0);
  for (std::size_t i = 0; i + 1 < hours.size(); ++i) {
    const Real &x = values[i], &y = values[i + 1];
    if (!(x == x) || !(y == y)) return Real(std::numeric_limits<double>::quiet_NaN());
    const Real upto = std::isfinite(high) ? below(x, y, high) : Real(1.0);
    const Real under = std::isfinite(low) ? below(x, y, low) : Real(0.0);
    inside = inside + (upto - under) * (hours[i + 1] - hours[i]);
  }
  return inside / (hours.back() - hours.front());
}

/// What a study asks of each run beside its outputs at its times.
struct RunFigure {
  enum class Kind { reaches, share };
  std::string name;
  std::string meaning;  ///< in words, with levels
  Kind kind = Kind::reaches;
  simulate::output::Index output;
  bool of_clamped_volume = false;  ///< of a circulating deficit: as a share of the blood volume
                                   ///< when the cord is clamped
  double level = 0;                                       ///< reaches
  bool rising = true;                                     ///< reaches
  double low = -std::numeric_limits<double>::infinity();  ///< share
  double high = std::numeric_limits<double>::infinity();  ///< share

  const char* unit() const { return kind == Kind::reaches ? "h" : "1"; }
};

/// One run's figure from its series.
/// @param blood  blood volume on the same hours; read only `of_clamped_volume`
template <class Real>
Real figure_of_run(const RunFigure& f, std::span<const double> hours, std::span<const Real> values,
                   std::span<const Real> blood, bool& reached) {
  reached = true;
  std::vector<Real> shares;
  if (f.of_clamped_volume) {
    // The deficit is the volume at clamping less that of now.
    for (std::size_t i = 0; i < values.size(); ++i)
      shares.push_back(values[i] / (values[i] + blood[i]));
    values = shares;
  }
  if (f.kind == RunFigure::Kind::reaches)
    return first_reach(hours, values, f.level, f.rising, reached);
  return share_of_time(hours, values, f.low, f.high);
}

}  // namespace serosa::study
