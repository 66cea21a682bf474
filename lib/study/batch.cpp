// SPDX-License-Identifier: Apache-2.0
#include "study/batch.hpp"

#include <algorithm>
#include <cmath>

namespace serosa::study {

using simulate::RunStatus;

std::vector<double> Study::all_times() const {
  std::vector<double> all = times;
  all.insert(all.end(), series_times.begin(), series_times.end());
  std::sort(all.begin(), all.end());
  all.erase(std::unique(all.begin(), all.end()), all.end());
  return all;
}

Drawer::Drawer(const Study& study) : study_(study), points_(study.design) {}

void Drawer::draw(std::uint64_t run, std::vector<double>& values) {
  values.resize(study_.inputs.size());
  points_.at(run, values);
  study_.copula.bind(values.data());
  for (std::size_t j = 0; j < values.size(); ++j)
    values[j] = study_.inputs[j].law.quantile(values[j]);
}

namespace {

double& parameter(baby::Parameters<double>& p, std::size_t index) {
  static constexpr double baby::Parameters<double>::*members[] = {
#define SEROSA_MEMBER(name, unit) &baby::Parameters<double>::name,
      SEROSA_PARAMETERS(SEROSA_MEMBER)
#undef SEROSA_MEMBER
  };
  return p.*members[index];
}

/// Copies a scene's case into one that an earlier run left behind. Acts which that run put into
/// another order go back first: so each is assigned to one of its kind, whose texts keep their
/// memory.
void copy_into(const care::Case& from, care::Case& to) {
  const std::size_t acts = std::min(from.timeline.size(), to.timeline.size());
  for (std::size_t i = 0; i < acts; ++i) {
    const auto kind = from.timeline[i].deed.index();
    for (std::size_t j = i; j < to.timeline.size(); ++j)
      if (to.timeline[j].deed.index() == kind) {
        if (j != i) std::swap(to.timeline[i], to.timeline[j]);
        break;
      }
  }
  to = from;
}

}  // namespace

std::size_t scene_number(const Study& study, const std::vector<double>& values) {
  std::size_t place = 0;
  for (std::size_t j = 0; j < values.size(); ++j)
    if (!study.inputs[j].is_number())
      place = place * study.inputs[j].words.size() + static_cast<std::size_t>(values[j]);
  return place;
}

RunStatus make_run(const Study& study, std::size_t arm, const std::vector<double>& values,
                   care::Case& c, baby::Parameters<double>& parameters) {
  const Scene& scene = study.arms[arm].scenes[scene_number(study, values)];
  copy_into(scene.c, c);
  parameters = scene.parameters;
  for (std::size_t j = 0; j < values.size(); ++j) {
    const Input& input = study.inputs[j];
    if (!input.is_number()) continue;
    if (!(values[j] >= input.possible_low && values[j] <= input.possible_high))
      return RunStatus::impossible_input;
    if (input.parameter) parameter(parameters, *input.parameter) = values[j];
    for (const Place& place : scene.places[j]) set_number(c, place, values[j]);
  }
  put_in_order(c);
  return care::contradictions(c).empty() ? RunStatus::finished : RunStatus::contradictory_input;
}

Layout::Layout(const Study& study)
    : times(study.times.size()),
      outputs(study.outputs.size()),
      series_times(study.series_times.size()),
      series_outputs(study.series_outputs.size()),
      arms(study.arms.size()),
      per_arm(count + outputs * times + series_outputs * series_times),
      block(256),
      runs(study.runs()) {
  // A small study is cut finely, so that there is work for everyone; in eights, which run abreast.
  block = std::clamp<std::uint64_t>(runs / 64 / 8 * 8, 8, block);
  // All outputs of a block are held at once: at most about 16 MB of them.
  const std::size_t each = study.all_times().size() * simulate::output::count * arms;
  while (block > 8 && block * each > (std::size_t{1} << 21)) block /= 2;
  blocks = (runs + block - 1) / block;
}

BlockRunner::BlockRunner(const Study& study)
    : study_(study), layout_(study), drawer_(study), all_times_(study.all_times()) {
  const auto place = [&](double t) {
    return static_cast<std::size_t>(std::lower_bound(all_times_.begin(), all_times_.end(), t) -
                                    all_times_.begin());
  };
  for (const double t : study.times) time_places_.push_back(place(t));
  for (const double t : study.series_times) series_places_.push_back(place(t));
  const std::size_t most = layout_.block * layout_.arms;
  cases_.resize(most);
  parameters_.resize(most);
  results_.resize(most);
}

void BlockRunner::run(std::uint64_t b, std::vector<double>& table) {
  const std::size_t rows = layout_.runs_of(b), block = layout_.block;
  table.assign(layout_.numbers(), std::numeric_limits<double>::quiet_NaN());
  // One queue for all arms, so that lanes seldom wait for the last run.
  jobs_.clear();
  rows_.clear();
  for (std::size_t row = 0; row < rows; ++row) {
    drawer_.draw(b * block + row, values_);
    for (std::size_t arm = 0; arm < layout_.arms; ++arm) {
      const std::size_t n = jobs_.size();
      const RunStatus fit = make_run(study_, arm, values_, cases_[n], parameters_[n]);
      if (fit != RunStatus::finished) {
        simulate::Result refused;
        refused.report.status = fit;
        refused.report.time = std::numeric_limits<double>::quiet_NaN();
        keep(arm, row, refused, table);
        continue;
      }
      cases_[n].chart_seed = study_.design.seed;
      cases_[n].chart_run = b * block + row;
      jobs_.push_back({&cases_[n], &parameters_[n], all_times_});
      rows_.push_back(row * layout_.arms + arm);
    }
  }
  simulate::run(jobs_, std::span(results_).first(jobs_.size()), study_.settings);
  for (std::size_t n = 0; n < jobs_.size(); ++n)
    keep(rows_[n] % layout_.arms, rows_[n] / layout_.arms, results_[n], table);
}

void BlockRunner::keep(std::size_t arm, std::size_t row, const simulate::Result& result,
                       std::vector<double>& table) const {
  const auto put = [&](std::size_t column, double value) {
    table[column * layout_.block + row] = value;
  };
  const auto& report = result.report;
  put(layout_.fixed(arm, Layout::status), static_cast<double>(report.status));
  put(layout_.fixed(arm, Layout::state), report.state);
  put(layout_.fixed(arm, Layout::end), report.time);
  put(layout_.fixed(arm, Layout::accepted), report.effort.accepted_steps);
  put(layout_.fixed(arm, Layout::rejected), report.effort.rejected_steps);
  put(layout_.fixed(arm, Layout::evaluations), report.effort.rate_evaluations);
  put(layout_.fixed(arm, Layout::restarts), report.effort.restarts);
  if (result.values.empty()) return;
  for (std::size_t o = 0; o < layout_.outputs; ++o)
    for (std::size_t t = 0; t < layout_.times; ++t)
      put(layout_.value(arm, o, t), result.at(time_places_[t], study_.outputs[o]));
  for (std::size_t o = 0; o < layout_.series_outputs; ++o)
    for (std::size_t t = 0; t < layout_.series_times; ++t)
      put(layout_.series(arm, o, t), result.at(series_places_[t], study_.series_outputs[o]));
}

}  // namespace serosa::study
