// SPDX-License-Identifier: Apache-2.0
#include "care/protocol.hpp"

#include <algorithm>
#include <cmath>

#include "physics/real/random.hpp"
#include "physics/real/real.hpp"

namespace serosa::care {
namespace {

bool samples(const Deed& deed) {
  const auto* const d = std::get_if<LoseBlood>(&deed);
  return d && d->to_laboratory;
}

bool whole_multiple(double of, double step) {
  const double n = std::round(of / step);
  return std::abs(of - n * step) < 1e-9;
}

/// No chart lets both hold, and there is room between them.
bool exclude(const std::vector<Condition>& one, const std::vector<Condition>& other) {
  return std::any_of(one.begin(), one.end(), [&](const Condition& a) {
    return std::any_of(other.begin(), other.end(), [&](const Condition& b) {
      return a.reading == b.reading && (a.below < b.above || b.below < a.above);
    });
  });
}

/// Which lever a deed moves; two rules may not move one to different places at once.
enum class Lever { none, maintenance, warmer, wrap };
Lever lever(const Deed& deed) {
  if (std::holds_alternative<Infuse>(deed) || std::holds_alternative<AdjustInfusion>(deed) ||
      std::holds_alternative<StopInfusion>(deed))
    return Lever::maintenance;
  if (std::holds_alternative<SetWarmer>(deed)) return Lever::warmer;
  if (std::holds_alternative<Rewrap>(deed)) return Lever::wrap;
  return Lever::none;
}

bool agree(const Deed& one, const Deed& other) {
  const auto* const a = std::get_if<AdjustInfusion>(&one);
  const auto* const b = std::get_if<AdjustInfusion>(&other);
  if (a && b) return (a->by > 0) == (b->by > 0);
  const auto* const w = std::get_if<SetWarmer>(&one);
  const auto* const v = std::get_if<SetWarmer>(&other);
  if (w && v) return w->warmer.name == v->warmer.name;
  return false;
}

struct Inspection {
  const Protocol& p;
  bool orders_sample;
  std::vector<ProtocolFault> found;

  void refuse_reading(std::size_t index, std::string message) {
    found.push_back({ProtocolFault::Part::reading, index, std::move(message)});
  }
  void refuse_rule(std::size_t index, std::string message,
                   std::size_t other = ProtocolFault::npos) {
    found.push_back({ProtocolFault::Part::rule, index, std::move(message), other});
  }

  void reading(std::size_t i) {
    const Reading& r = p.readings[i];
    if (from_laboratory(r.sign)) {
      if (!ever_sampled())
        refuse_reading(
            i, "no blood is ever sampled: add a sample by the clock to the orders or rules");
      return;
    }
    if (!whole_multiple(r.every, p.look_every))
      refuse_reading(i, "is taken at looks: `every` must be a whole number of looks");
    if (!whole_multiple(r.over, p.look_every))
      refuse_reading(i, "is added up from look to look: `over` must be a whole number of looks");
  }

  /// A sample that waits for a sample never comes.
  bool ever_sampled() const {
    return orders_sample || std::any_of(p.rules.begin(), p.rules.end(), [&](const Rule& rule) {
             return samples(rule.deed) &&
                    std::none_of(rule.when.begin(), rule.when.end(), [&](const Condition& c) {
                      return from_laboratory(p.readings[c.reading].sign);
                    });
           });
  }

  void rule(std::size_t i) {
    const Rule& r = p.rules[i];
    for (const Condition& c : r.when) {
      if (!(c.above < c.below))
        refuse_rule(i, "can never act: no value is above and below at once");
      for (const Condition& no : r.unless)
        if (no.reading == c.reading && no.lasting <= c.lasting && no.above <= c.above &&
            no.below >= c.below)
          refuse_rule(i, "can never act: `unless` holds whenever `when` does");
    }
    if (r.at_most > 1 && r.gap < p.look_every)
      refuse_rule(i, "would act at every look: `gap` is shorter than the time between looks");
    if (r.from > r.until) refuse_rule(i, "can never act: it begins after its end");
    if (const auto* const d = std::get_if<Bolus>(&r.deed); d && r.at_most > 1 && r.gap < d->over)
      refuse_rule(i, "would start a bolus before the one before has run in: lengthen `gap`");
    if (const auto* const d = std::get_if<AdjustInfusion>(&r.deed); d && !(d->least < d->most))
      refuse_rule(i, "leaves no room between the least and the most that may run");
    for (std::size_t j = 0; j < i; ++j) {
      const Rule& other = p.rules[j];
      if (lever(r.deed) == Lever::none || lever(r.deed) != lever(other.deed)) continue;
      if (agree(r.deed, other.deed) || exclude(r.when, other.when)) continue;
      if (r.from > other.until || other.from > r.until) continue;
      refuse_rule(i,
                  "contradicts another rule: both can hold at one look, or take turns without "
                  "end; leave room between their levels of one reading",
                  j);
    }
  }
};

}  // namespace

std::vector<ProtocolFault> faults(const Protocol& p, bool orders_sample) {
  Inspection all{p, orders_sample, {}};
  for (std::size_t i = 0; i < p.readings.size(); ++i) all.reading(i);
  for (std::size_t i = 0; i < p.rules.size(); ++i) all.rule(i);
  return all.found;
}

double reading_error(std::uint64_t seed, std::uint64_t run, Sign sign, double hour) {
  const auto low = [](std::uint64_t x) { return static_cast<std::uint32_t>(x); };
  const auto high = [](std::uint64_t x) { return static_cast<std::uint32_t>(x >> 32); };
  const auto second = static_cast<std::uint32_t>(std::llround(hour * 3600.0));
  for (std::uint32_t attempt = 0;; ++attempt) {
    const auto bits = physics::philox(
        {second, static_cast<std::uint32_t>(sign) | (attempt << 8), low(run), high(run)},
        {low(seed), high(seed)});
    const auto fraction = [](std::uint32_t a, std::uint32_t b) {
      return 2.0 * physics::open_fraction((std::uint64_t{a} << 32) | b) - 1.0;
    };
    const double u = fraction(bits[0], bits[1]), v = fraction(bits[2], bits[3]);
    const double s = u * u + v * v;
    if (s > 0.0 && s < 1.0) return u * physics::sqrt(-2.0 * physics::log(s) / s);
  }
}

}  // namespace serosa::care
