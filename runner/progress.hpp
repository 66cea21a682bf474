// SPDX-License-Identifier: Apache-2.0
// How far a batch has come: a bar on a terminal, a line a minute elsewhere.
#pragma once
#include <chrono>
#include <cstdint>
#include <string>

namespace serosa::runner {

class Progress {
 public:
  /// @param before  runs that were there already
  /// @param counted  what there are so many of
  Progress(std::string name, std::uint64_t before, std::uint64_t all, bool quiet,
           std::string counted = "runs");
  void add(std::uint64_t runs) { done_ += runs; }
  /// Shows where it stands when it is time to.
  void tick();
  /// Clears the bar.
  void end();
  double seconds() const;

 private:
  using Clock = std::chrono::steady_clock;
  std::string line() const;

  std::string name_, counted_;
  std::uint64_t before_, done_, all_;
  bool quiet_, terminal_;
  Clock::time_point start_ = Clock::now(), shown_ = Clock::now();
};

}  // namespace serosa::runner
