// SPDX-License-Identifier: Apache-2.0
// Film lying on the mattress under the warmer before the birth: how hot, and how soon.
#pragma once
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "baby/parameters.hpp"
#include "care/case.hpp"

namespace serosa::simulate {

/// How the mattress, and film on it, warm up under one level of the warmer.
struct WarmUp {
  static constexpr double never = std::numeric_limits<double>::infinity();
  std::string warmer;         ///< name of the level
  double irradiance;          ///< W/m2
  double after_an_hour;       ///< degC
  double minutes_to_limp;     ///< until thin film goes limp and clings; `never` within an hour
  double minutes_to_contact;  ///< until the limit for contact with a newborn's skin
};

/// Warms the empty mattress from the room's temperature for an hour, by the same heat balance that
/// the runs use; a level on servo is taken at its full output, for there is no skin to follow.
std::vector<WarmUp> warm_up(const care::Room& room, const baby::Parameters<double>& p,
                            std::span<const care::Warmer> warmers);

}  // namespace serosa::simulate
