// SPDX-License-Identifier: Apache-2.0
// The accounts of a run: what each may be off by.
#pragma once
#include <cmath>
#include <initializer_list>
#include <string>
#include <vector>

#include "simulate/run.hpp"

namespace serosa::laws {

using namespace simulate;

/// What one account may be off by, given what passed through and what the stores hold. The law says
/// 1e-9 of what passed through. The sums over stores are rounded to 2^-53 of their contents at
/// every step, some hundreds of times: 1e-13 of the contents is what arithmetic takes.
inline double allowed(double passed, double contents) { return 1e-9 * passed + 1e-13 * contents; }

struct Account {
  std::string name;
  output::Index unaccounted;
  double passed;    ///< in and out together, by the end
  double contents;  ///< of the stores at the start
};

inline std::vector<Account> accounts(const Snapshot& first, const Snapshot& last, const Result& r,
                                     std::size_t end) {
  using namespace baby::state;
  const auto& x0 = first.state;
  const auto& x = last.state;
  const auto out = [&](output::Index o) { return r.at(end, o); };
  const double weight = r.body.weight;
  const auto of = [](const baby::State<double>& s, std::initializer_list<std::size_t> indices) {
    double sum = 0;
    for (const auto i : indices) sum += std::fabs(s[i]);
    return sum;
  };
  const double water_lost = of(x, {skin_loss, bowel_evaporation, airway_loss, urine,
                                   gastric_drainage, bowel_drip, blood_loss, oxidation_water});
  const double heat = of(x, {metabolic_heat, warmer_heat, convection_heat, radiation_heat,
                             evaporation_heat, mattress_gain, airway_heat, outflow_heat});
  const double dressing = of(x, {dressing_evaporation, dressing_drip, baby::state::dressing_water});
  const double dressing_salt = 0.16 * dressing;  // mmol/g, about that of saline
  return {
      {"water", output::water_unaccounted, water_lost + out(output::given_total),
       account::body_water(x0)},
      {"dressing", output::dressing_unaccounted, dressing, dressing},
      {"wetness", output::wetness_unaccounted, account::wetness(x0), account::wetness(x0)},
      {"sodium", output::sodium_unaccounted,
       of(x, {urine_sodium, gastric_drainage_sodium, drip_sodium, blood_loss_sodium}) +
           out(output::sodium_given) * weight,
       account::sodium(x0) + dressing_salt},
      {"chloride", output::chloride_unaccounted,
       of(x, {urine_chloride, gastric_drainage_chloride, drip_chloride, blood_loss_chloride}) +
           out(output::chloride_given) * weight,
       account::chloride(x0) + dressing_salt},
      {"protein", output::protein_unaccounted,
       of(x, {drip_protein, blood_loss_protein}) + out(output::protein_given) * weight,
       account::protein(x0)},
      {"heat", output::heat_unaccounted, heat, account::heat(x0)},
  };
}

}  // namespace serosa::laws
