// SPDX-License-Identifier: Apache-2.0
// The formula of every output as it stands in simulate/outputs.hpp, for documentation.
#pragma once
#include <array>
#include <string_view>

#include "simulate/outputs.hpp"

namespace serosa::simulate {

/// In the order of `output_list`.
inline constexpr std::array<std::string_view, output::count> output_formulas{
#define SEROSA_FORMULA(name, unit, text, formula) #formula,
    SEROSA_OUTPUTS(SEROSA_FORMULA)
#undef SEROSA_FORMULA
};

/// What the letters in the formulas stand for, and where.
inline constexpr std::string_view formula_letters =
    "`m` is the moment (lib/baby/rates.hpp, struct Moment; its members are the organs' own structs "
    "in lib/baby), `x` the state (lib/baby/states.hpp), `x0` the state at the start, `b` the body "
    "(lib/baby/body.hpp), `p` the parameters (models/parameters), `g` what was given "
    "(lib/care/carer.hpp, struct Given)";

}  // namespace serosa::simulate
