// SPDX-License-Identifier: Apache-2.0
// A bedside protocol: what is read when, and what is done about it. Plain data in the model's
// units; a Bedside (bedside.hpp) keeps its chart and a Carer (carer.hpp) does what its rules say.
#pragma once
#include <array>
#include <cstdint>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "care/case.hpp"

// X(name, word in files, unit, what it is)
#define SEROSA_SIGNS(X)                                                                     \
  X(heart_rate, "heart-rate", "1/min", "heart rate")                                        \
  X(mean_pressure, "mean-pressure", "mmHg", "mean arterial pressure")                       \
  X(urine, "urine", "mL/kg/h", "urine per birth weight, over the last hours")               \
  X(weight_change, "weight-change", "1", "change of weight as a share of birth weight")     \
  X(core_temperature, "core-temperature", "degC", "core temperature")                       \
  X(sodium, "sodium", "mmol/L", "plasma sodium of a blood sample")                          \
  X(haematocrit, "haematocrit", "1", "haematocrit of a blood sample")                       \
  X(charted_intake, "charted-intake", "mL/kg", "fluid given, as charted")                   \
  X(charted_output, "charted-output", "mL/kg", "urine, drainage and blood out, as charted") \
  X(charted_balance, "charted-balance", "mL/kg", "charted intake less charted output")

namespace serosa::care {

/// What a bedside can read. Capillary refill is not modelled.
enum class Sign : std::uint8_t {
#define SEROSA_SIGN(name, word, unit, text) name,
  SEROSA_SIGNS(SEROSA_SIGN)
#undef SEROSA_SIGN
};

struct SignInfo {
  std::string_view name, word, unit, meaning;
};
inline constexpr SignInfo sign_list[] = {
#define SEROSA_INFO(name, word, unit, text) {#name, word, unit, text},
    SEROSA_SIGNS(SEROSA_INFO)
#undef SEROSA_INFO
};
inline const SignInfo& info(Sign sign) { return sign_list[static_cast<std::size_t>(sign)]; }

/// Known only when blood was sampled.
inline bool from_laboratory(Sign s) { return s == Sign::sodium || s == Sign::haematocrit; }
/// Adds up over time, so that it is read over some hours.
inline bool adds_up(Sign s) {
  return s == Sign::urine || s == Sign::charted_intake || s == Sign::charted_output ||
         s == Sign::charted_balance;
}

/// One line of the chart.
struct Reading {
  std::string name;
  Sign sign;
  double every = 0;  ///< h between two values; 0: at every look. Of no use for a blood sample
  double over = 0;   ///< h that a value covers; 0: since birth
  double delay = 0;  ///< h until the value is known
  double error = 0;  ///< standard deviation, in the sign's unit
};

/// A reading that lies strictly above or below a level, and has for some time.
struct Condition {
  std::size_t reading;
  double above = -std::numeric_limits<double>::infinity();
  double below = std::numeric_limits<double>::infinity();
  double lasting = 0;  ///< h from the first to the last of the unbroken values
};

/// What is done when.
struct Rule {
  static constexpr std::size_t most_conditions = 4;
  std::string name;
  std::string reason;
  std::vector<Condition> when;    ///< all must hold; none: the clock alone decides
  std::vector<Condition> unless;  ///< none may hold
  Deed deed;
  int at_most = 1;
  double gap = 0;   ///< h from one act of this rule to the next
  double from = 0;  ///< h, earliest
  double until = std::numeric_limits<double>::infinity();  ///< h, latest
};

struct Protocol {
  std::string name;
  std::string title;
  std::string note;
  double look_every = 0.5;  ///< h
  double look_from = 0.5;   ///< h, first look
  std::vector<Reading> readings;
  std::vector<Rule> rules;
};

/// What is wrong with a protocol.
struct ProtocolFault {
  enum class Part { reading, rule } part;
  std::size_t index;
  std::string message;
  std::size_t other_rule = npos;  ///< the rule it contradicts
  static constexpr std::size_t npos = std::numeric_limits<std::size_t>::max();
};

/// Names what can't be carried out, contradicts itself, or would go round in a circle: a reading
/// that no look takes or no sample ever feeds, a rule that can never act, boluses that overlap,
/// rules that pull the same lever in different directions at the same chart.
/// @param orders_sample  the timeline samples blood
std::vector<ProtocolFault> faults(const Protocol& p, bool orders_sample);

/// What a rule did.
struct Done {
  double at;                                         ///< h
  std::size_t rule;                                  ///< in the protocol
  std::array<double, Rule::most_conditions> seen{};  ///< value of each `when`, NaN beyond them
  bool operator==(const Done&) const = default;
};

/// Error of a reading at an hour, in standard deviations: normal, and a function of seed, run,
/// sign and the second at which it is taken alone, whatever was read or done before (Marsaglia's
/// polar method, SIAM Review 6 (1964) 260, from memory, on counted random numbers).
double reading_error(std::uint64_t seed, std::uint64_t run, Sign sign, double hour);

}  // namespace serosa::care
