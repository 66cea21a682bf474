// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <memory>
#include <numeric>

#include "stores.hpp"

namespace serosa::simulate::test {
namespace {

using physics::Pack;
constexpr std::size_t S = 4;

std::size_t runs_that_differ(const std::vector<StoresResult>& a,
                             const std::vector<StoresResult>& b) {
  std::size_t different = 0;
  for (std::size_t n = 0; n < a.size(); ++n) different += same_bits(a[n], b[n]) ? 0 : 1;
  return different;
}

TEST_CASE("a run gives the same bits alone, in any lane and with any neighbours", "[integrator]") {
  std::vector<StoresRun> runs;
  for (std::uint64_t n = 0; n < 2400; ++n) runs.push_back(draw_run(n, true));
  std::vector<std::size_t> order(runs.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const auto control = stores_control<S>();

  const auto alone = integrate_stores<double, S>(runs, order, control);
  const auto in_block = integrate_stores<Pack<8>, S>(runs, order, control);
  CHECK(runs_that_differ(alone, in_block) == 0);

  Draw draw(99);
  for (std::size_t n = order.size() - 1; n > 0; --n)
    std::swap(order[n], order[static_cast<std::size_t>(draw.next() % (n + 1))]);
  CHECK(runs_that_differ(alone, integrate_stores<Pack<8>, S>(runs, order, control)) == 0);
  CHECK(runs_that_differ(alone, integrate_stores<Pack<4>, S>(runs, order, control)) == 0);

  // The comparison is worth something only if the runs differ and meet every fate.
  std::array<int, run_statuses.size()> fates{};
  int dried = 0;
  for (const auto& r : alone) {
    ++fates[static_cast<std::size_t>(r.report.status)];
    dried += r.report.effort.restarts > 0 ? 1 : 0;
    REQUIRE_FALSE(r.outputs.empty());
  }
  CHECK(fates[static_cast<std::size_t>(RunStatus::finished)] > 1800);
  CHECK(fates[static_cast<std::size_t>(RunStatus::rates_not_finite)] > 50);
  CHECK(fates[static_cast<std::size_t>(RunStatus::step_too_small)] > 10);
  CHECK(fates[static_cast<std::size_t>(RunStatus::state_below_zero)] > 50);
  CHECK(fates[static_cast<std::size_t>(RunStatus::not_started)] == 0);
  CHECK(dried > 1000);
}

TEST_CASE("a block with fewer runs than lanes serves them all", "[integrator]") {
  const auto control = stores_control<S>();
  for (std::size_t count = 0; count <= 9; ++count) {
    std::vector<StoresRun> runs;
    for (std::size_t n = 0; n < count; ++n) runs.push_back(draw_run(n + 5000, false));
    std::vector<std::size_t> order(runs.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    const auto alone = integrate_stores<double, S>(runs, order, control);
    const auto in_block = integrate_stores<Pack<8>, S>(runs, order, control);
    CHECK(runs_that_differ(alone, in_block) == 0);
    for (const auto& r : in_block) CHECK(r.report.status == RunStatus::finished);
  }
}

}  // namespace
}  // namespace serosa::simulate::test
