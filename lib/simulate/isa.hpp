// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace serosa::simulate {

/// What a kernel is compiled for: the levels of the x86-64 psABI (v2: SSE4.2, v3: AVX2, v4:
/// AVX-512), or one baseline elsewhere. All give the same bits; they differ in speed.
enum class InstructionSet { baseline, v2, v3, v4 };

/// "baseline", "v2", "v3", "v4".
std::string_view name(InstructionSet set);

/// Those that this program carries and this processor runs, slowest first.
std::vector<InstructionSet> available_instruction_sets();

/// The one kernels run on: the last one forced, else the one named by the environment variable
/// SEROSA_ISA, else the fastest available. Throws std::invalid_argument when the variable names
/// none or one that is not available, std::runtime_error on a processor below v2.
InstructionSet chosen_instruction_set();

/// Chooses by name for the whole program; "" returns to the choice by environment and processor.
/// Throws std::invalid_argument, naming what is available. Not meant to be changed while runs are
/// in progress, though results stay the same if it is.
void force_instruction_set(std::string_view name);

}  // namespace serosa::simulate

// For sources of a target that carries kernels (see isa.cmake). A kernel's header declares what
// each instruction set offers, its caller picks:
//
//   #define DECLARE(ISA) namespace isa_##ISA { void run_block(Batch& batch); }
//   SEROSA_FOR_EACH_ISA(DECLARE)
//   …
//   SEROSA_PICK_ISA(run_block)(batch);
#ifdef SEROSA_ISA_LEVELS
#if SEROSA_ISA_LEVELS
#define SEROSA_FOR_EACH_ISA(MACRO) MACRO(v2) MACRO(v3) MACRO(v4)
#define SEROSA_PICK_ISA(FUNCTION) \
  ::serosa::simulate::pick_by_isa(&isa_v2::FUNCTION, &isa_v3::FUNCTION, &isa_v4::FUNCTION)
#else
#define SEROSA_FOR_EACH_ISA(MACRO) MACRO(baseline)
#define SEROSA_PICK_ISA(FUNCTION) (&isa_baseline::FUNCTION)
#endif

namespace serosa::simulate {
template <class Function>
Function* pick_by_isa(Function* v2, Function* v3, Function* v4) {
  switch (chosen_instruction_set()) {
    case InstructionSet::v4:
      return v4;
    case InstructionSet::v3:
      return v3;
    default:
      return v2;
  }
}
}  // namespace serosa::simulate
#endif
