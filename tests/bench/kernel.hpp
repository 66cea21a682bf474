// SPDX-License-Identifier: Apache-2.0
// What the kernels of the bench, compiled once per instruction set, are given.
#pragma once
#include <vector>

#include "baby/rates.hpp"

namespace serosa::bench {

/// Eight babies at one moment.
struct Moment8 {
  physics::Pack<8> t;
  baby::State<physics::Pack<8>> x;
  baby::Subject<physics::Pack<8>> subject;
  baby::Settled<physics::Pack<8>> settled;
};

}  // namespace serosa::bench
