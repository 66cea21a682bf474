// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "simulate/isa.hpp"
#include "stores.hpp"

namespace serosa::simulate::test {

inline constexpr std::size_t kernel_stores = 20;  // 60 states

#define SEROSA_DECLARE(ISA)                                                                        \
  namespace isa_##ISA {                                                                            \
    const char* compiled_for();                                                                    \
    void integrate_runs(const std::vector<StoresRun>& runs, const std::vector<std::size_t>& order, \
                        std::vector<StoresResult>& results);                                       \
    std::uint64_t hash_of_functions();                                                             \
    double nanoseconds_per_rates(int repeats);                                                     \
  }
SEROSA_FOR_EACH_ISA(SEROSA_DECLARE)
#undef SEROSA_DECLARE

/// Seconds of this clock; not inline, so that every kernel uses the same one.
double seconds_now();

}  // namespace serosa::simulate::test
