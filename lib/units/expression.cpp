// SPDX-License-Identifier: Apache-2.0
#include "units/expression.hpp"

#include <array>
#include <charconv>
#include <map>
#include <utility>

#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::units {
namespace {

constexpr std::size_t longest_unit = 80;
constexpr int deepest_parentheses = 4;
constexpr int largest_power = 4;

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

[[noreturn]] void refuse(const std::string& message) {
  throw Error(message, "a unit, such as mL/kg/h");
}

std::string advice_for(std::string_view symbol) {
  for (const Advice& advice : advice_list)
    if (advice.wrong == symbol) return "; write " + std::string(advice.right);
  const std::string near = nearest(symbol, symbols());
  return near.empty() ? std::string() : "; did you mean " + near + "?";
}

/// A recursive descent over one unit; each function reads one level of the grammar.
class Parser {
 public:
  explicit Parser(std::string_view text) : rest_(text) {}

  Expression whole() {
    Expression result = product(0);
    if (!rest_.empty()) refuse("there is a \")\" without \"(\"");
    return result;
  }

 private:
  Expression product(int depth) {
    blanks();
    Expression result = factor(depth);
    bool divided = false;
    while (true) {
      const bool spaced = blanks();
      if (rest_.empty() || rest_.front() == ')') return result;
      if (take('/')) {
        blanks();
        append(result, factor(depth), -1);
        divided = true;
      } else if (take('*') || take('.') || spaced) {
        blanks();
        if (divided)
          refuse("it is not clear what stands below the \"/\"; write mL/(kg h) or mL/kg/h");
        append(result, factor(depth), 1);
      } else {
        refuse("two units stand together; write a blank or a \"/\" between them");
      }
    }
  }

  Expression factor(int depth) {
    if (rest_.empty()) refuse("the unit ends too early");
    if (take('(')) {
      if (depth == deepest_parentheses) refuse("there are too many parentheses");
      Expression inner = product(depth + 1);
      if (!take(')')) refuse("a \")\" is missing");
      return raised(inner, power());
    }
    if (is_digit(rest_.front())) return number(depth);
    Expression one;
    one.factors.push_back({&symbol(), 1});
    return raised(one, power());
  }

  Expression number(int depth) {
    double value = 0;
    const auto [end, error] =
        std::from_chars(rest_.data(), rest_.data() + rest_.size(), value, std::chars_format::fixed);
    if (error != std::errc() || !(value > 0)) refuse("a number in the unit cannot be read");
    rest_.remove_prefix(static_cast<std::size_t>(end - rest_.data()));
    if (depth == 0 && value != 1)
      refuse("a number in the unit stands in parentheses, such as mL/min/(1.73 m2)");
    Expression result;
    result.number = value;
    // 1.73m2 is 1.73 times m2: make the missing blank no error.
    if (depth > 0 && !rest_.empty() && is_letter(rest_.front())) append(result, factor(depth), 1);
    return result;
  }

  const Symbol& symbol() {
    const Symbol* found = nullptr;
    for (const Symbol& candidate : symbol_list) {
      const std::size_t length = candidate.text.size();
      const bool fits = rest_.substr(0, length) == candidate.text &&
                        (rest_.size() == length || !is_letter(rest_[length]));
      if (fits && (!found || length > found->text.size())) found = &candidate;
    }
    if (found) {
      rest_.remove_prefix(found->text.size());
      return *found;
    }
    std::size_t length = 0;
    while (length < rest_.size() && (is_letter(rest_[length]) || is_digit(rest_[length]))) ++length;
    if (length == 0) refuse("\"" + std::string(rest_.substr(0, 1)) + "\" is no part of a unit");
    const std::string_view wrong = rest_.substr(0, length);
    refuse("unknown unit \"" + std::string(wrong) + "\"" + advice_for(wrong));
  }

  int power() {
    const bool caret = take('^');
    const bool minus = !rest_.empty() && rest_.front() == '-';
    if (minus) rest_.remove_prefix(1);
    if (rest_.empty() || !is_digit(rest_.front())) {
      if (caret || minus) refuse("a power is missing");
      return 1;
    }
    int value = 0;
    while (!rest_.empty() && is_digit(rest_.front()) && value <= largest_power) {
      value = 10 * value + (rest_.front() - '0');
      rest_.remove_prefix(1);
    }
    if (value == 0 || value > largest_power) refuse("a power lies between 1 and 4");
    return minus ? -value : value;
  }

  static Expression raised(Expression expression, int power) {
    if (power == 1) return expression;
    double number = 1;
    for (int i = 0; i < (power < 0 ? -power : power); ++i) number *= expression.number;
    expression.number = power < 0 ? 1 / number : number;
    for (Factor& factor : expression.factors) factor.power *= power;
    return expression;
  }

  static void append(Expression& to, const Expression& what, int sign) {
    to.number = sign > 0 ? to.number * what.number : to.number / what.number;
    for (const Factor& factor : what.factors)
      to.factors.push_back({factor.symbol, sign * factor.power});
  }

  bool take(char c) {
    if (rest_.empty() || rest_.front() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }

  bool blanks() {
    bool any = false;
    while (take(' ')) any = true;
    return any;
  }

  std::string_view rest_;
};

}  // namespace

std::string Expression::canonical() const {
  std::map<std::string_view, int> powers;
  for (const Factor& factor : factors) powers[factor.symbol->udunits] += factor.power;
  std::string text = shortest(number);
  for (const auto& [symbol, power] : powers)
    if (power != 0) text += " " + std::string(symbol) + "^" + std::to_string(power);
  return text;
}

bool Expression::is_temperature() const {
  return factors.size() == 1 && factors.front().symbol->udunits == "degC";
}

bool Expression::measures(Measures what) const {
  for (const Factor& factor : factors)
    if (factor.symbol->measures == what && factor.power > 0) return true;
  return false;
}

Expression parse_unit(std::string_view text) {
  if (text.size() > longest_unit) refuse("the unit is too long");
  const std::string plain = plain_signs(text);
  Expression result = Parser(plain).whole();
  for (const Factor& factor : result.factors)
    if (factor.symbol->udunits == "degC" &&
        (result.factors.size() > 1 || factor.power != 1 || result.number != 1))
      refuse("degC is a point on the scale; in a product write K, such as W/m2/K");
  return result;
}

std::string plain_signs(std::string_view text) {
  static constexpr std::array<std::pair<std::string_view, std::string_view>, 16> signs = {{
      {"\u00b0", "deg"},
      {"\u2103", "degC"},
      {"\u00b5", "u"},
      {"\u03bc", "u"},
      {"\u00b9", "1"},
      {"\u00b2", "2"},
      {"\u00b3", "3"},
      {"\u207b", "-"},
      {"\u2212", "-"},
      {"\u00b7", "*"},
      {"\u22c5", "*"},
      {"\u00a0", " "},
      {"\u2009", " "},
      {"\u202f", " "},
      {"\t", " "},
      {"\u2007", " "},
  }};
  std::string result;
  while (!text.empty()) {
    bool found = false;
    for (const auto& [sign, plain] : signs)
      if (text.substr(0, sign.size()) == sign) {
        result += plain;
        text.remove_prefix(sign.size());
        found = true;
        break;
      }
    if (found) continue;
    result += text.front();
    text.remove_prefix(1);
  }
  return result;
}

}  // namespace serosa::units
