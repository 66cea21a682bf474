// SPDX-License-Identifier: Apache-2.0
// A published experiment: its arms as cases, what is read out of them, and whether that lies in the
// published band.
#pragma once
#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "simulate/run.hpp"

// X(enumerator, word in a file, meaning)
#define SEROSA_TAKINGS(X)                                           \
  X(at, "at", "the value at the hour `at`")                         \
  X(change, "change", "the value at `to` less the value at `from`") \
  X(rate, "rate", "the change from `from` to `to` per hour")        \
  X(mean, "mean", "the mean over the time from `from` to `to`")     \
  X(most, "most", "the highest value between `from` and `to`")      \
  X(least, "least", "the lowest value between `from` and `to`")     \
  X(reaches, "reaches", "the hour after `from` at which the output first crosses `level`")

#define SEROSA_COMPARISONS(X)                                   \
  X(ratio, "ratio", "the reading divided by the other one")     \
  X(difference, "difference", "the reading less the other one") \
  X(relative_change, "relative-change", "(reading − other) / other")

#define SEROSA_ROLES(X)                              \
  X(check, "check", "never used to set a parameter") \
  X(calibration, "calibration", "used to set parameters whose grade is assumption")

#define SEROSA_MODEL_PARTS(X)                                                           \
  X(evaporation, "evaporation", "water lost through skin, bowel surface and covers")    \
  X(heat, "heat", "dry heat, metabolism, temperatures")                                 \
  X(airway, "airway", "water lost with the breath")                                     \
  X(microcirculation, "microcirculation", "plasma against interstitium, lymph")         \
  X(bowel_wall, "bowel wall", "the bowel's capillaries, wall, lumen and blood flow")    \
  X(kidney, "kidney", "filtration, urine, its osmolality")                              \
  X(circulation, "circulation", "blood volume, filling, output, pressure, haematocrit") \
  X(sodium, "sodium", "sodium, body water and weight")

// X(enumerator, word, unit, member of the body, meaning)
#define SEROSA_DIVISORS(X)                                                           \
  X(weight, "weight", "kg", weight, "weight at the start")                           \
  X(surface, "surface", "m2", surface, "body surface")                               \
  X(exposed_area, "exposed-area", "m2", spread_area, "area that bare bowel exposes") \
  X(packed_area, "packed-area", "m2", packed_area, "envelope of the packed bowel")   \
  X(wall_mass, "wall-mass", "g", wall_mass, "mass of the herniated bowel's wall")    \
  X(blood_volume, "blood-volume", "mL", clamped_blood_volume, "blood volume at the start")

// X(enumerator, sentence)
#define SEROSA_VERDICTS(X)                                          \
  X(holds, "in the band")                                           \
  X(fails, "outside the band")                                      \
  X(known_failure, "outside the band, known and explained")         \
  X(known_failure_holds, "in the band, though listed as a failure") \
  X(not_computed, "the run failed or the value is not finite")      \
  X(shown, "shown only")

namespace serosa::study {

#define SEROSA_ITEM(name, ...) name,
enum class Taking { SEROSA_TAKINGS(SEROSA_ITEM) };
enum class Comparison { SEROSA_COMPARISONS(SEROSA_ITEM) };
enum class Role { SEROSA_ROLES(SEROSA_ITEM) };
enum class ModelPart { SEROSA_MODEL_PARTS(SEROSA_ITEM) };
enum class Divisor { SEROSA_DIVISORS(SEROSA_ITEM) none };
enum class Verdict { SEROSA_VERDICTS(SEROSA_ITEM) };
#undef SEROSA_ITEM

/// A word of a list with its meaning, in the order of the enumeration.
struct Word {
  std::string_view word;
  std::string_view meaning;
};
#define SEROSA_ITEM(name, word, meaning) Word{word, meaning},
inline constexpr std::array takings{SEROSA_TAKINGS(SEROSA_ITEM)};
inline constexpr std::array comparisons{SEROSA_COMPARISONS(SEROSA_ITEM)};
inline constexpr std::array roles{SEROSA_ROLES(SEROSA_ITEM)};
inline constexpr std::array model_parts{SEROSA_MODEL_PARTS(SEROSA_ITEM)};
#undef SEROSA_ITEM
#define SEROSA_ITEM(name, word, unit, member, meaning) Word{word, meaning},
inline constexpr std::array divisors{SEROSA_DIVISORS(SEROSA_ITEM)};
#undef SEROSA_ITEM
#define SEROSA_ITEM(name, meaning) Word{#name, meaning},
inline constexpr std::array verdicts{SEROSA_VERDICTS(SEROSA_ITEM)};
#undef SEROSA_ITEM

/// One number out of one arm, in the model's unit.
struct Figure {
  std::size_t arm = 0;
  simulate::output::Index output{};
  Taking taking = Taking::at;
  double from = 0;   ///< h; the hour itself for `at`
  double to = 0;     ///< h
  double level = 0;  ///< of `reaches`, in the unit of the output
  Divisor per = Divisor::none;

