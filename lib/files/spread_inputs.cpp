// SPDX-License-Identifier: Apache-2.0
#include "files/spread_inputs.hpp"

#include <algorithm>

#include "files/study_file.hpp"

namespace serosa::files {

bool is_assumption(Grade grade) {
  return grade == Grade::assumption || grade == Grade::common_practice ||
         grade == Grade::from_memory;
}

SpreadInputs spread_inputs(const Models& models,
                           const std::vector<baby::Parameters<double>>& cases) {
  SpreadInputs all;
  auto own = models.values();
  for (std::size_t i = 0; i < models.parameters.size(); ++i) {
    const ParameterEntry& p = models.parameters[i];
    if (p.distribution == Distribution::fixed) continue;
    const bool set = std::any_of(cases.begin(), cases.end(), [&](baby::Parameters<double> theirs) {
      return parameter(theirs, i) != parameter(own, i);
    });
    if (set) {
      all.kept.push_back(p.name);
      continue;
    }
    study::Input input;
    input.path = "parameters." + p.name;
    input.meaning = p.name;
    std::replace(input.meaning.begin(), input.meaning.end(), '_', ' ');
    input.unit = p.model_unit;
    input.law = published_law(p);
    input.parameter = i;
    all.inputs.push_back(std::move(input));
    all.assumed.push_back(is_assumption(p.grade));
  }
  return all;
}

}  // namespace serosa::files
