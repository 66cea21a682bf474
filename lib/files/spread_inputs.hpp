// SPDX-License-Identifier: Apache-2.0
// Which parameters a spread draws, and which of them are assumptions.
#pragma once
#include <string>
#include <vector>

#include "files/models.hpp"
#include "study/batch.hpp"

namespace serosa::files {

/// True for grades that name no measurement: assumption, common practice, from memory.
bool is_assumption(Grade grade);

struct SpreadInputs {
  std::vector<study::Input> inputs;  ///< every parameter that is not fixed, by its published law
  std::vector<bool> assumed;         ///< of each
  std::vector<std::string> kept;     ///< names of parameters not drawn because a case sets them
};

/// The parameters that `--spread` draws.
/// @param cases  parameters of the cases; where one differs from the models' value, a case sets it,
///               and it is drawn for none
SpreadInputs spread_inputs(const Models& models,
                           const std::vector<baby::Parameters<double>>& cases);

}  // namespace serosa::files
