// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include <atomic>
#include <clocale>
#include <cmath>
#include <limits>
#include <random>
#include <thread>

#include "units/units.hpp"

using namespace serosa::units;
using Catch::Matchers::Contains;
using Catch::Matchers::WithinRel;

namespace {

std::string complaint(std::string_view text, std::string_view unit) {
  try {
    to_model(text, unit);
  } catch (const Error& error) {
    return error.what();
  }
  return "(read)";
}

}  // namespace

// Equality of doubles is asked for: factors that are whole numbers or one over a whole number
// leave the decimal quantity at its nearest double.
TEST_CASE("quantities as people write them") {
  struct Row {
    const char* text;
    const char* unit;
    double value;
  };
  const Row rows[] = {
      {"10 mL/kg", "mL/kg", 10},
      {"45 %", "1", 0.45},
      {"45%", "1", 0.45},
      {"0.45", "1", 0.45},
      {"26 degC", "degC", 26},
      {"26 °C", "degC", 26},
      {"26°C", "degC", 26},
      {"299.15 K", "degC", 299.15 - 273.15},
      {"-5 degC", "degC", -5},
      {"2 K", "K", 2},
      {"36 wk", "wk", 36},
      {"36+4 wk", "wk", 36 + 4 / 7.0},
      {"36+0 weeks", "wk", 36},
      {"252 d", "wk", 36},
      {"0.1 m/s", "m/s", 0.1},
      {"10 cm/s", "m/s", 0.1},
      {"25 mW/cm^2", "W/m2", 250},
      {"25 mW/cm2", "W/m2", 250},
      {"25 mW/cm²", "W/m2", 250},
      {"-20 min", "h", -20 / 60.0},
      {"−20 min", "h", -20 / 60.0},
      {"20min", "h", 20 / 60.0},
      {"+90 s", "h", 0.025},
      {"1 h 30 min", "h", 1.5},
      {"1h30min", "h", 1.5},
      {"-1 h 30 min", "h", -1.5},
      {"2 d 6 h", "h", 54},
      {"1 h", "h", 1},
      {"3 mmHg", "mmHg", 3},
      {"2.56 kg", "g", 2560},
      {"2560 g", "g", 2560},
      {"5 mL/kg/h", "mL/kg/h", 5},
      {"5 mL/(kg h)", "mL/kg/h", 5},
      {"5 mL/(kg*h)", "mL/kg/h", 5},
      {"5 mL kg-1 h-1", "mL/kg/h", 5},
      {"5 mL·kg⁻¹·h⁻¹", "mL/kg/h", 5},
      {"5 mL.kg^-1.h^-1", "mL/kg/h", 5},
      {"120 mL/kg/d", "mL/kg/h", 5},
      {"1 L/kg", "mL/kg", 1000},
      {"9 g/m2/h", "g/m2/h", 9},
      {"9 g/m^2/h", "g/m2/h", 9},
      {"4.6 mL/kg/min", "mL/kg/h", 276},
      {"20 cm2", "m2", 0.002},
      {"0.3 mm", "m", 0.0003},
      {"300 µm", "m", 0.0003},
      {"300 um", "m", 0.0003},
      {"140 mmol/L", "mmol/L", 140},
      {"0.9 g/dL", "g/L", 9},
      {"280 mOsm/kg", "mOsm/kg", 280},
      {"280 mmol/kg", "mOsm/kg", 280},
      {"101.325 kPa", "kPa", 101.325},
      {"1013.25 hPa", "kPa", 101.325},
      {"20 mL/min/(1.73 m2)", "mL/min/(1.73 m2)", 20},
      {"20 mL/min/(1.73m2)", "mL/min/(1.73 m2)", 20},
      {"3 mL/h/mmHg/(100 g)", "mL/h/mmHg/(100 g)", 3},
      {"120 1/min", "1/min", 120},
      {"120 beats/min", "1/min", 120},
      {".5 h", "h", 0.5},
      {"5e-1 h", "h", 0.5},
      {"  5   h ", "h", 5},
      {"1e3 g", "g", 1000},
      {"-0 min", "h", 0},
  };
  for (const Row& row : rows) {
    INFO(row.text << " in " << row.unit);
    double value = std::nan("");
    CHECK_NOTHROW(value = to_model(row.text, row.unit));
    CHECK(value == row.value);
  }
}

