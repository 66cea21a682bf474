// SPDX-License-Identifier: Apache-2.0
#include "study/sensitivity_analysis.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <exception>
#include <limits>
#include <mutex>
#include <thread>

#include "study/sensitivity_local.hpp"

namespace serosa::study {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
using simulate::output_list;

/// Does work 0 … count − 1 with so many threads; rethrows what one of them threw.
void in_parallel(std::size_t count, int threads, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  std::exception_ptr fault;
  std::mutex mutex;
  const auto loop = [&] {
    try {
      for (std::size_t i = next++; i < count; i = next++) work(i);
    } catch (...) {
      const std::scoped_lock lock(mutex);
      if (!fault) fault = std::current_exception();
    }
  };
  {
    std::vector<std::jthread> others;
    for (int i = 1; i < threads; ++i) others.emplace_back(loop);
    loop();
  }
  if (fault) std::rethrow_exception(fault);
}

/// The table of a study seen as answers.
class Answers {
 public:
  Answers(const Study& study, const SensitivityPlan& plan, const ColumnReader& column)
      : study_(study), plan_(plan), layout_(study), column_(column) {
    for (const auto o : study.outputs) {
      const auto& info = output_list[o];
      list_.push_back({std::string(info.name), std::string(info.unit), std::string(info.meaning)});
    }
    for (const Band& band : study.bands)
      list_.push_back({band.name, "1", "Share of the runs in the band " + band.name});
    for (const RunFigure& f : plan.figures) list_.push_back({f.name, f.unit(), f.meaning, false});
  }

  const std::vector<Answer>& list() const { return list_; }

  /// One answer of one arm at one time, all runs. `never` notes runs that did not reach a
  /// level.
  std::vector<double> of_arm(std::size_t arm, std::size_t answer, std::size_t time,
                             std::vector<bool>* never = nullptr) const {
    if (answer < study_.outputs.size()) return read(layout_.value(arm, answer, time));
    answer -= study_.outputs.size();
    if (answer < study_.bands.size()) {
      const Band& band = study_.bands[answer];
      const auto output = static_cast<std::size_t>(
          std::find(study_.outputs.begin(), study_.outputs.end(), band.output) -
          study_.outputs.begin());
      auto values = read(layout_.value(arm, output, time));
      for (double& x : values)
        if (!std::isnan(x)) x = x >= band.low && x < band.high ? 1 : 0;
      return values;
    }
    return figure(arm, plan_.figures[answer - study_.bands.size()], never);
  }

  /// Runs that finished in every arm.
  std::vector<bool> finished() const {
    std::vector<bool> all(layout_.runs, true);
    for (std::size_t arm = 0; arm < layout_.arms; ++arm) {
      const auto status = read(layout_.fixed(arm, Layout::status));
      for (std::size_t i = 0; i < all.size(); ++i)
        all[i] = all[i] && status[i] == static_cast<double>(simulate::RunStatus::finished);
    }
    return all;
  }

 private:
  std::vector<double> read(std::size_t column) const {
    std::vector<double> values(layout_.runs);
    column_(column, values);
    return values;
  }

  std::vector<double> figure(std::size_t arm, const RunFigure& f, std::vector<bool>* never) const {
    const auto place = [&](simulate::output::Index o) {
      return static_cast<std::size_t>(
          std::find(study_.series_outputs.begin(), study_.series_outputs.end(), o) -
          study_.series_outputs.begin());
    };
    const std::size_t hours = study_.series_times.size();
    std::vector<std::vector<double>> series(hours), blood(f.of_clamped_volume ? hours : 0);
    for (std::size_t t = 0; t < hours; ++t) {
      series[t] = read(layout_.series(arm, place(f.output), t));
      if (f.of_clamped_volume)
        blood[t] = read(layout_.series(arm, place(simulate::output::blood_volume), t));
    }
    std::vector<double> values(layout_.runs), one(hours), other(blood.size());
    for (std::size_t i = 0; i < values.size(); ++i) {
      for (std::size_t t = 0; t < hours; ++t) one[t] = series[t][i];
      for (std::size_t t = 0; t < blood.size(); ++t) other[t] = blood[t][i];
      bool reached = true;
      values[i] = figure_of_run<double>(f, study_.series_times, one, other, reached);
      if (never && !reached) (*never)[i] = true;
    }
    return values;
  }

