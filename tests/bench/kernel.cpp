// SPDX-License-Identifier: Apache-2.0
// Compiled once per instruction set: the rates alone, eight lanes at a time.
#include "bench/kernel.hpp"

namespace serosa::bench::SEROSA_ISA_NAMESPACE {

double rates_again(const std::vector<Moment8>& moments, long times) {
  double sum = 0;
  baby::State<physics::Pack<8>> dx;
  for (long n = 0; n < times; ++n) {
    const Moment8& m = moments[static_cast<std::size_t>(n) % moments.size()];
    baby::rates(m.t, m.x, m.subject, m.settled, dx);
    sum += dx[static_cast<std::size_t>(n) % dx.size()][0];
  }
  return sum;
}

}  // namespace serosa::bench::SEROSA_ISA_NAMESPACE
