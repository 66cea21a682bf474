// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

namespace serosa::simulate {

/// The one list of how a run can end: number, name, sentence. Files, tables and documentation take
/// them from here; a number once given keeps its meaning.
#define SEROSA_RUN_STATUSES(STATUS)                                                              \
  STATUS(0, finished, "the run reached its end")                                                 \
  STATUS(1, not_started, "the run was never started")                                            \
  STATUS(2, step_budget_spent, "the number of steps allowed for a run was spent before its end") \
  STATUS(3, step_too_small, "the tolerance would need a step shorter than the smallest allowed") \
  STATUS(4, rates_not_finite, "a rate of change is not a finite number")                         \
  STATUS(5, state_below_zero, "a state that cannot be negative fell below zero")                 \
  STATUS(6, slopes_not_finite, "a derivative of a state is not a finite number")                 \
  STATUS(7, sequence_too_short, "a replayed sequence of steps ended before the run did")         \
  STATUS(8, left_the_model, "the baby left the range that the model can speak of")               \
  STATUS(9, impossible_input, "an input drawn for the run lies outside what is possible")        \
  STATUS(10, contradictory_input, "inputs drawn for the run contradict each other")

enum class RunStatus : std::int8_t {
#define SEROSA_STATUS(NUMBER, NAME, MESSAGE) NAME = NUMBER,
  SEROSA_RUN_STATUSES(SEROSA_STATUS)
#undef SEROSA_STATUS
};

struct RunStatusEntry {
  RunStatus status;
  std::string_view name;
  std::string_view message;
};

/// All statuses in the order of their numbers.
inline constexpr std::array run_statuses{
#define SEROSA_STATUS(NUMBER, NAME, MESSAGE) RunStatusEntry{RunStatus::NAME, #NAME, MESSAGE},
    SEROSA_RUN_STATUSES(SEROSA_STATUS)
#undef SEROSA_STATUS
};

constexpr std::string_view name(RunStatus status) {
  return run_statuses[static_cast<std::size_t>(status)].name;
}
constexpr std::string_view message(RunStatus status) {
  return run_statuses[static_cast<std::size_t>(status)].message;
}

/// What the solver did for one run. It depends on the run alone, not on its neighbours in a block.
struct Effort {
  std::int32_t accepted_steps = 0;
  std::int32_t rejected_steps = 0;
  std::int32_t rate_evaluations = 0;
  std::int32_t restarts = 0;  ///< times the rates were taken anew because an act changed them
  std::int32_t outputs = 0;

  bool operator==(const Effort&) const = default;
};

/// How a run ended. For a failure `state` is the index of the state that was not finite, below zero
/// or dominated the error (-1: none), and `time` (h) the time from which no step succeeded.
struct RunReport {
  RunStatus status = RunStatus::not_started;
  std::int32_t state = -1;
  double time = 0.0;
  Effort effort;

  bool operator==(const RunReport&) const = default;
};

}  // namespace serosa::simulate
