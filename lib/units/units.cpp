// SPDX-License-Identifier: Apache-2.0
#include "units/units.hpp"

#include <udunits2.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <utility>

#include "units/expression.hpp"
#include "units/symbols.hpp"

namespace serosa::units {
namespace {

constexpr std::size_t longest_quantity = 120;
constexpr std::string_view water_suffix = " water";

/// A unit of the model taken apart.
struct Wanted {
  std::string text;
  Expression expression;
  bool water = false;
};

Wanted wanted_unit(std::string_view unit) {
  Wanted wanted;
  if (unit.size() > water_suffix.size() &&
      unit.substr(unit.size() - water_suffix.size()) == water_suffix) {
    wanted.water = true;
    unit.remove_suffix(water_suffix.size());
  }
  wanted.text = unit;
  wanted.expression = parse_unit(unit);
  return wanted;
}

/// y = x·by (or x/by) + offset.
struct Conversion {
  double by = 1;
  bool divides = false;
  double offset = 0;
  double operator()(double x) const { return (divides ? x / by : x * by) + offset; }
};

/// UDUNITS composes factors in binary, so that g → kg comes out as 0.001 give or take an ulp.
/// The factor meant is a whole number, one over a whole number, or a short decimal: with that, the
/// result is the double nearest to the decimal quantity (2.56 kg and 2560 g are the same bits).
Conversion tidy(double factor, double offset) {
  const auto same = [](double a, double b) {
    return std::abs(a - b) <= 4 * std::numeric_limits<double>::epsilon() * std::abs(b);
  };
  const double whole = std::round(factor);
  if (whole >= 1 && same(factor, whole)) return {whole, false, offset};
  const double parts = std::round(1 / factor);
  if (parts >= 1 && same(1 / factor, parts)) return {parts, true, offset};
  char digits[64];
  const auto end =
      std::to_chars(digits, digits + sizeof digits, factor, std::chars_format::scientific, 11).ptr;
  double decimal = factor;
  std::from_chars(digits, end, decimal);
  return {same(factor, decimal) ? decimal : factor, false, offset};
}

struct FreeUnit {
  void operator()(ut_unit* unit) const { ut_free(unit); }
};
using UnitPointer = std::unique_ptr<ut_unit, FreeUnit>;

struct FreeConverter {
  void operator()(cv_converter* converter) const { cv_free(converter); }
};

/// The one door to UDUNITS-2, which keeps global state and crashes under concurrent calls.
class Library {
 public:
  static Library& instance() {
    static Library library;
    return library;
  }

  /// Nothing when the dimensions differ.
  std::optional<Conversion> conversion(const Expression& from, const Expression& to) {
    const std::lock_guard<std::mutex> lock(mutex_);
    const auto key = std::make_pair(from.canonical(), to.canonical());
    if (key.first == key.second) return Conversion{};
    if (const auto known = known_.find(key); known != known_.end()) return known->second;
    const auto found = ask(from, to);
    if (known_.size() < most_known) known_.emplace(key, found);
    return found;
  }

 private:
  static constexpr std::size_t most_known = 4096;

  Library() {
    ut_set_error_message_handler(ut_ignore);
    system_ = ut_read_xml(nullptr);
    if (!system_)
      throw std::runtime_error(
          "the unit tables of UDUNITS-2 cannot be read (package libudunits2-data)");
  }
  ~Library() { ut_free_system(system_); }
  Library(const Library&) = delete;
  Library& operator=(const Library&) = delete;

  UnitPointer build(const Expression& expression) const {
    UnitPointer one(ut_get_dimensionless_unit_one(system_));
    UnitPointer product(ut_scale(expression.number, one.get()));
    if (expression.is_temperature()) return UnitPointer(ut_parse(system_, "degC", UT_ASCII));
    for (const Factor& factor : expression.factors) {
      UnitPointer symbol(ut_parse(system_, std::string(factor.symbol->udunits).c_str(), UT_ASCII));
      if (!symbol)
        throw std::runtime_error("UDUNITS-2 does not know " + std::string(factor.symbol->text));
      UnitPointer power(ut_raise(symbol.get(), factor.power));
      product.reset(ut_multiply(product.get(), power.get()));
    }
    return product;
  }

  std::optional<Conversion> ask(const Expression& from, const Expression& to) const {
    const UnitPointer source = build(from);
    const UnitPointer target = build(to);
    // UDUNITS also converts a unit to its reciprocal (2 1/h to 0.5 h); dimensions must be equal.
    const UnitPointer ratio(ut_divide(source.get(), target.get()));
    const UnitPointer one(ut_get_dimensionless_unit_one(system_));
    if (!ratio || !ut_are_convertible(ratio.get(), one.get())) return std::nullopt;
    const std::unique_ptr<cv_converter, FreeConverter> converter(
        ut_get_converter(source.get(), target.get()));
    if (!converter) return std::nullopt;
    const double offset = cv_convert_double(converter.get(), 0.0);
    return tidy(cv_convert_double(converter.get(), 1.0) - offset, offset);
  }

