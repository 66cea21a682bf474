// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

/// The lists behind units/units.hpp.
namespace serosa::units {

enum class Measures { other, mass, volume };

/// A unit symbol that is read, its spelling for UDUNITS-2, and whether it measures mass or volume
/// (which are alike where a quantity of water is wanted).
struct Symbol {
  std::string_view text;
  std::string_view udunits;
  Measures measures = Measures::other;
};

/// The white list. UDUNITS itself would also take `pa` (pico-are), `pH` (picohenry), `C` (coulomb);
/// it never sees a symbol that is not in this list. Osmoles are amounts of substance.
inline constexpr Symbol symbol_list[] = {
    {"kg", "kg", Measures::mass},
    {"g", "g", Measures::mass},
    {"mg", "mg", Measures::mass},
    {"ug", "ug", Measures::mass},
    {"L", "L", Measures::volume},
    {"l", "L", Measures::volume},
    {"dL", "dL", Measures::volume},
    {"dl", "dL", Measures::volume},
    {"mL", "mL", Measures::volume},
    {"ml", "mL", Measures::volume},
    {"uL", "uL", Measures::volume},
    {"ul", "uL", Measures::volume},
    {"mol", "mol"},
    {"mmol", "mmol"},
    {"umol", "umol"},
    {"Osm", "mol"},
    {"mOsm", "mmol"},
    {"h", "h"},
    {"hour", "h"},
    {"hours", "h"},
    {"min", "min"},
    {"minute", "min"},
    {"minutes", "min"},
    {"s", "s"},
    {"second", "s"},
    {"seconds", "s"},
    {"d", "day"},
    {"day", "day"},
    {"days", "day"},
    {"wk", "week"},
    {"week", "week"},
    {"weeks", "week"},
    {"degC", "degC"},
    {"K", "K"},
    {"Pa", "Pa"},
    {"hPa", "hPa"},
    {"kPa", "kPa"},
    {"mmHg", "mmHg"},
    {"cmH2O", "cmH2O"},
    {"m", "m"},
    {"cm", "cm"},
    {"mm", "mm"},
    {"um", "um"},
    {"W", "W"},
    {"mW", "mW"},
    {"kW", "kW"},
    {"J", "J"},
    {"kJ", "kJ"},
    {"MJ", "MJ"},
    {"rad", "rad"},
    {"beats", "1"},
    {"%", "0.01"},
};

/// A symbol that people write and that is not read, and what to write instead.
struct Advice {
  std::string_view wrong;
  std::string_view right;
};

inline constexpr Advice advice_list[] = {
    {"C", "degC"},
    {"F", "degC"},
    {"degF", "degC"},
    {"celsius", "degC"},
    {"Celsius", "degC"},
    {"deg", "degC"},
    {"mEq", "mmol (for sodium and chloride 1 mEq is 1 mmol)"},
    {"meq", "mmol (for sodium and chloride 1 mEq is 1 mmol)"},
    {"cc", "mL"},
    {"ccm", "mL"},
    {"hr", "h"},
    {"hrs", "h"},
    {"H", "h"},
    {"sec", "s"},
    {"mins", "min"},
    {"w", "wk"},
    {"gm", "g"},
    {"gr", "g"},
    {"mcg", "ug"},
    {"lb", "kg"},
    {"oz", "g"},
    {"bpm", "1/min"},
    {"rpm", "1/min"},
    {"M", "mol/L"},
    {"mM", "mmol/L"},
    {"percent", "%"},
    {"Torr", "mmHg"},
    {"torr", "mmHg"},
    {"mbar", "hPa"},
    {"bar", "kPa"},
    {"cal", "J"},
    {"kcal", "kJ"},
    {"month", "wk"},
    {"months", "wk"},
    {"year", "d"},
    {"years", "d"},
};

/// What a unit measures, for messages.
struct Kind {
  std::string_view unit;
  std::string_view phrase;
  std::string_view example;
  std::string_view offers;  ///< units to write beside a bare number, separated by |
};

inline constexpr Kind kind_list[] = {
    {"1", "a fraction or ratio", "0.45 or 45 %", ""},
    {"h", "a length of time", "20 min", "min|h"},
    {"wk", "a length of time", "36+4 wk", "wk|d"},
    {"degC", "a temperature", "26 degC", "degC"},
    {"K", "a difference of temperatures", "2 K", "K"},
    {"g", "a mass", "2.56 kg", "g|kg"},
    {"mL", "a volume", "10 mL", "mL"},
    {"mmol", "an amount of substance", "3 mmol", "mmol"},
    {"kPa", "a pressure", "2.5 kPa", "kPa"},
    {"mmHg", "a pressure", "3 mmHg", "mmHg"},
    {"m", "a length", "8 cm", "cm|mm|m"},
    {"m2", "an area", "120 cm2", "cm2|m2"},
    {"W", "a heat flow", "5 W", "W"},
    {"J", "an amount of heat", "200 J", "J|kJ"},
    {"m/s", "a speed", "0.1 m/s", "m/s|cm/s"},
    {"W/m2", "a heat flow per area", "25 mW/cm^2", "W/m2|mW/cm2"},
    {"mL/kg", "a volume per body weight", "10 mL/kg", "mL/kg"},
    {"mL/kg/h", "a flow per body weight", "3 mL/kg/h", "mL/kg/h|mL/kg/d"},
    {"mL/h", "a flow", "8 mL/h", "mL/h"},
    {"mmol/L", "a concentration", "140 mmol/L", "mmol/L"},
    {"g/L", "a mass concentration", "45 g/L", "g/L|g/dL"},
    {"mmol/kg", "an amount per mass", "3 mmol/kg", "mmol/kg"},
    {"g/m2/h", "a flow of mass per area", "9 g/m2/h", "g/m2/h"},
    {"1/h", "a rate", "0.5 1/h", "1/h|1/min"},
};

}  // namespace serosa::units
