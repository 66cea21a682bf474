// SPDX-License-Identifier: Apache-2.0
// What is known about how far the model can be believed, put together from the grades of the
// parameters and the outcome of the published experiments, so that it can't drift from them.
#pragma once
#include <string>
#include <vector>

#include "files/bibliography.hpp"
#include "files/models.hpp"
#include "study/experiment.hpp"

namespace serosa::runner {

/// Experiments and what became of them.
struct Validation {
  files::Models models;
  files::Bibliography bibliography;
  std::vector<study::Experiment> experiments;
  std::vector<study::Outcome> outcomes;
};

/// "26 of 29 checks against published experiments hold (2 known failures, 1 fails) …"
std::string summary_line(const Validation& all);

/// Markdown in the terms of ASME V&V 40 and of the ten rules of credible practice.
std::string credibility_document(const Validation& all);

}  // namespace serosa::runner
