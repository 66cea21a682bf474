// SPDX-License-Identifier: Apache-2.0
#include "study/experiment.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <functional>
#include <limits>

namespace serosa::study {

namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();
constexpr double same_hour = 1e-9;
constexpr int points = 200;  // of a mean, an extreme or a crossing

bool follows_a_course(Taking taking) {
  return taking == Taking::mean || taking == Taking::most || taking == Taking::least ||
         taking == Taking::reaches;
}

/// All figures of a reading: its own and the one it is held against.
template <class Visit>
void each_figure(const Reading& reading, Visit visit) {
  if (!reading.formula.empty()) return;
  visit(reading.figure);
  if (reading.against) visit(reading.against->figure);
}

double divisor(const baby::Body<double>& b, Divisor per) {
  switch (per) {
#define SEROSA_ITEM(name, word, unit, member, meaning) \
  case Divisor::name:                                  \
    return b.member;
    SEROSA_DIVISORS(SEROSA_ITEM)
#undef SEROSA_ITEM
    case Divisor::none:
      return 1;
  }
  return 1;
}

/// Index of the observation at an hour.
std::size_t index_of(std::span<const double> times, double hour) {
  const auto place = std::lower_bound(times.begin(), times.end(), hour - same_hour);
  if (place == times.end()) throw std::out_of_range("no observation at this hour");
  return static_cast<std::size_t>(place - times.begin());
}

double mean_over(std::span<const double> times, std::span<const double> values) {
  if (times.size() == 1) return values[0];
  double area = 0;
  for (std::size_t i = 1; i < times.size(); ++i)
    area += 0.5 * (values[i] + values[i - 1]) * (times[i] - times[i - 1]);
  return area / (times.back() - times.front());
}

/// Hour of the first crossing, between two observations by a straight line.
double crossing(std::span<const double> times, std::span<const double> values, double level) {
  for (std::size_t i = 0; i < times.size(); ++i) {
    if (values[i] == level) return times[i];
    if (i > 0 && (values[i - 1] < level) != (values[i] < level))
      return times[i - 1] +
             (times[i] - times[i - 1]) * (level - values[i - 1]) / (values[i] - values[i - 1]);
  }
  return none;
}

/// Reads sums and products of numbers, names and ln(); `value_of` gives what a name stands for.
class Formula {
 public:
  Formula(std::string_view text, std::function<double(const std::string&)> value_of)
      : rest_(text), value_of_(std::move(value_of)) {}

  double value() {
    const double x = sum();
    skip();
    if (!rest_.empty()) fail("cannot understand \"" + std::string(rest_) + "\"");
    return x;
  }

 private:
  [[noreturn]] static void fail(const std::string& why) { throw FormulaError(why); }
  void skip() { rest_.remove_prefix(std::min(rest_.find_first_not_of(' '), rest_.size())); }
  bool accept(char c) {
    skip();
    if (rest_.empty() || rest_.front() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }
  double sum() {
    double x = product();
    while (true) {
      if (accept('+'))
        x += product();
      else if (accept('-'))
        x -= product();
      else
        return x;
    }
  }
  double product() {
    double x = factor();
    while (true) {
      if (accept('*'))
        x *= factor();
      else if (accept('/'))
        x /= factor();
      else
        return x;
    }
  }
  double bracketed() {
    const double x = sum();
    if (!accept(')')) fail("a closing bracket is missing");
    return x;
  }
  double factor() {
    if (++depth_ > 100) fail("brackets are nested too deeply");
    const double x = factor_inside();
    --depth_;
    return x;
  }
  double factor_inside() {
    if (accept('-')) return -factor();
    if (accept('(')) return bracketed();
    if (rest_.empty()) fail("the formula ends too early");
    double number = 0;
    const auto [end, error] = std::from_chars(rest_.data(), rest_.data() + rest_.size(), number);
    if (error == std::errc{}) {
      rest_.remove_prefix(static_cast<std::size_t>(end - rest_.data()));
      return number;
    }
    const auto part_of_name = [](char c) {
      return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
    };
    std::size_t length = 0;
    while (length < rest_.size() && part_of_name(rest_[length])) ++length;
    if (length == 0) fail("cannot understand \"" + std::string(rest_) + "\"");
    const std::string name(rest_.substr(0, length));
    rest_.remove_prefix(length);
    if (name == "ln" && accept('(')) return std::log(bracketed());
    return value_of_(name);
  }

  std::string_view rest_;
  std::function<double(const std::string&)> value_of_;
  int depth_ = 0;
};

/// Values of all readings of one experiment, formulas last.
class Evaluation {
 public:
  Evaluation(const Experiment& e, std::function<double(const Figure&)> figure)
      : e_(e), figure_(std::move(figure)), values_(e.readings.size()), busy_(e.readings.size()) {}

