// SPDX-License-Identifier: Apache-2.0
#include "simulate/isa.hpp"

#include <algorithm>
#include <array>
#include <atomic>
#include <cstdlib>
#include <stdexcept>

namespace serosa::simulate {
namespace {

constexpr std::array<std::string_view, 4> names{"baseline", "v2", "v3", "v4"};
constexpr int none = -1;
std::atomic<int> forced{none};

std::string list_of_available() {
  std::string list;
  for (const InstructionSet set : available_instruction_sets())
    list += (list.empty() ? "" : ", ") + std::string(name(set));
  return list.empty() ? "none" : list;
}

InstructionSet available_by_name(std::string_view wanted, std::string_view where) {
  for (const InstructionSet set : available_instruction_sets())
    if (name(set) == wanted) return set;
  throw std::invalid_argument(std::string(where) + ": \"" + std::string(wanted) +
                              "\" is not an instruction set of this program on this processor; "
                              "available: " +
                              list_of_available());
}

}  // namespace

std::string_view name(InstructionSet set) { return names[static_cast<std::size_t>(set)]; }

std::vector<InstructionSet> available_instruction_sets() {
  std::vector<InstructionSet> sets;
#if SEROSA_ISA_LEVELS
  if (__builtin_cpu_supports("x86-64-v2")) sets.push_back(InstructionSet::v2);
  if (__builtin_cpu_supports("x86-64-v3")) sets.push_back(InstructionSet::v3);
  if (__builtin_cpu_supports("x86-64-v4")) sets.push_back(InstructionSet::v4);
#else
  sets.push_back(InstructionSet::baseline);
#endif
  return sets;
}

InstructionSet chosen_instruction_set() {
  if (const int set = forced; set != none) return static_cast<InstructionSet>(set);
  if (const char* wanted = std::getenv("SEROSA_ISA"); wanted != nullptr && *wanted != '\0')
    return available_by_name(wanted, "environment variable SEROSA_ISA");
  const auto sets = available_instruction_sets();
  if (sets.empty()) throw std::runtime_error("this processor is older than x86-64-v2 (SSE4.2)");
  return sets.back();
}

void force_instruction_set(std::string_view wanted) {
  forced =
      wanted.empty() ? none : static_cast<int>(available_by_name(wanted, "forced instruction set"));
}

}  // namespace serosa::simulate
