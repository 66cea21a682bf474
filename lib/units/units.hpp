// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

/// Quantities at the edge: text such as `10 mL/kg` to a double in a unit of the model, and back.
///
/// A unit of the model is named by text: any product of the symbols listed in units/symbols.hpp,
/// such as `h`, `mL/kg/h`, `W/m2/K`, `mL/h/mmHg/(100 g)`, or `1` for a fraction. Three things
/// differ from a plain unit:
/// - `degC` is a point on the scale, `K` a difference of temperatures; neither is read for the
///   other, except that a temperature may be given in K (299.15 K).
/// - `wk` also reads weeks and days: `36+4 wk`.
/// - a unit followed by the word `water`, such as `g water` or `g/m2/h water`, takes mass and
///   volume alike, 1 mL being 1 g.
namespace serosa::units {

/// Text that is not the quantity asked for. `what()` is a sentence for the person who wrote it.
class Error : public std::runtime_error {
 public:
  Error(const std::string& message, std::string expected)
      : std::runtime_error(message), expected_(std::move(expected)) {}
  /// What would have been right: "a length of time, such as 20 min".
  const std::string& expected() const { return expected_; }

 private:
  std::string expected_;
};

/// Reads a quantity and returns it in `unit`.
///
/// Reads `10 mL/kg`, `45 %`, `26 degC`, `26 °C`, `36+4 wk`, `1 h 30 min`, `-20 min`,
/// `25 mW/cm^2`, `5 mL/(kg h)`, `5 mL kg-1 h-1`; a number alone only where `unit` is `1`.
/// Independent of the locale. Errors: units::Error for everything else, among it nan, inf,
/// numbers too large or too small for a double, unknown symbols, other dimensions.
/// Safe to call from several threads.
double to_model(std::string_view text, std::string_view unit);

/// The quantity as text that to_model() reads back to the same double: `2560 g`, `0.45`.
/// Errors: units::Error when the value is not finite or the unit unknown.
std::string from_model(double value, std::string_view unit);

/// The shortest decimal number that reads back to the same double: `0.1`, `1e-07`.
std::string shortest(double value);

/// Reads a number without a unit, by the same rules as to_model().
/// Errors: units::Error.
double to_number(std::string_view text);

/// A value in the unit `from`, in the unit `to`. Errors: units::Error, also for `K` to `degC`
/// differences mixed up with temperatures.
double convert(double value, std::string_view from, std::string_view to);

/// True when `unit` names a unit this library reads (the word `water` included).
bool is_unit(std::string_view unit);

/// The unit without the word `water`, as it is shown: `g/m2/h`.
std::string shown(std::string_view unit);

/// The unit as UDUNITS-2 reads it, for data files: `mmHg/week` for `mmHg/wk`.
std::string for_udunits(std::string_view unit);

/// What a quantity in `unit` is, with an example: "a length of time, such as 20 min".
std::string description(std::string_view unit);

/// All unit symbols that are read, in the order of the list.
std::vector<std::string> symbols();

}  // namespace serosa::units
