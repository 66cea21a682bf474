// SPDX-License-Identifier: Apache-2.0
// The page of `serosa validate`: published values with their bands against simulated ones, and what
// is known about how far the model can be believed.
#pragma once
#include "runner/credibility.hpp"
#include "runner/page.hpp"

namespace serosa::runner {

PageData page_of_validation(const Validation& all);

}  // namespace serosa::runner