// Factors from outside: NIST Special Publication 811 (2008), appendix B.8: 1 mmHg = 0.133 322 4
// kPa (conventional), 1 cmH2O (conventional) = 98.066 5 Pa. Tolerance: the digits printed there.
TEST_CASE("pressures by the published factors") {
  CHECK_THAT(to_model("1 mmHg", "kPa"), WithinRel(0.1333224, 3e-6));
  CHECK_THAT(to_model("1 cmH2O", "kPa"), WithinRel(0.0980665, 1e-12));
  CHECK_THAT(to_model("10 cmH2O", "mmHg"), WithinRel(0.980665 / 0.1333224, 3e-6));
}

TEST_CASE("water is mass and volume alike, other things are not") {
  CHECK(to_model("10 mL", "g water") == 10);
  CHECK(to_model("10 g", "mL water") == 10);
  CHECK(to_model("0.25 L", "g water") == 250);
  CHECK(to_model("9 mL/m2/h", "g/m2/h water") == 9);
  CHECK(to_model("3 g/kg/h", "mL/kg/h water") == 3);
  CHECK(to_model("3 mL/kg/h", "mL/kg/h water") == 3);
  CHECK_THAT(complaint("10 mL", "g"), Contains("is a volume, but a mass"));
  CHECK_THAT(complaint("2 %", "mL/kg water"), Contains("is expected"));
  CHECK_THAT(complaint("10 min", "g water"), Contains("a mass of water"));
}

TEST_CASE("a difference of temperatures is not a temperature") {
  CHECK_THAT(complaint("2 degC", "K"), Contains("written in K"));
  CHECK_THAT(complaint("2 °C", "K"), Contains("written in K"));
  CHECK_THAT(complaint("8 W/m2/degC", "W/m2/K"), Contains("write K, such as W/m2/K"));
  CHECK(to_model("8 W/m2/K", "W/m2/K") == 8);
  // One rounding of 310.15 − 273.15, at most half an ulp of 310.
  CHECK_THAT(convert(310.15, "K", "degC"), Catch::Matchers::WithinAbs(37, 3e-14));
  CHECK_THROWS_AS(convert(1, "degC", "K"), Error);
}

TEST_CASE("what is refused, and what the message says") {
  struct Row {
    const char* text;
    const char* unit;
    const char* says;
  };
  const Row rows[] = {
      {"20", "h", "write 20 min or 20 h"},
      {"36+4", "wk", "write 36+4 wk"},
      {"36", "wk", "write 36 wk or 36 d"},
      {"36+7 wk", "wk", "0 to 6 days"},
      {"36.5+1 wk", "wk", "0 to 6 days"},
      {"36+12 wk", "wk", "0 to 6 days"},
      {"3+4 h", "h", "only weeks take days"},
      {"36+4 wk", "g", "it is a length of time"},
      {"10 kg", "h", "is a mass, but a length of time, such as 20 min, is expected"},
      {"10 mL", "mL/kg", "is a volume, but a volume per body weight"},
      {"3 pa", "kPa", "unknown unit \"pa\"; did you mean Pa?"},
      {"3 PA", "kPa", "did you mean Pa?"},
      {"3 kg)", "g", "\")\" without \"(\""},
      {"3 (kg", "g", "a \")\" is missing"},
      {"5 mL/(kg h", "mL/kg/h", "a \")\" is missing"},
      {"140 rpm", "1/min", "write 1/min"},
      {"37 C", "degC", "write degC"},
      {"99 degF", "degC", "write degC"},
      {"3 mEq/kg", "mmol/kg", "1 mEq is 1 mmol"},
      {"7 pH", "1", "unknown unit \"pH\""},
      {"3 cc", "mL", "write mL"},
      {"5 mL/kg h", "mL/kg/h", "it is not clear what stands below"},
      {"8 W/m2K", "W/m2/K", "two units stand together"},
      {"20 mL/min/1.73 m2", "mL/min/(1.73 m2)", "stands in parentheses"},
      {"2,56 kg", "g", "decimal point"},
      {"2 560 g", "g", "two numbers"},
      {"nan", "1", "does not begin with a number"},
      {"inf h", "h", "does not begin with a number"},
      {"-inf h", "h", "does not begin with a number"},
      {"0x10 g", "g", "decimal digits"},
      {"1e999 g", "g", "too large or too small"},
      {"1e-999 g", "g", "too large or too small"},
      {"1e308 kg", "g", "the number is too large"},
      {"", "h", "does not begin with a number"},
      {"g", "g", "does not begin with a number"},
      {"--5 g", "g", "does not begin with a number"},
      {"5 g;", "g", "two units stand together"},
      {"5 ; g", "g", "is no part of a unit"},
      {"5 kg^", "g", "a power is missing"},
      {"5 m9", "m", "between 1 and 4"},
      {"5 m99999999999999999999", "m", "between 1 and 4"},
      {"5 mL/", "mL", "ends too early"},
      {"5 ((((((g))))))", "g", "too many parentheses"},
      {"1:30", "h", "no part of a unit"},
      {"2 1/h", "h", "is a rate, but a length of time"},
      {"2 h", "1/h", "is a length of time, but a rate"},
      {"2 kg/mL", "mL/kg", "but a volume per body weight"},
      {"5 g\n", "g", "stand together"},
  };
  for (const Row& row : rows) {
    INFO(row.text << " in " << row.unit);
    CHECK_THAT(complaint(row.text, row.unit), Contains(row.says));
  }
  CHECK_THAT(complaint(std::string(100000, '('), "g"), Contains("too long"));
  CHECK_THAT(complaint("5 " + std::string(100, 'g'), "g"), Contains("too long"));
}

