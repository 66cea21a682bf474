// SPDX-License-Identifier: Apache-2.0
#include "runner/progress.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>

#include "runner/batch.hpp"

namespace serosa::runner {

Progress::Progress(std::string name, std::uint64_t before, std::uint64_t all, bool quiet,
                   std::string counted)
    : name_(std::move(name)),
      counted_(std::move(counted)),
      before_(before),
      done_(before),
      all_(all),
      quiet_(quiet),
      terminal_(::isatty(STDERR_FILENO) != 0) {}

double Progress::seconds() const {
  return std::chrono::duration<double>(Clock::now() - start_).count();
}

std::string Progress::line() const {
  const double share = static_cast<double>(done_) / static_cast<double>(all_);
  const double rate = static_cast<double>(done_ - before_) / std::max(seconds(), 1e-9);
  const std::string left =
      rate > 0 ? duration_text(static_cast<double>(all_ - done_) / rate) + " left" : "";
  return fmt::format("{:3.0f} %  {} of {} {}  {:.{}f} {}/s  {}", 100 * share, done_, all_, counted_,
                     rate, rate < 10 ? 1 : 0, counted_, left);
}

void Progress::tick() {
  if (quiet_) return;
  const auto now = Clock::now();
  if (!terminal_) {
    if (now - shown_ < std::chrono::minutes(1)) return;
    fmt::print(stderr, "{}: {}\n", name_, line());
  } else {
    constexpr std::size_t width = 24;
    const auto full = static_cast<std::size_t>(
        static_cast<double>(width) * static_cast<double>(done_) / static_cast<double>(all_));
    fmt::print(stderr, "\r\x1b[K{} [{}{}] {}", name_, std::string(full, '#'),
               std::string(width - full, '.'), line());
  }
  std::fflush(stderr);
  shown_ = now;
}

void Progress::end() {
  if (terminal_ && !quiet_) fmt::print(stderr, "\r\x1b[K");
}

}  // namespace serosa::runner
