// SPDX-License-Identifier: Apache-2.0
#include "study/target.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "study/bracket.hpp"

namespace serosa::study {

namespace {

namespace output = simulate::output;

/// The case with so much given on top, mL/kg.
care::Case with(const TargetQuestion& q, double amount) {
  care::Case c = *q.c;
  const care::Act act{"asked for", q.from, care::Bolus{q.fluid, amount, q.over}};
  const auto later = std::upper_bound(c.timeline.begin(), c.timeline.end(), act,
                                      [](const auto& a, const auto& b) { return a.at < b.at; });
  c.timeline.insert(later, act);
  c.until = std::max(c.until, q.at);
  return c;
}

/// Amounts to try, each for one set of parameters.
struct Trial {
  std::size_t set;
  double amount;
};

class Search {
 public:
  Search(const TargetQuestion& q, std::span<const baby::Parameters<double>> parameters,
         const simulate::Settings& settings)
      : q_(q), parameters_(parameters), settings_(settings), times_{0.0, q.at} {}

  std::vector<TargetAnswer> answers() {
    const std::size_t n = parameters_.size();
    std::vector<TargetAnswer> all(n);
    const auto none = deficits(each(n, 0.0)), most = deficits(each(n, q_.most));
    const double middle = 0.5 * (q_.low + q_.high);
    const std::array levels{q_.high, middle, q_.low};
    std::vector<std::array<double, 3>> amounts(n);
    std::vector<Sought> sought;
    for (std::size_t i = 0; i < n; ++i) {
      all[i].without = none[i];
      all[i].end = end(none[i], most[i]);
      for (std::size_t k = 0; k < levels.size(); ++k) {
        const double first = none[i] - levels[k], last = most[i] - levels[k];
        amounts[i][k] = first <= 0 ? 0.0 : q_.most;
        if (first > 0 && last < 0)
          sought.push_back({i, k, Bracket(0, first, q_.most, last, q_.tolerance)});
      }
    }
    close_in(sought, levels);
    for (const Sought& s : sought) amounts[s.set][s.level] = s.bracket.root();
    std::vector<Trial> last;
    for (std::size_t i = 0; i < n; ++i) {
      all[i].least = amounts[i][0], all[i].middle = amounts[i][1], all[i].most = amounts[i][2];
      if (std::isnan(all[i].least + all[i].middle + all[i].most)) all[i].end = TargetEnd::failed;
      last.push_back({i, std::isnan(all[i].middle) ? 0.0 : all[i].middle});
    }
    auto results = run(last);
    for (std::size_t i = 0; i < n; ++i) all[i].at_middle = std::move(results[i]);
    return all;
  }

 private:
  struct Sought {
    std::size_t set, level;
    Bracket bracket;
  };

  static std::vector<Trial> each(std::size_t n, double amount) {
    std::vector<Trial> trials;
    for (std::size_t i = 0; i < n; ++i) trials.push_back({i, amount});
    return trials;
  }

  TargetEnd end(double none, double most) const {
    if (std::isnan(none) || std::isnan(most)) return TargetEnd::failed;
    if (none < q_.low) return TargetEnd::over_filled;
    if (none <= q_.high) return TargetEnd::none_needed;
    return most > q_.high ? TargetEnd::no_fluid_does : TargetEnd::found;
  }

  /// All open brackets take a step together.
  void close_in(std::vector<Sought>& sought, const std::array<double, 3>& levels) {
    while (true) {
      std::vector<Trial> trials;
      std::vector<Sought*> open;
      for (Sought& s : sought)
        if (!s.bracket.done()) {
          trials.push_back({s.set, s.bracket.next()});
          open.push_back(&s);
        }
      if (open.empty()) return;
      const auto values = deficits(trials);
      for (std::size_t i = 0; i < open.size(); ++i)
        open[i]->bracket.tell(values[i] - levels[open[i]->level]);
    }
  }

  std::vector<simulate::Result> run(const std::vector<Trial>& trials) {
    std::vector<care::Case> cases;
    std::vector<simulate::Job> jobs;
    for (const Trial& t : trials) cases.push_back(with(q_, t.amount));
    for (std::size_t i = 0; i < trials.size(); ++i)
      jobs.push_back({&cases[i], &parameters_[trials[i].set], times_});
    std::vector<simulate::Result> results(jobs.size());
    simulate::run(jobs, results, settings_);
    return results;
  }

  /// mL/kg, NaN for a run that did not finish.
  std::vector<double> deficits(const std::vector<Trial>& trials) {
    std::vector<double> values;
    for (const auto& r : run(trials))
      values.push_back(r.report.status == simulate::RunStatus::finished
                           ? r.at(1, output::circulating_deficit) / r.body.weight
                           : std::nan(""));
    return values;
  }

  const TargetQuestion& q_;
  std::span<const baby::Parameters<double>> parameters_;
  const simulate::Settings& settings_;
  std::vector<double> times_;
};

}  // namespace

std::vector<TargetAnswer> targets(const TargetQuestion& question,
                                  std::span<const baby::Parameters<double>> parameters,
                                  const simulate::Settings& settings) {
  return Search(question, parameters, settings).answers();
}

}  // namespace serosa::study
