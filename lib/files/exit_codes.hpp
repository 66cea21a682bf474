// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>
#include <vector>

namespace serosa::files {

/// Every way a command ends: number, name, sentence. Nothing else returns a number to the shell.
#define SEROSA_EXIT_CODES(X)                                                             \
  X(0, done, "All that was asked for is done; there may have been warnings.")            \
  X(2, usage, "The command line was not understood; nothing was started.")               \
  X(3, input_refused, "An input file or value was refused; nothing was written.")        \
  X(4, run_failed, "At least one run could not be finished; what was finished is kept.") \
  X(5, could_not_write, "A result could not be written; nothing half-written was left.") \
  X(6, internal, "A fault of the program itself; please report it with the message shown.") \
  X(7, published_check_failed,                                                              \
    "A published experiment came out otherwise, and that is not a known failure.")          \
  X(8, interrupted, "Stopped on request; what was finished is kept, the same command goes on.")

enum class ExitCode : int {
#define SEROSA_ITEM(number, name, sentence) name = number,
  SEROSA_EXIT_CODES(SEROSA_ITEM)
#undef SEROSA_ITEM
};

/// One row of the list, for --help and the documentation.
struct ExitCodeRow {
  ExitCode code;
  std::string_view name;
  std::string_view sentence;
};

inline const std::vector<ExitCodeRow>& exit_codes() {
  static const std::vector<ExitCodeRow> rows = {
#define SEROSA_ITEM(number, name, sentence) {ExitCode::name, #name, sentence},
      SEROSA_EXIT_CODES(SEROSA_ITEM)
#undef SEROSA_ITEM
  };
  return rows;
}

}  // namespace serosa::files