  const Study& study_;
  const SensitivityPlan& plan_;
  Layout layout_;
  const ColumnReader& column_;
  std::vector<Answer> list_;
};

/// Takes the measures of one column of answers, one estimate per measure and input.
using Estimator = std::function<std::vector<std::vector<Estimate>>(const std::vector<double>&)>;

std::vector<Estimate> plain(const std::vector<double>& values) {
  std::vector<Estimate> all;
  for (const double x : values) all.push_back({x, nan, nan});
  return all;
}

/// Base points, trajectories or runs of which no run failed.
std::vector<std::uint64_t> whole_points(const std::vector<bool>& finished, std::size_t width) {
  std::vector<std::uint64_t> kept;
  for (std::uint64_t p = 0; p * width < finished.size(); ++p) {
    bool whole = true;
    for (std::size_t k = 0; k < width; ++k) whole = whole && finished[p * width + k];
    if (whole) kept.push_back(p);
  }
  return kept;
}

void note_spread(const std::vector<double>& values, const std::vector<bool>& used, double& mean,
                 double& sd) {
  double sum = 0, squares = 0, n = 0;
  for (std::size_t i = 0; i < values.size(); ++i)
    if (used[i]) sum += values[i], ++n;
  mean = n > 0 ? sum / n : nan;
  for (std::size_t i = 0; i < values.size(); ++i)
    if (used[i]) squares += (values[i] - mean) * (values[i] - mean);
  sd = n > 1 ? std::sqrt(squares / (n - 1)) : nan;
}

/// Fills the result's tables, answer by answer.
void fill(SensitivityResult& r, const Study& s, const Answers& answers,
          const std::vector<bool>& used, const Estimator& estimate,
          const std::vector<Estimator>& smaller, int threads) {
  const std::size_t arms = r.arms.size(), n = r.answers.size(), times = r.times.size();
  const std::size_t all = arms * n * times;
  for (std::size_t m = 0; m < r.measures.size(); ++m)
    r.values.emplace_back(all * r.width(m), Estimate{nan, nan, nan});
  r.mean.assign(all, nan);
  r.sd.assign(all, nan);
  r.never.assign(arms * n, 0);
  r.by_size.assign(r.sizes.size() * 2 * arms * n * r.inputs.size(), Estimate{nan, nan, nan});
  const auto runs = static_cast<double>(std::count(used.begin(), used.end(), true));
  in_parallel(all, threads, [&](std::size_t place) {
    const std::size_t time = place % times, answer = place / times % n, arm = place / times / n;
    if (!r.answers[answer].timed && time > 0) return;
    std::vector<bool> never(used.size(), false);
    std::vector<double> values;
    if (arm < s.arms.size()) {
      values = answers.of_arm(arm, answer, time, &never);
    } else {
      values = answers.of_arm(arm - s.arms.size() + 1, answer, time, &never);
      const auto first = answers.of_arm(0, answer, time, &never);
      for (std::size_t i = 0; i < values.size(); ++i) values[i] -= first[i];
    }
    if (!r.answers[answer].timed)
      for (std::size_t i = 0; i < used.size(); ++i)
        if (used[i] && never[i]) r.never[arm * n + answer] += 1 / runs;
    note_spread(values, used, r.mean[place], r.sd[place]);
    const auto found = estimate(values);
    for (std::size_t m = 0; m < found.size(); ++m)
      std::copy(found[m].begin(), found[m].end(),
                r.values[m].begin() + static_cast<std::ptrdiff_t>(place * r.width(m)));
    if (r.answers[answer].timed && time + 1 < times) return;
    for (std::size_t size = 0; size < smaller.size(); ++size) {
      const auto fewer = smaller[size](values);
      for (std::size_t m = 0; m < 2; ++m)
        for (std::size_t j = 0; j < r.inputs.size(); ++j)
          r.by_size[(((size * 2 + m) * arms + arm) * n + answer) * r.inputs.size() + j] =
              fewer[m][j];
    }
  });
}

void by_indices(SensitivityResult& r, const Study& s, const SensitivityPlan& plan,
                const Answers& answers, int threads) {
  const RadialPlan& radial = *s.design.radial;
  for (const auto& g : radial.groups) r.inputs.push_back(g.name);
  for (const auto& [one, other] : radial.pairs)
    r.pairs.push_back(radial.groups[one].name + " and " + radial.groups[other].name);
  const auto kept = whole_points(answers.finished(), radial.width());
  r.all_points = radial.base;
  r.points = kept.size();
  std::vector<bool> used(radial.runs(), false);
  for (const auto p : kept) used[p * radial.width()] = used[p * radial.width() + 1] = true;
  const auto take = [](const IndexEstimator& estimator, const std::vector<double>& values) {
    auto found = estimator.estimate(values);
    return std::vector<std::vector<Estimate>>{std::move(found.first), std::move(found.total),
                                              std::move(found.second)};
  };
  const IndexEstimator estimator(radial, plan.indices, kept);
  std::vector<IndexEstimator> fewer;
  if (plan.convergence)
    for (const std::uint64_t part : {8u, 4u, 2u}) {
      const std::uint64_t size = radial.base / part;
      if (size < 2 * std::max<std::uint64_t>(8, radial.scrambles)) continue;
      std::vector<std::uint64_t> first;
      for (const auto p : kept)
        if (p < size) first.push_back(p);
      r.sizes.push_back(size);
      fewer.emplace_back(radial, plan.indices, first);
    }
  std::vector<Estimator> smaller;
  for (const auto& f : fewer)
    smaller.push_back([&](const std::vector<double>& values) { return take(f, values); });
  fill(
      r, s, answers, used,
      [&](const std::vector<double>& values) {
        auto found = take(estimator, values);
        if (r.measures.size() < 3) found.pop_back();
        return found;
      },
      smaller, threads);
}

void by_elementary_effects(SensitivityResult& r, const Study& s, const Answers& answers,
                           int threads) {
  const TrajectoryPlan& plan = *s.design.trajectories;
  for (const auto& g : plan.groups) r.inputs.push_back(g.name);
  const auto steps = steps_of(plan, s.design.names, s.design.seed);
  const auto finished = answers.finished();
  const auto kept = whole_points(finished, plan.width());
  r.all_points = plan.trajectories;
  r.points = kept.size();
  std::vector<bool> used(plan.runs(), false);
  for (const auto p : kept)
    for (std::size_t k = 0; k < plan.width(); ++k) used[p * plan.width() + k] = true;
  fill(
      r, s, answers, used,
      [&](std::vector<double> values) {
        for (std::size_t i = 0; i < values.size(); ++i)
          if (!used[i]) values[i] = nan;
        const auto e = elementary_effects(plan, steps, values, s.confidence);
        return std::vector<std::vector<Estimate>>{e.mu_star, plain(e.mu), plain(e.sigma)};
      },
      {}, threads);
}

void by_rank_correlations(SensitivityResult& r, const Study& s, const Answers& answers,
                          int threads) {
  for (const auto& input : s.inputs) r.inputs.push_back(input.path);
  const auto used = answers.finished();
  std::vector<std::vector<double>> inputs(s.inputs.size());
  Drawer drawer(s);
  std::vector<double> values;
  for (std::uint64_t run = 0; run < s.runs(); ++run) {
    if (!used[run]) continue;
    drawer.draw(run, values);
    for (std::size_t j = 0; j < values.size(); ++j) inputs[j].push_back(values[j]);
  }
  r.all_points = s.runs();
  r.points = inputs.empty() ? 0 : inputs.front().size();
  const RankCorrelations correlations(inputs, s.confidence);
  fill(
      r, s, answers, used,
      [&](std::vector<double> y) {
        std::size_t kept = 0;
        for (std::size_t i = 0; i < y.size(); ++i)
          if (used[i]) y[kept++] = y[i];
        y.resize(kept);
        auto c = correlations.of(y);
        return std::vector<std::vector<Estimate>>{std::move(c.spearman), std::move(c.partial)};
      },
      {}, threads);
}

/// Slopes, elasticities, and the change over the law's middle 95 %.
void by_elasticities(SensitivityResult& r, const Study& s, const SensitivityPlan& plan,
                     int threads) {
  static constexpr const char* words[] = {"dual numbers", "none"};
  for (const auto& input : s.inputs) r.inputs.push_back(input.path);
  r.all_points = r.points = 1;
  const std::size_t n = r.answers.size(), times = r.times.size(), outputs = s.outputs.size(),
                    inputs = s.inputs.size();
  const std::size_t all = r.arms.size() * n * times;
  r.values.assign(3, std::vector<Estimate>(all * inputs, Estimate{nan, nan, nan}));
  r.mean.assign(all, nan);
  r.sd.assign(all, nan);
  r.never.assign(r.arms.size() * n, 0);
  std::vector<LocalSlopes> local(s.arms.size());
  in_parallel(s.arms.size(), threads,
              [&](std::size_t arm) { local[arm] = local_slopes(s, arm, plan.figures); });
  const auto by = [&](std::size_t j) {
    SlopeBy best = SlopeBy::none;
    for (const auto& l : local) best = std::min(best, l.by[j]);
    return words[static_cast<std::size_t>(best)];
  };
  for (std::size_t j = 0; j < inputs; ++j) r.found_by.emplace_back(by(j));
  const auto put = [&](std::size_t arm, std::size_t answer, std::size_t time, double value,
                       const std::function<double(std::size_t)>& slope) {
    const std::size_t place = r.place(arm, answer, time);
    r.mean[place] = value;
    for (std::size_t j = 0; j < inputs; ++j) {
      const Input& input = s.inputs[j];
      const double one = slope(j);
      const double width =
          input.is_number() ? input.law.quantile(0.975) - input.law.quantile(0.025) : nan;
      r.values[0][place * inputs + j].value = one;
      r.values[1][place * inputs + j].value =
          elasticity(one, local[0].middle[j], input.unit, value, r.answers[answer].unit);
      r.values[2][place * inputs + j].value = one * width;
    }
  };
  for (std::size_t arm = 0; arm < r.arms.size(); ++arm) {
    const bool difference = arm >= s.arms.size();
    const LocalSlopes& own = local[difference ? arm - s.arms.size() + 1 : arm];
    const LocalSlopes& first = local[0];
    // An input that an arm does not have changes nothing there.
    const auto slope_of = [](const LocalSlopes& l, double slope, std::size_t j) {
      return l.by[j] == SlopeBy::none ? 0.0 : slope;
    };
    for (std::size_t o = 0; o < outputs; ++o)
      for (std::size_t t = 0; t < times; ++t) {
        const std::size_t k = o * times + t;
        put(arm, o, t, own.values[k] - (difference ? first.values[k] : 0), [&](std::size_t j) {
          return difference
                     ? slope_of(own, own.slopes[j][k], j) - slope_of(first, first.slopes[j][k], j)
                     : own.slopes[j][k];
        });
      }
    for (std::size_t f = 0; f < plan.figures.size(); ++f)
      put(arm, outputs + s.bands.size() + f, 0,
          own.figure_values[f] - (difference ? first.figure_values[f] : 0), [&](std::size_t j) {
            return difference ? slope_of(own, own.figure_slopes[j][f], j) -
                                    slope_of(first, first.figure_slopes[j][f], j)
                              : own.figure_slopes[j][f];
          });
  }
}

}  // namespace