  double value(std::size_t i) {
    if (values_[i]) return *values_[i];
    if (busy_[i])
      throw FormulaError("the reading \"" + e_.readings[i].name + "\" depends on itself");
    busy_[i] = true;
    values_[i] = compute(e_.readings[i]);
    busy_[i] = false;
    return *values_[i];
  }

 private:
  double compute(const Reading& r) {
    if (!r.formula.empty())
      return r.scale * Formula(r.formula, [&](const std::string& name) {
                         return value(index(name));
                       }).value();
    const double x = figure_(r.figure);
    if (!r.against) return r.scale * x;
    const double other = r.against->scale * figure_(r.against->figure);
    switch (r.against->comparison) {
      case Comparison::ratio:
        return r.scale * x / other;
      case Comparison::difference:
        return r.scale * (x - other);
      case Comparison::relative_change:
        return r.scale * (x - other) / other;
    }
    return none;
  }
  std::size_t index(const std::string& name) const {
    for (std::size_t i = 0; i < e_.readings.size(); ++i)
      if (formula_name(e_.readings[i].name) == name) return i;
    throw FormulaError("there is no reading \"" + name + "\"");
  }

  const Experiment& e_;
  std::function<double(const Figure&)> figure_;
  std::vector<std::optional<double>> values_;
  std::vector<bool> busy_;
};

Verdict judge(const Reading& reading, double simulated) {
  if (!std::isfinite(simulated)) return Verdict::not_computed;
  if (!reading.published) return Verdict::shown;
  const bool holds = reading.published->holds(simulated);
  if (reading.known_failure.empty()) return holds ? Verdict::holds : Verdict::fails;
  return holds ? Verdict::known_failure_holds : Verdict::known_failure;
}

/// The worst verdict; readings that are only shown do not count unless they could not be computed.
Verdict overall(std::span<const Finding> findings) {
  const auto any = [&](Verdict v) {
    return std::any_of(findings.begin(), findings.end(),
                       [&](const Finding& f) { return f.verdict == v; });
  };
  for (const Verdict v : {Verdict::not_computed, Verdict::fails, Verdict::known_failure,
                          Verdict::known_failure_holds, Verdict::holds})
    if (any(v)) return v;
  return Verdict::shown;
}

}  // namespace

Published with_deviation(double mean, double standard_deviation) {
  return {mean, mean - 2 * standard_deviation, mean + 2 * standard_deviation, "mean ± 2 SD", false};
}

Published with_interval(std::optional<double> value, double low, double high, std::string kind) {
  return {value, low, high, std::move(kind), false};
}

Published without_spread(double value) {
  const double margin = 0.2 * std::abs(value);
  return {value, value - margin, value + margin, "± 20 %", false};
}

Published bounded(double more_than, double less_than) {
  return {std::nullopt, more_than, less_than, "bound", true};
}

std::string formula_name(std::string_view reading) {
  std::string name(reading);
  std::replace_if(
      name.begin(), name.end(), [](char c) { return c == ' ' || c == '-'; }, '_');
  return name;
}

void check_formulas(const Experiment& experiment) {
  Evaluation evaluation(experiment, [](const Figure&) { return 1.0; });
  for (std::size_t i = 0; i < experiment.readings.size(); ++i) evaluation.value(i);
}

std::vector<double> hours(const Experiment& experiment, std::size_t arm) {
  std::vector<double> times;
  for (const Reading& reading : experiment.readings)
    each_figure(reading, [&](const Figure& f) {
      if (f.arm != arm) return;
      times.push_back(f.from);
      if (f.taking == Taking::at) return;
      times.push_back(f.to);
      if (!follows_a_course(f.taking)) return;
      for (int i = 1; i < points; ++i) times.push_back(f.from + (f.to - f.from) * i / points);
    });
  if (times.empty()) times.push_back(0);  // an arm that only others are based on
  std::sort(times.begin(), times.end());
  const auto same = [](double a, double b) { return b - a < same_hour; };
  times.erase(std::unique(times.begin(), times.end(), same), times.end());
  return times;
}

double take(const Figure& f, const simulate::Result& result, std::span<const double> times) {
  const double per = divisor(result.body, f.per);
  const auto at = [&](double hour) { return result.at(index_of(times, hour), f.output); };
  if (f.taking == Taking::at) return at(f.from) / per;
  if (f.taking == Taking::change) return (at(f.to) - at(f.from)) / per;
  if (f.taking == Taking::rate) return (at(f.to) - at(f.from)) / (f.to - f.from) / per;
  const std::size_t first = index_of(times, f.from);
  const std::size_t last = index_of(times, f.to);
  std::vector<double> values;
  for (std::size_t i = first; i <= last; ++i) values.push_back(result.at(i, f.output));
  if (std::any_of(values.begin(), values.end(), [](double x) { return std::isnan(x); }))
    return none;
  const auto during = times.subspan(first, last - first + 1);
  if (f.taking == Taking::mean) return mean_over(during, values) / per;
  if (f.taking == Taking::most) return *std::max_element(values.begin(), values.end()) / per;
  if (f.taking == Taking::least) return *std::min_element(values.begin(), values.end()) / per;
  return crossing(during, values, f.level);
}

std::vector<Outcome> carry_out(std::span<const Experiment> experiments,
                               const simulate::Settings& settings) {
  std::vector<std::vector<double>> times;
  for (const Experiment& e : experiments)
    for (std::size_t arm = 0; arm < e.arms.size(); ++arm) times.push_back(hours(e, arm));
  std::vector<simulate::Job> jobs;
  for (const Experiment& e : experiments)
    for (const Arm& arm : e.arms) jobs.push_back({&arm.c, &arm.parameters, times[jobs.size()]});
  std::vector<simulate::Result> results(jobs.size());
  simulate::run(jobs, results, settings);

  std::vector<Outcome> outcomes;
  std::size_t first = 0;
  for (const Experiment& e : experiments) {
    Outcome outcome;
    Evaluation evaluation(
        e, [&](const Figure& f) { return take(f, results[first + f.arm], times[first + f.arm]); });
    for (std::size_t i = 0; i < e.readings.size(); ++i) {
      const double simulated = evaluation.value(i);
      outcome.findings.push_back({simulated, judge(e.readings[i], simulated)});
    }
    for (std::size_t arm = 0; arm < e.arms.size(); ++arm)
      outcome.runs.push_back(results[first + arm].report);
    outcome.verdict = overall(outcome.findings);
    outcomes.push_back(std::move(outcome));
    first += e.arms.size();
  }
  return outcomes;
}

Tally tally(std::span<const Experiment> experiments, std::span<const Outcome> outcomes, Role role,
            std::optional<ModelPart> part) {
  Tally t;
  for (std::size_t i = 0; i < experiments.size(); ++i) {
    if (experiments[i].role != role || (part && experiments[i].part != *part)) continue;
    ++t.all;
    const Verdict v = outcomes[i].verdict;
    t.holding += v == Verdict::holds || v == Verdict::known_failure_holds;
    t.known_failures += v == Verdict::known_failure;
    t.failing += v == Verdict::fails || v == Verdict::not_computed;
  }
  return t;
}

}  // namespace serosa::study
