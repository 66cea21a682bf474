// SPDX-License-Identifier: Apache-2.0
// The newborn that the coefficients of exchange are solved on: nothing exposed, nothing lost.
#pragma once
#include "shipped.hpp"

namespace serosa::laws {

inline std::size_t control_named(std::string_view name) {
  std::size_t i = 0;
  for (const auto& info : baby::control_list) {
    if (info.name == name) return i;
    ++i;
  }
  throw std::logic_error("no control of this name");
}

inline care::Act hold(std::string_view control, double value, double at = 0.0) {
  return {"hold " + std::string(control), at, care::SetControl{control_named(control), value}};
}

struct Reference {
  care::Case c;
  baby::Parameters<double> p;
};

/// Reference blood volume and protein, stomach empty, dry, age frozen; losses, kidney, secretion,
/// gas and heat switched off.
inline Reference reference_newborn(double until) {
  Reference r{read("ordinary-care").c, models().values()};
  auto& p = r.p;
  r.c.baby.gastroschisis = false;
  r.c.baby.protein = p.reference_plasma_protein;
  const double held_back = p.placental_share_late +
                           p.placental_share_transferable *
                               std::exp(-r.c.baby.cord_clamped_at / p.placental_transfusion_time);
  p.feto_placental_volume = p.reference_blood_volume / (1.0 - held_back);
  p.stomach_contents_at_birth = 0.0;
  r.c.exposed = false;
  r.c.wet = false;
  r.c.until = until;
  r.c.timeline = {hold("insensible", 0), hold("kidney_works", 0),     hold("stomach_secretes", 0),
                  hold("heat_flows", 0), hold("exposed_fraction", 0), hold("gas_entry", 0),
                  hold("ageing", 0)};
  return r;
}

}  // namespace serosa::laws