  std::mutex mutex_;
  ut_system* system_ = nullptr;
  std::map<std::pair<std::string, std::string>, std::optional<Conversion>> known_;
};

const Kind* kind_of(const Expression& expression) {
  if (expression.is_temperature()) {
    for (const Kind& kind : kind_list)
      if (kind.unit == "degC") return &kind;
  }
  // The unit itself first, so that mmHg gets its own example and not that of kPa.
  for (const Kind& kind : kind_list)
    if (parse_unit(kind.unit).canonical() == expression.canonical()) return &kind;
  for (const Kind& kind : kind_list)
    if (kind.unit != "degC" && Library::instance().conversion(parse_unit(kind.unit), expression))
      return &kind;
  return nullptr;
}

std::string phrase(const Expression& expression, const std::string& text) {
  const Kind* kind = kind_of(expression);
  return kind ? std::string(kind->phrase) : "a quantity in " + text;
}

std::string expectation(const Wanted& wanted) {
  const Kind* kind = kind_of(wanted.expression);
  const std::string what =
      phrase(wanted.expression, wanted.text) + (wanted.water ? " of water" : "");
  return what + ", such as " + (kind ? std::string(kind->example) : "1 " + wanted.text);
}

[[noreturn]] void refuse(std::string_view text, const Wanted& wanted, const std::string& why) {
  throw Error("cannot read \"" + std::string(text) + "\" as " +
                  phrase(wanted.expression, wanted.text) + ": " + why,
              expectation(wanted));
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

/// Takes a number off the front. On failure `why` says what is wrong.
std::optional<double> take_number(std::string_view& text, std::string& why) {
  const std::string_view whole = text;
  bool negative = false;
  if (!text.empty() && (text.front() == '+' || text.front() == '-')) {
    negative = text.front() == '-';
    text.remove_prefix(1);
  }
  // from_chars alone would also take inf, nan and infinity.
  const bool starts = !text.empty() && (is_digit(text.front()) ||
                                        (text.size() > 1 && text[0] == '.' && is_digit(text[1])));
  if (!starts) {
    why = "it does not begin with a number";
    text = whole;
    return std::nullopt;
  }
  if (text.size() > 1 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X')) {
    why = "write the number with decimal digits";
    return std::nullopt;
  }
  double value = 0;
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::general);
  if (error != std::errc() || !std::isfinite(value)) {
    why = "the number is too large or too small";
    return std::nullopt;
  }
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  if (text.size() > 1 && text[0] == ',' && is_digit(text[1])) {
    why = "write a decimal point, not a comma";
    return std::nullopt;
  }
  return negative ? -value : value;
}

std::string offers(std::string_view number, const Kind& kind) {
  std::string result;
  std::string_view rest = kind.offers;
  while (!rest.empty()) {
    const std::size_t bar = rest.find('|');
    result += (result.empty() ? "" : " or ") + std::string(number) + " " +
              std::string(rest.substr(0, bar));
    rest = bar == std::string_view::npos ? std::string_view() : rest.substr(bar + 1);
  }
  return result;
}

double bare_number(std::string_view text, double value, const Wanted& wanted) {
  if (wanted.expression.canonical() == "1") return value;
  const Kind* kind = kind_of(wanted.expression);
  std::string remedy = kind ? offers(text, *kind) : std::string();
  if (remedy.empty()) remedy = std::string(text) + " " + wanted.text;
  refuse(text, wanted, "a number alone has no unit; write " + remedy);
}

/// Weeks and days as obstetrics writes them: the days of `36+4 wk`, behind the plus sign.
double weeks_and_days(std::string_view text, double weeks, std::string_view rest,
                      const Wanted& wanted) {
  rest.remove_prefix(1);
  const bool one_digit =
      !rest.empty() && rest[0] >= '0' && rest[0] <= '6' && (rest.size() == 1 || !is_digit(rest[1]));
  if (!one_digit || weeks != std::floor(weeks) || weeks < 0)
    refuse(text, wanted, "weeks and days are written 36+4 wk, with 0 to 6 days");
  const double days = rest[0] - '0';
  const std::string_view unit = trimmed(rest.substr(1));
  if (unit.empty()) refuse(text, wanted, "the unit is missing; write " + std::string(text) + " wk");
  if (parse_unit(unit).canonical() != "1 week^1")
    refuse(text, wanted, "only weeks take days behind a plus sign, such as 36+4 wk");
  const auto conversion = Library::instance().conversion(parse_unit("wk"), wanted.expression);
  if (!conversion) refuse(text, wanted, "it is a length of time");
  return (*conversion)(weeks + days / 7);
}

double converted(std::string_view text, double value, std::string_view unit, const Wanted& wanted) {
  Expression given;
  try {
    given = parse_unit(unit);
  } catch (const Error& error) {
    refuse(text, wanted, error.what());
  }
  if (wanted.expression.canonical() == "1 K^1" && given.is_temperature())
    refuse(text, wanted, "a difference of temperatures is written in K, such as 2 K");
  Library& library = Library::instance();
  auto conversion = library.conversion(given, wanted.expression);
  if (!conversion && wanted.water) {
    for (const auto& [measures, density] :
         {std::pair{Measures::mass, "mL/g"}, std::pair{Measures::volume, "g/mL"}}) {
      if (conversion || !given.measures(measures)) continue;
      Expression as_other = given;
      for (const Factor& factor : parse_unit(density).factors) as_other.factors.push_back(factor);
      conversion = library.conversion(as_other, wanted.expression);
    }
  }
  if (!conversion)
    throw Error("\"" + std::string(text) + "\" is " + phrase(given, std::string(unit)) + ", but " +
                    expectation(wanted) + ", is expected",
                expectation(wanted));
  const double result = (*conversion)(value);
  if (!std::isfinite(result)) refuse(text, wanted, "the number is too large");
  return result;
}

/// `1 h 30 min`: the sum of two or more lengths of time, or nothing when the text is none.
std::optional<double> compound_time(std::string_view text, const Wanted& wanted) {
  if (!Library::instance().conversion(parse_unit("h"), wanted.expression)) return std::nullopt;
  std::string_view rest = text;
  const bool negative = !rest.empty() && rest.front() == '-';
  if (negative) rest.remove_prefix(1);
  double sum = 0;
  int parts = 0;
  while (!rest.empty()) {
    std::string why;
    if (!is_digit(rest.front())) return std::nullopt;
    const auto number = take_number(rest, why);
    if (!number) return std::nullopt;
    rest = trimmed(rest);
    std::size_t length = 0;
    while (length < rest.size() && ((rest[length] >= 'a' && rest[length] <= 'z') ||
                                    (rest[length] >= 'A' && rest[length] <= 'Z')))
      ++length;
    if (length == 0) return std::nullopt;
    const std::string_view unit = rest.substr(0, length);
    sum += converted(text, *number, unit, wanted);
    rest = trimmed(rest.substr(length));
    ++parts;
  }
  if (parts < 2) return std::nullopt;
  return negative ? -sum : sum;
}

double read(std::string_view text, const Wanted& wanted) {
  std::string_view rest = text;
  std::string why;
  const auto number = take_number(rest, why);
  if (!number) refuse(text, wanted, why);
  if (!rest.empty() && rest.front() == '+') return weeks_and_days(text, *number, rest, wanted);
  rest = trimmed(rest);
  if (rest.empty()) return bare_number(text, *number, wanted);
  if (const auto time = compound_time(text, wanted)) return *time;
  if (is_digit(rest.front()) && rest.substr(0, 2) != "1/")
    refuse(text, wanted, "there are two numbers; write one, without blanks");
  return converted(text, *number, rest, wanted);
}

}  // namespace

double to_model(std::string_view text, std::string_view unit) {
  const Wanted wanted = wanted_unit(unit);
  if (text.size() > longest_quantity)
    refuse(text.substr(0, 20), wanted, "the text is too long for a quantity");
  const std::string plain = plain_signs(text);
  return read(trimmed(plain), wanted);
}

std::string shortest(double value) {
  char digits[64];
  const auto result = std::to_chars(digits, digits + sizeof digits, value);
  return std::string(digits, result.ptr);
}

std::string from_model(double value, std::string_view unit) {
  const Wanted wanted = wanted_unit(unit);
  if (!std::isfinite(value))
    throw Error("a quantity that is not finite has no text", expectation(wanted));
  return wanted.text == "1" ? shortest(value) : shortest(value) + " " + wanted.text;
}

double to_number(std::string_view text) {
  const std::string expected = "a number, such as 0.5";
  const std::string plain = plain_signs(text);
  std::string_view rest = trimmed(plain);
  std::string why;
  const auto number = take_number(rest, why);
  if (!number || !rest.empty())
    throw Error("cannot read \"" + std::string(text.substr(0, longest_quantity)) +
                    "\" as a number" + (number ? std::string() : ": " + why),
                expected);
  return *number;
}

double convert(double value, std::string_view from, std::string_view to) {
  const Wanted wanted = wanted_unit(to);
  return converted(shortest(value) + " " + std::string(from), value, from, wanted);
}

bool is_unit(std::string_view unit) {
  try {
    wanted_unit(unit);
    return true;
  } catch (const Error&) {
    return false;
  }
}

std::string shown(std::string_view unit) { return wanted_unit(unit).text; }

std::string for_udunits(std::string_view unit) {
  const std::string text = shown(unit);
  const auto is_letter = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); };
  std::string result;
  for (std::size_t at = 0; at < text.size();) {
    std::size_t end = at;
    while (end < text.size() && is_letter(text[end])) ++end;
    if (end == at) {
      result += text[at++];
      continue;
    }
    const std::string_view symbol = std::string_view(text).substr(at, end - at);
    const auto* const known = std::find_if(std::begin(symbol_list), std::end(symbol_list),
                                           [&](const Symbol& s) { return s.text == symbol; });
    result += known == std::end(symbol_list) ? symbol : known->udunits;
    at = end;
  }
  return result;
}

std::string description(std::string_view unit) { return expectation(wanted_unit(unit)); }

std::vector<std::string> symbols() {
  std::vector<std::string> result;
  for (const Symbol& symbol : symbol_list) result.emplace_back(symbol.text);
  return result;
}

}  // namespace serosa::units