std::vector<Measure> measures_of(SensitivityMethod method, const IndexSettings& settings) {
  static constexpr const char* first[] = {"Janon et al. 2014", "Martinez 2011", "Jansen 1999"};
  static constexpr const char* total[] = {"Jansen 1999", "Martinez 2011"};
  switch (method) {
    case SensitivityMethod::indices:
      return {{"first_order",
               std::string("First-order index: share of the variance that would go if the input "
                           "were known; estimator of ") +
                   first[static_cast<std::size_t>(settings.first)],
               true},
              {"total",
               std::string("Total index: share of the variance that would stay if all else were "
                           "known; estimator of ") +
                   total[static_cast<std::size_t>(settings.total)],
               true},
              {"second_order",
               std::string("Second-order index: share of the variance that two inputs make only "
                           "together; estimator of ") +
                   first[static_cast<std::size_t>(settings.first)],
               true, true}};
    case SensitivityMethod::elementary_effects:
      return {{"mu_star",
               "Mean size of the elementary effects over the whole width of the input's "
               "law; Campolongo et al. 2007",
               true, false, true},
              {"mu", "Mean of the elementary effects; Morris 1991", false, false, true},
              {"sigma",
               "Standard deviation of the elementary effects, large where an input bends "
               "or works with others; Morris 1991",
               false, false, true}};
    case SensitivityMethod::rank_correlations:
      return {{"spearman", "Rank correlation; Spearman, interval of Bonett and Wright 2000", true},
              {"partial_rank",
               "Partial rank correlation, all other inputs taken away; Iman and "
               "Conover 1980",
               true}};
    case SensitivityMethod::elasticities:
      return {{"slope", "Change of the output per unit of the input, at the middle of all laws",
               false, false, true, true},
              {"elasticity", "Relative change of the output per relative change of the input"},
              {"over_range", "Slope times the width of the middle 95 % of the input's law", false,
               false, true}};
  }
  return {};
}

SensitivityResult analyse(const Study& s, const SensitivityPlan& plan, const ColumnReader& column,
                          int threads) {
  SensitivityResult r;
  r.method = plan.method;
  for (const auto& arm : s.arms) r.arms.push_back(arm.name);
  for (std::size_t a = 1; a < s.arms.size(); ++a)
    r.arms.push_back(s.arms[a].name + " less " + s.arms[0].name);
  r.times = s.times;
  r.measures = measures_of(plan.method, plan.indices);
  const Answers answers(s, plan, column);
  r.answers = answers.list();
  switch (plan.method) {
    case SensitivityMethod::indices:
      if (s.design.radial->pairs.empty()) r.measures.pop_back();
      by_indices(r, s, plan, answers, threads);
      break;
    case SensitivityMethod::elementary_effects:
      by_elementary_effects(r, s, answers, threads);
      break;
    case SensitivityMethod::rank_correlations:
      by_rank_correlations(r, s, answers, threads);
      break;
    case SensitivityMethod::elasticities:
      by_elasticities(r, s, plan, threads);
      break;
  }
  return r;
}

}  // namespace serosa::study
