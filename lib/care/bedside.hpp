// SPDX-License-Identifier: Apache-2.0
// What a bedside knows of the baby: chart values with their delays and errors, not the truth.
#pragma once
#include <algorithm>
#include <cmath>
#include <limits>
#include <span>
#include <vector>

#include "baby/birth.hpp"
#include "baby/circulation.hpp"
#include "baby/heat.hpp"
#include "care/given.hpp"
#include "care/protocol.hpp"

namespace serosa::care {

/// The truth behind a sign, in the sign's unit; of signs that add up, the sum since birth, mL/kg.
template <class Real>
double true_value(Sign sign, const Real& t, const baby::State<Real>& x,
                  const baby::Subject<Real>& s, const Given<Real>& g) {
  using namespace baby::state;
  const auto value = [](const Real& r) { return physics::value_of(r, 0); };
  const auto blood = [&] {
    const Real age = physics::max(Real(s.controls.ageing * t + s.controls.age_offset), Real(0.0));
    return baby::circulation(age, baby::temperatures(x, s).core, x, s);
  };
  const double weight = value(s.body.weight);
  const auto intake = [&] {
    double sum = 0;
    for (const Real& volume : g.volume) sum += value(volume);
    return sum / weight;
  };
  const auto output = [&] {
    return value(x[baby::state::urine] + x[gastric_drainage] + x[blood_loss]) / weight;
  };
  switch (sign) {
    case Sign::heart_rate:
      return value(blood().heart_rate);
    case Sign::mean_pressure:
      return value(blood().arterial_pressure);
    case Sign::urine:
      return value(x[baby::state::urine]) / weight;
    case Sign::weight_change:
      return value(g.water - baby::body_loss(x)) / (1000.0 * weight);
    case Sign::core_temperature:
      return value(baby::temperatures(x, s).core);
    case Sign::sodium:
      return value(1000.0 * x[extracellular_sodium] /
                   (x[plasma_water] + x[interstitial_water] + x[wall_water]) *
                   s.parameters.plasma_water_fraction);
    case Sign::haematocrit:
      return value(blood().haematocrit);
    case Sign::charted_intake:
      return intake();
    case Sign::charted_output:
      return output();
    case Sign::charted_balance:
      return intake() - output();
  }
  return std::numeric_limits<double>::quiet_NaN();
}

/// The chart of one baby. After `start` nothing is allocated.
template <class Real>
class Bedside {
 public:
  /// @param until  end of the run, h; looks go no further
  void start(const Protocol* protocol, std::uint64_t seed, std::uint64_t run, double until) {
    protocol_ = protocol;
    seed_ = seed;
    run_ = run;
    looks_ = 0;
    until_ = until;
    if (!protocol_) return;
    const std::size_t n = protocol_->readings.size();
    const auto most = static_cast<std::size_t>(
        std::max(0.0, (until - protocol_->look_from) / protocol_->look_every) + 2);
    lines_.resize(std::max(lines_.size(), n));
    for (std::size_t i = 0; i < n; ++i) {
      lines_[i].values.clear();
      lines_[i].sums.clear();
      lines_[i].values.reserve(most + most_samples);
      if (adds_up(protocol_->readings[i].sign)) lines_[i].sums.reserve(most);
    }
  }

  /// Hour of the next look, +infinity for none.
  double next_look() const {
    if (!protocol_) return std::numeric_limits<double>::infinity();
    const double t = protocol_->look_from + static_cast<double>(looks_) * protocol_->look_every;
    return t <= until_ ? t : std::numeric_limits<double>::infinity();
  }

  /// Charts what is due at this look.
  void look(const Real& t, const baby::State<Real>& x, const baby::Subject<Real>& s,
            const Given<Real>& g) {
    for (std::size_t i = 0; i < protocol_->readings.size(); ++i) {
      const Reading& r = protocol_->readings[i];
      if (from_laboratory(r.sign)) continue;
      const bool due = looks_ % looks_in(r.every, 1) == 0;
      if (adds_up(r.sign)) {
        const double sum = true_value(r.sign, t, x, s, g);
        lines_[i].sums.push_back(sum);
        const std::size_t back = looks_in(r.over, 0);
        if (!due || looks_ < back) continue;
        double value = back == 0 ? sum : sum - lines_[i].sums[looks_ - back];
        if (r.sign == Sign::urine) value = value / (back == 0 ? hour(t) : r.over);
        chart(i, t, value);
      } else if (due) {
        chart(i, t, true_value(r.sign, t, x, s, g));
      }
    }
    ++looks_;
  }

  /// Charts what the laboratory will tell of a blood sample.
  void sample(const Real& t, const baby::State<Real>& x, const baby::Subject<Real>& s,
              const Given<Real>& g) {
    if (!protocol_) return;
    for (std::size_t i = 0; i < protocol_->readings.size(); ++i)
      if (from_laboratory(protocol_->readings[i].sign) &&
          lines_[i].values.size() < lines_[i].values.capacity())
        chart(i, t, true_value(protocol_->readings[i].sign, t, x, s, g));
  }

  /// The last value known at `t`; NaN when there is none.
  double known(std::size_t reading, double t) const {
    const auto values = known_values(reading, t);
    return values.empty() ? std::numeric_limits<double>::quiet_NaN() : values.back().value;
  }

  /// Whether a condition holds on the chart at `t`, by a value taken after `since`.
  bool holds(const Condition& c, double t, double since) const {
    const auto values = known_values(c.reading, t);
    if (values.empty() || !(values.back().taken > since)) return false;
    for (auto v = values.rbegin(); v != values.rend(); ++v) {
      if (!(v->value > c.above && v->value < c.below)) return false;
      if (values.back().taken - v->taken >= c.lasting - same_time) return true;
    }
    return false;
  }

 private:
  static constexpr std::size_t most_samples = 64;
  static constexpr double same_time = 1e-9;  // h

  struct Value {
    double taken;  // h
    double value;
  };
  struct Line {
    std::vector<Value> values;
    std::vector<double> sums;  // at each look, of signs that add up
  };

  static double hour(const Real& t) { return physics::value_of(t, 0); }

  std::size_t looks_in(double hours, std::size_t least) const {
    return std::max(least, static_cast<std::size_t>(std::llround(hours / protocol_->look_every)));
  }

  void chart(std::size_t i, const Real& t, double truth) {
    const Reading& r = protocol_->readings[i];
    const double error = r.error == 0 ? 0.0 : r.error * reading_error(seed_, run_, r.sign, hour(t));
    lines_[i].values.push_back({hour(t), truth + error});
  }

  std::span<const Value> known_values(std::size_t reading, double t) const {
    const auto& values = lines_[reading].values;
    const double delay = protocol_->readings[reading].delay;
    std::size_t n = values.size();
    while (n > 0 && values[n - 1].taken + delay > t + same_time) --n;
    return std::span(values).first(n);
  }

  const Protocol* protocol_ = nullptr;
  std::uint64_t seed_ = 1, run_ = 0;
  std::size_t looks_ = 0;  // taken so far
  double until_ = 0;
  std::vector<Line> lines_;
};

}  // namespace serosa::care
