// SPDX-License-Identifier: Apache-2.0
#include "study/sensitivity_design.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "study/design.hpp"
#include "study/random.hpp"

namespace serosa::study {

namespace {

std::string grouped_digits(std::uint64_t n) {
  std::string text = std::to_string(n);
  for (auto place = static_cast<std::ptrdiff_t>(text.size()) - 3; place > 0; place -= 3)
    text.insert(static_cast<std::size_t>(place), " ");
  return text;
}

}  // namespace

std::string RadialPlan::sum() const {
  std::string text = grouped_digits(base) + " × (" + std::to_string(groups.size()) + " + 2";
  if (!pairs.empty()) text += " + " + std::to_string(pairs.size());
  return text + ") = " + grouped_digits(runs());
}

std::string TrajectoryPlan::sum() const {
  return grouped_digits(trajectories) + " × (" + std::to_string(groups.size()) +
         " + 1) = " + grouped_digits(runs());
}

std::vector<InputGroup> with_single_groups(std::vector<InputGroup> groups,
                                           const std::vector<std::string>& names) {
  for (std::size_t j = 0; j < names.size(); ++j) {
    const bool grouped = std::any_of(groups.begin(), groups.end(), [&](const InputGroup& g) {
      return std::find(g.inputs.begin(), g.inputs.end(), j) != g.inputs.end();
    });
    if (!grouped) groups.push_back({names[j], {j}});
  }
  return groups;
}

// ---- Radial ----------------------------------------------------------------------------------

RadialPoints::RadialPoints(const RadialPlan& plan, const std::vector<std::string>& names,
                           std::uint64_t seed)
    : plan_(plan), both_(2 * names.size()) {
  const std::uint64_t scrambles = std::max<std::uint64_t>(1, plan.scrambles);
  if (plan.base % scrambles != 0)
    throw std::invalid_argument("the base points are no whole number per scramble");
  for (std::uint64_t s = 0; s < scrambles; ++s) {
    auto design = std::make_unique<Design>();
    design->kind = plan.scrambles == 0 ? DesignKind::random : DesignKind::sobol;
    design->runs = plan.base / scrambles;
    design->seed = plan.scrambles == 0 ? seed : random_bits(seed, stream_of("scramble"), s);
    for (const auto& name : names) design->names.push_back("A " + name);
    for (const auto& name : names) design->names.push_back("B " + name);
    points_.push_back(std::make_unique<Points>(*design));
    designs_.push_back(std::move(design));
  }
}
RadialPoints::~RadialPoints() = default;

void RadialPoints::at(std::uint64_t run, std::span<double> fractions) {
  const std::uint64_t base = run / plan_.width();
  const std::size_t which = run % plan_.width(), inputs = both_.size() / 2;
  if (base != base_) {
    points_[base % points_.size()]->at(base / points_.size(), both_);
    base_ = base;
  }
  const auto b = std::span(both_).subspan(inputs);
  const auto start = which == 1 ? b : std::span(both_).first(inputs);
  std::copy(start.begin(), start.end(), fractions.begin());
  const auto exchange = [&](std::size_t group) {
    for (const std::size_t j : plan_.groups[group].inputs) fractions[j] = b[j];
  };
  if (which < 2) return;
  if (which - 2 < plan_.groups.size()) return exchange(which - 2);
  const auto& pair = plan_.pairs[which - 2 - plan_.groups.size()];
  exchange(pair.first);
  exchange(pair.second);
}

// ---- Trajectories ----------------------------------------------------------------------------

namespace {

/// A fresh random trajectory: order of the groups, start and direction of each input.
void random_trajectory(const TrajectoryPlan& plan, std::size_t inputs, std::uint64_t seed,
                       std::uint64_t number, double* table, Step* steps) {
  const std::uint64_t stream = stream_of("trajectory") + number;
  const double half = plan.step();
  for (std::size_t j = 0; j < inputs; ++j) {
    const std::uint64_t bits = random_bits(seed, stream, j);
    const auto layer = static_cast<double>((bits >> 8) % (plan.levels / 2));
    table[j] = (layer + 0.5) / static_cast<double>(plan.levels);
  }
  // A group moves as one: up, or down from half the layers further on.
  std::vector<int> sign(plan.groups.size());
  for (std::size_t g = 0; g < plan.groups.size(); ++g) {
    sign[g] = random_bits(seed, stream, inputs + g) >> 63 ? -1 : 1;
    if (sign[g] < 0)
      for (const std::size_t j : plan.groups[g].inputs) table[j] += half;
  }
  for (std::size_t p = 1; p < plan.width(); ++p) {
    const double* const before = table + (p - 1) * inputs;
    double* const now = table + p * inputs;
    std::copy(before, before + inputs, now);
    const auto g = static_cast<std::size_t>(
        permuted(p - 1, plan.groups.size(), seed, stream ^ stream_of("order")));
    for (const std::size_t j : plan.groups[g].inputs) now[j] += sign[g] * half;
    steps[p - 1] = {g, sign[g]};
  }
}

/// Campolongo's distance: the sum of the distances of all pairs of points.
double distance(const double* one, const double* other, std::size_t points, std::size_t inputs) {
  double sum = 0;
  for (std::size_t p = 0; p < points; ++p)
    for (std::size_t q = 0; q < points; ++q) {
      double square = 0;
      for (std::size_t j = 0; j < inputs; ++j) {
        const double d = one[p * inputs + j] - other[q * inputs + j];
        square += d * d;
      }
      sum += std::sqrt(square);
    }
  return sum;
}

struct Trajectories {
  std::vector<double> table;
  std::vector<Step> steps;
};

Trajectories spread_trajectories(const TrajectoryPlan& plan, std::size_t inputs,
                                 std::uint64_t seed) {
  const std::uint64_t all = std::max(plan.candidates, plan.trajectories);
  if (plan.levels < 2 || plan.levels % 2 != 0)
    throw std::invalid_argument("elementary effects need an even number of levels");
  const std::size_t size = plan.width() * inputs, groups = plan.groups.size();
  std::vector<double> table(all * size);
  std::vector<Step> steps(all * groups);
  for (std::uint64_t t = 0; t < all; ++t)
    random_trajectory(plan, inputs, seed, t, table.data() + t * size, steps.data() + t * groups);
  if (all == plan.trajectories) return {std::move(table), std::move(steps)};
  // Squares are added up, as Campolongo, Cariboni and Saltelli do for a set of trajectories.
  std::vector<double> apart(all * all, 0.0);
  for (std::uint64_t s = 0; s < all; ++s)
    for (std::uint64_t t = 0; t < s; ++t) {
      const double d =
          distance(table.data() + s * size, table.data() + t * size, plan.width(), inputs);
      apart[s * all + t] = apart[t * all + s] = d * d;
    }
  std::vector<std::uint64_t> taken;
  const auto farthest =
      static_cast<std::uint64_t>(std::max_element(apart.begin(), apart.end()) - apart.begin());
  taken.push_back(std::min(farthest / all, farthest % all));
  if (plan.trajectories > 1) taken.push_back(std::max(farthest / all, farthest % all));
  std::vector<double> gain(all, 0.0);
  for (std::uint64_t t = 0; t < all; ++t)
    for (const auto s : taken) gain[t] += apart[s * all + t];
  std::vector<bool> used(all, false);
  for (const auto t : taken) used[t] = true;
  while (taken.size() < plan.trajectories) {
    std::uint64_t best = all;
    for (std::uint64_t t = 0; t < all; ++t)
      if (!used[t] && (best == all || gain[t] > gain[best])) best = t;
    used[best] = true;
    taken.push_back(best);
    for (std::uint64_t t = 0; t < all; ++t) gain[t] += apart[best * all + t];
  }
  Trajectories chosen;
  for (const auto t : taken) {
    const auto from = static_cast<std::ptrdiff_t>(t * size),
               step = static_cast<std::ptrdiff_t>(t * groups);
    chosen.table.insert(chosen.table.end(), table.begin() + from,
                        table.begin() + from + static_cast<std::ptrdiff_t>(size));
    chosen.steps.insert(chosen.steps.end(), steps.begin() + step,
                        steps.begin() + step + static_cast<std::ptrdiff_t>(groups));
  }
  return chosen;
}

}  // namespace

TrajectoryPoints::TrajectoryPoints(const TrajectoryPlan& plan,
                                   const std::vector<std::string>& names, std::uint64_t seed)
    : inputs_(names.size()),
      width_(plan.width()),
      table_(spread_trajectories(plan, names.size(), seed).table) {}

void TrajectoryPoints::at(std::uint64_t run, std::span<double> fractions) const {
  const double* const point = table_.data() + run * inputs_;
  std::copy(point, point + inputs_, fractions.begin());
}

std::vector<Step> steps_of(const TrajectoryPlan& plan, const std::vector<std::string>& names,
                           std::uint64_t seed) {
  return spread_trajectories(plan, names.size(), seed).steps;
}

}  // namespace serosa::study
