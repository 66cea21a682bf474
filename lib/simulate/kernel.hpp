// SPDX-License-Identifier: Apache-2.0
// The lane kernel, compiled once per instruction set; run.cpp chooses.
#pragma once
#include "simulate/isa.hpp"
#include "simulate/run.hpp"

namespace serosa::simulate {

#define SEROSA_DECLARE(ISA)                                              \
  namespace isa_##ISA {                                                  \
    void run_lanes(std::span<const Job> jobs, std::span<Result> results, \
                   const Settings& settings);                            \
  }
SEROSA_FOR_EACH_ISA(SEROSA_DECLARE)
#undef SEROSA_DECLARE

}  // namespace serosa::simulate