  bool operator==(const Figure&) const = default;
};

/// A figure against another one. `scale` turns the other into the unit of the first.
struct Against {
  Figure figure;
  Comparison comparison = Comparison::ratio;
  double scale = 1;
};

/// What the publication found, in the unit of the reading. Unused numbers are NaN or infinite.
struct Published {
  std::optional<double> value;
  double low, high;    ///< the band
  std::string spread;  ///< how the band was made: "mean ± 2 SD", "95 % interval", "± 20 %" …
  bool open = false;   ///< the ends do not belong to it: "more than 0" is not met by 0
  bool holds(double x) const { return open ? x > low && x < high : x >= low && x <= high; }
};

/// The bands of the house: mean ± 2 SD; the stated interval; ± 20 % where no spread is given.
Published with_deviation(double mean, double standard_deviation);
Published with_interval(std::optional<double> value, double low, double high, std::string kind);
Published without_spread(double value);
Published bounded(double more_than, double less_than);

/// One thing that is read out and perhaps held against a publication. It is a figure, a comparison
/// of two figures, or a formula over other readings.
struct Reading {
  std::string name;
  std::string note;
  Figure figure;
  std::optional<Against> against;
  std::string formula;  ///< empty for a figure; + − * / ( ) ln() numbers and names of readings
  double scale = 1;     ///< from the model's unit to `unit`
  std::string unit;     ///< as published
  std::optional<Published> published;
  std::string known_failure;  ///< why it is expected to fail; empty when it is not
};

struct Arm {
  std::string name;
  care::Case c;
  baby::Parameters<double> parameters;
};

struct Experiment {
  std::string name;  ///< of the file, without ending
  std::string title;
  std::string source;    ///< key of the bibliography
  std::string where;     ///< in the source
  std::string practice;  ///< "common practice, no source" and the like; may be empty
  std::string done;
  std::string note;
  Role role = Role::check;
  ModelPart part = ModelPart::evaporation;
  std::vector<Arm> arms;
  std::vector<Reading> readings;
};

/// What became of one reading.
struct Finding {
  double simulated;  ///< in the reading's unit; NaN when not computed
  Verdict verdict;
};

/// What became of an experiment: the worst of its readings, a failure that is not known first.
struct Outcome {
  std::vector<Finding> findings;          ///< as many as readings
  std::vector<simulate::RunReport> runs;  ///< as many as arms
  Verdict verdict;
};

/// A formula can't be understood, or names a reading that is not there or is itself in the making.
class FormulaError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// The name by which a formula calls a reading: blanks and hyphens become underscores.
std::string formula_name(std::string_view reading);

/// Checks all formulas of an experiment. Throws FormulaError.
void check_formulas(const Experiment& experiment);

/// The hours at which an arm must be observed: those the figures name, and 200 between `from` and
/// `to` where a mean, an extreme or a crossing is asked for. Rising, no hour twice.
std::vector<double> hours(const Experiment& experiment, std::size_t arm);

/// One figure from the course of an output. NaN when a value is missing or a level is not reached.
/// @param times  hours at which `result` was observed
double take(const Figure& figure, const simulate::Result& result, std::span<const double> times);

/// Runs all arms of all experiments, eight abreast, and judges.
std::vector<Outcome> carry_out(std::span<const Experiment> experiments,
                               const simulate::Settings& settings = {.relative_tolerance = 1e-6});

/// How many experiments of a role, and of a part when one is named, hold.
struct Tally {
  std::size_t all = 0;
  std::size_t holding = 0;
  std::size_t known_failures = 0;
  std::size_t failing = 0;  ///< not known as failures, or not computed
};
Tally tally(std::span<const Experiment> experiments, std::span<const Outcome> outcomes, Role role,
            std::optional<ModelPart> part = std::nullopt);

}  // namespace serosa::study
