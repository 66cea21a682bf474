// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "units/symbols.hpp"

namespace serosa::units {

struct Factor {
  const Symbol* symbol;
  int power;
};

/// A unit taken apart: a number times powers of symbols.
struct Expression {
  double number = 1;
  std::vector<Factor> factors;

  /// The same for all spellings of one unit: `1 kg^-1 mL^1`.
  std::string canonical() const;
  /// True for a temperature on the scale (`degC`), not a difference.
  bool is_temperature() const;
  /// True when mass (or volume) stands in the numerator.
  bool measures(Measures what) const;
};

/// Takes a unit apart: products by blank, `.`, `*`, `·`; quotients by `/`, each dividing by the
/// one factor that follows it; powers `m2`, `m^2`, `kg-1`; parentheses. A product after a quotient
/// (`mL/kg h`) is refused as ambiguous, and so is a number outside parentheses other than the 1 of
/// `1/h`. Errors: units::Error.
Expression parse_unit(std::string_view text);

/// Replaces the signs people paste by the spelling of the list: ° → deg, µ → u, ² → 2, · → *,
/// the true minus sign → -, unbreakable blanks → blank.
std::string plain_signs(std::string_view text);

}  // namespace serosa::units
