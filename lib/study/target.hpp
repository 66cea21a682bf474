// SPDX-License-Identifier: Apache-2.0
// How much fluid holds the circulating deficit inside a band at an hour. Exploration of a model,
// not dosing advice.
#pragma once
#include <span>
#include <string_view>
#include <vector>

#include "simulate/run.hpp"

namespace serosa::study {

/// What is asked: a fluid given in even flow on top of what the case gives.
struct TargetQuestion {
  const care::Case* c = nullptr;
  care::Fluid fluid;
  double from = 0;            ///< h, when it begins
  double over = 0.5;          ///< h that it takes; up to `at` for a rate
  double at = 6;              ///< h, when the deficit is judged
  double low = -5, high = 5;  ///< mL/kg of circulating deficit
  double most = 60;           ///< mL/kg that are tried
  double tolerance = 0.01;    ///< mL/kg
};

/// How the search ended.
enum class TargetEnd {
  found,          ///< some fluid is needed, and some does
  none_needed,    ///< without any the deficit lies in the band
  no_fluid_does,  ///< the most that is tried does not bring it into the band
  over_filled,    ///< without any the blood volume lies beyond the band already
  failed          ///< a run did not finish
};

struct TargetAnswer {
  TargetEnd end = TargetEnd::failed;
  double least = 0;            ///< mL/kg: the upper end of the deficit's band
  double middle = 0;           ///< mL/kg: the middle of the band; 0 when less than none were needed
  double most = 0;             ///< mL/kg: the lower end; the most tried when that is not reached
  double without = 0;          ///< mL/kg of deficit without any
  simulate::Result at_middle;  ///< outputs at birth and at the hour, with the middle amount
};

/// Answers for one case and several sets of parameters, sought side by side; each answer depends
/// on its own set alone. The deficit is taken to fall as more is given.
std::vector<TargetAnswer> targets(const TargetQuestion& question,
                                  std::span<const baby::Parameters<double>> parameters,
                                  const simulate::Settings& settings = {});

}  // namespace serosa::study
