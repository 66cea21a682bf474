// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "files/bibliography.hpp"
#include "files/keys.hpp"

namespace serosa::files {

/// How a parameter is drawn from its range: enumerator, word in the file, what the range means.
#define SEROSA_DISTRIBUTIONS(X)                                                      \
  X(uniform, "uniform", "every value of the range alike")                            \
  X(triangular, "triangular", "between the ends of the range, most often the value") \
  X(normal, "normal", "the range holds 95 % around its middle")                      \
  X(lognormal, "lognormal", "the range holds 95 % of a normal law of the logarithm") \
  X(fixed, "fixed", "never drawn; the range is for information")

/// How well a parameter is known: enumerator, word in the file, meaning.
#define SEROSA_GRADES(X)                                                                \
  X(measured, "measured", "measured in newborns")                                       \
  X(animal, "animal", "measured in animals")                                            \
  X(adult, "adult", "measured in adults")                                               \
  X(derived, "derived", "computed from published values")                               \
  X(common_practice, "common practice", "a fact of the trade")                          \
  X(assumption, "assumption", "chosen by the makers of the model; treat it as unknown") \
  X(from_memory, "from memory", "believed to be published, source not at hand")

enum class Distribution {
#define SEROSA_ITEM(name, word, meaning) name,
  SEROSA_DISTRIBUTIONS(SEROSA_ITEM)
#undef SEROSA_ITEM
};

enum class Grade {
#define SEROSA_ITEM(name, word, meaning) name,
  SEROSA_GRADES(SEROSA_ITEM)
#undef SEROSA_ITEM
};

std::string_view word_of(Distribution distribution);
std::string_view word_of(Grade grade);

/// A parameter that the code declares: its name and the model's unit.
struct ParameterDeclaration {
  std::string_view name;
  std::string_view unit;  ///< see units/units.hpp
};

/// A parameter as it stands in a file.
struct ParameterEntry {
  std::string name;
  double value = 0;  ///< in `unit`
  std::string unit;
  Interval range;          ///< in `unit`
  double model_value = 0;  ///< in `model_unit`
  Interval model_range;    ///< in `model_unit`
  std::string model_unit;
  Distribution distribution = Distribution::fixed;
  std::string source_key;    ///< key in the bibliography, or "none"
  std::string source_where;  ///< page, table, condition; may be empty
  Grade grade = Grade::assumption;
  std::string note;
  Origin origin;
};

/// The keys of one parameter; for documentation and schema.
const KeyTable& parameter_keys();

/// Reads one parameter, by the rules of `read_parameter_file`.
ParameterEntry read_parameter(const Entry& entry, const ParameterDeclaration& declaration,
                              const Bibliography* bibliography, Problems& problems);

/// Reads one file of parameters:
/// ```yaml
/// serosal_dryness_ratio:
///   value: 0.5
///   unit: "1"
///   range: [0.35, 0.7]
///   distribution: triangular
///   source: lamke1977, abstract
///   grade: animal
///   note: rabbits, after 20 min of exposure
/// ```
/// Values are numbers in the unit beside them and are converted to the declared unit. All keys but
/// `note` are required. `source: none` is allowed only for common practice, assumptions and
/// values from memory, and then a note must say why. Reports undeclared names, values outside
/// their range, units of another dimension, and (with a bibliography) sources that do not resolve.
std::vector<ParameterEntry> read_parameter_file(const std::filesystem::path& path,
                                                const std::vector<ParameterDeclaration>& declared,
                                                const Bibliography* bibliography,
                                                Problems& problems);

/// All `*.yaml` files of a folder, sorted by name. The entries come back in the order of
/// `declared`; a parameter that is missing or stands in two files is an error.
std::vector<ParameterEntry> read_parameters(const std::filesystem::path& folder,
                                            const std::vector<ParameterDeclaration>& declared,
                                            const Bibliography* bibliography, Problems& problems);

}  // namespace serosa::files
