// SPDX-License-Identifier: Apache-2.0
#include "study/spread.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "study/crew.hpp"
#include "study/sensitivity.hpp"

namespace serosa::study {

namespace {

constexpr std::size_t group_assumed = 0, group_measured = 1;

Study study_of(const SpreadRequest& q) {
  Study s;
  s.name = "spread";
  s.inputs = q.parameters;
  s.design = spread_design(q.parameters, q.assumed, q.runs, q.seed);
  for (const auto& arm : q.arms) {
    Scene scene{arm.c, arm.parameters, {}};
    scene.places.resize(q.parameters.size());
    s.arms.push_back({arm.name, arm.c.title, {std::move(scene)}});
  }
  s.outputs = q.outputs;
  s.times = q.times;
  s.settings = q.settings;
  return s;
}

}  // namespace

Design spread_design(const std::vector<Input>& parameters, const std::vector<bool>& assumed,
                     std::uint64_t runs, std::uint64_t seed) {
  if (runs < 8 || runs % 4 != 0)
    throw std::invalid_argument("the spread needs a multiple of 4 runs, at least 8; found " +
                                std::to_string(runs));
  if (assumed.size() != parameters.size())
    throw std::invalid_argument("every parameter is an assumption or not");
  RadialPlan plan;
  plan.base = runs / 4;
  plan.groups = {{"assumptions", {}}, {"measured", {}}};
  Design design;
  for (std::size_t j = 0; j < parameters.size(); ++j) {
    plan.groups[assumed[j] ? group_assumed : group_measured].inputs.push_back(j);
    design.names.push_back(parameters[j].path);
  }
  design.kind = DesignKind::radial;
  design.seed = seed;
  design.runs = plan.runs();
  design.radial = plan;
  return design;
}

SpreadFigure spread_figure(const Design& design, std::vector<double> values,
                           std::span<const double> quantiles, double confidence) {
  const RadialPlan& plan = *design.radial;
  SpreadFigure f;
  std::vector<std::uint64_t> kept;
  for (std::uint64_t base = 0; base < plan.base; ++base) {
    const auto* const run = values.data() + base * plan.width();
    if (std::none_of(run, run + plan.width(), [](double x) { return std::isnan(x); }))
      kept.push_back(base);
  }
  IndexSettings settings;
  settings.confidence = confidence;
  settings.seed = design.seed;
  const Indices indices = IndexEstimator(plan, settings, kept).estimate(values);
  const double nan = std::nan("");
  const bool both =
      !plan.groups[group_assumed].inputs.empty() && !plan.groups[group_measured].inputs.empty();
  f.assumed = both ? indices.first[group_assumed] : Estimate{nan, nan, nan};
  f.measured = both ? indices.first[group_measured] : Estimate{nan, nan, nan};
  std::erase_if(values, [](double x) { return std::isnan(x); });
  const auto d = describe([&](const auto& see) { see(std::span<const double>(values)); },
                          {quantiles.begin(), quantiles.end()}, confidence);
  f.n = d.n;
  f.mean = d.mean.value;
  f.sd = d.sd.value;
  for (const auto& quantile : d.quantiles) f.quantiles.push_back(quantile.value);
  return f;
}

Spread spread(const SpreadRequest& q) {
  const Study s = study_of(q);
  const Layout layout(s);
  const std::size_t outputs = layout.outputs, times = layout.times;
  // One column after another, all runs of each.
  std::vector<double> table(layout.arms * outputs * times * layout.runs);
  Spread result;
  result.arms = layout.arms, result.outputs = outputs, result.times = times;
  result.levels = q.quantiles;
  result.failed.assign(layout.arms, 0);
  std::vector<std::uint64_t> blocks;
  for (std::uint64_t b = 0; b < layout.blocks; ++b) blocks.push_back(b);
  const auto column = [&](std::size_t arm, std::size_t o, std::size_t t) {
    return table.data() + ((arm * outputs + o) * times + t) * layout.runs;
  };
  Keeper keeper;
  keeper.keep = [&](const Finished& done) {
    const std::size_t rows = layout.runs_of(done.block);
    const auto from = [&](std::size_t c) { return done.table.data() + c * layout.block; };
    for (std::size_t arm = 0; arm < layout.arms; ++arm) {
      const double* const status = from(layout.fixed(arm, Layout::status));
      for (std::size_t i = 0; i < rows; ++i)
        if (status[i] != static_cast<double>(simulate::RunStatus::finished)) ++result.failed[arm];
      for (std::size_t o = 0; o < outputs; ++o)
        for (std::size_t t = 0; t < times; ++t) {
          double* const to = column(arm, o, t) + done.block * layout.block;
          const double* const source = from(layout.value(arm, o, t));
          // What a failed run showed before it failed is left out too.
          for (std::size_t i = 0; i < rows; ++i)
            to[i] = status[i] == static_cast<double>(simulate::RunStatus::finished) ? source[i]
                                                                                    : std::nan("");
        }
    }
    if (q.progress) q.progress(rows * layout.arms);
  };
  keeper.stop = [] { return false; };
  keeper.tick = [] {};
  hand_out(s, blocks, q.threads, nullptr, {}, keeper);
  for (std::size_t arm = 0; arm < layout.arms; ++arm)
    for (std::size_t o = 0; o < outputs; ++o)
      for (std::size_t t = 0; t < times; ++t) {
        const double* const own = column(arm, o, t);
        std::vector<double> values(own, own + layout.runs);
        result.figures.push_back(spread_figure(s.design, values, q.quantiles, q.confidence));
        if (arm == 0) continue;
        const double* const first = column(0, o, t);
        for (std::size_t i = 0; i < values.size(); ++i) values[i] -= first[i];
        result.differences.push_back(
            spread_figure(s.design, std::move(values), q.quantiles, q.confidence));
      }
  return result;
}

}  // namespace serosa::study