TEST_CASE("an error says what was expected") {
  try {
    to_model("20", "h");
    FAIL("20 was read as a length of time");
  } catch (const Error& error) {
    CHECK(error.expected() == "a length of time, such as 20 min");
  }
  CHECK(description("wk") == "a length of time, such as 36+4 wk");
  CHECK(description("kg") == "a mass, such as 2.56 kg");
  CHECK(description("mL/h/mmHg/(100 g)") ==
        "a quantity in mL/h/mmHg/(100 g), such as 1 mL/h/mmHg/(100 g)");
  CHECK(description("g water") == "a mass of water, such as 2.56 kg");
}

TEST_CASE("from_model writes what to_model reads to the same double") {
  CHECK(from_model(2560, "g water") == "2560 g");
  CHECK(from_model(0.45, "1") == "0.45");
  CHECK(from_model(-1 / 3.0, "h") == "-0.3333333333333333 h");
  CHECK_THROWS_AS(from_model(std::nan(""), "h"), Error);
  CHECK_THROWS_AS(from_model(1, "furlong"), Error);
  std::mt19937_64 bits(1);
  int tried = 0;
  while (tried < 20000) {
    const std::uint64_t pattern = bits();
    double value;
    static_assert(sizeof value == sizeof pattern);
    __builtin_memcpy(&value, &pattern, sizeof value);
    if (!std::isfinite(value) || std::abs(value) < std::numeric_limits<double>::min()) continue;
    ++tried;
    for (const char* unit : {"mL/kg/h", "degC", "1", "g/m2/h water"})
      REQUIRE(to_model(from_model(value, unit), unit) == value);
  }
}

TEST_CASE("numbers alone") {
  CHECK(to_number("0.5") == 0.5);
  CHECK(to_number("-3e2") == -300);
  CHECK_THROWS_AS(to_number("0.5 g"), Error);
  CHECK_THROWS_AS(to_number("nan"), Error);
  CHECK_THROWS_AS(to_number(""), Error);
}

TEST_CASE("units of the model are recognised") {
  for (const char* unit : {"h", "1", "degC", "g water", "mL/kg/h", "W/m2/K", "g/m2/h/kPa", "1/h"})
    CHECK(is_unit(unit));
  for (const char* unit : {"", "water", "g  water x", "rpm", "degC/h", "0/h"})
    CHECK_FALSE(is_unit(unit));
}

TEST_CASE("the locale changes nothing") {
  const std::string before = std::setlocale(LC_ALL, nullptr);
  std::setlocale(LC_ALL, "de_DE.UTF-8");  // decimal comma, where the machine has it
  CHECK(to_model("2.56 kg", "g") == 2560);
  CHECK(from_model(0.5, "h") == "0.5 h");
  std::setlocale(LC_ALL, before.c_str());
}

TEST_CASE("several threads read at once") {
  std::atomic<int> wrong = 0;
  std::vector<std::thread> threads;
  for (int thread = 0; thread < 8; ++thread)
    threads.emplace_back([&wrong, thread] {
      for (int i = 1; i <= 2000; ++i) {
        const double by = 1 + i % 97;
        // Units change with i and thread, so that the tables of UDUNITS are asked concurrently.
        const std::string unit = "mL/min/(" + shortest(by + 100 * thread) + " m2)";
        if (to_model("60 mL/h/m2", unit) / (by + 100 * thread) < 0.999999) ++wrong;
        if (to_model("2.56 kg", "g") != 2560) ++wrong;
      }
    });
  for (std::thread& thread : threads) thread.join();
  CHECK(wrong == 0);
}
