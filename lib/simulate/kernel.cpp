// SPDX-License-Identifier: Apache-2.0
#include "simulate/journey.hpp"

namespace serosa::simulate::SEROSA_ISA_NAMESPACE {

void run_lanes(std::span<const Job> jobs, std::span<Result> results, const Settings& settings) {
  run_with<physics::Pack<8>>(jobs, results, settings);
}

}  // namespace serosa::simulate::SEROSA_ISA_NAMESPACE
