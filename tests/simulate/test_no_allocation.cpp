// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <memory>
#include <numeric>

#include "counted_allocations.hpp"
#include "stores.hpp"

namespace serosa::simulate::test {
namespace {

TEMPLATE_TEST_CASE("runs of a block allocate nothing", "[integrator]", double, physics::Pack<8>) {
  constexpr std::size_t S = 4;
  std::vector<StoresRun> runs;
  for (std::uint64_t n = 0; n < 100; ++n) runs.push_back(draw_run(n, true));
  std::vector<std::size_t> order(runs.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::vector<StoresResult> results(runs.size());
  for (auto& r : results) r.outputs.reserve(100'000);
  Stores<TestType, S> system;
  StoresJourney<TestType, S> journey(system, runs, order, results);
  const auto integrator = std::make_unique<Integrator<TestType, 3 * S>>(stores_control<S>());

  const long before = allocations;
  integrator->run(system, journey);
  const long after = allocations;
  CHECK(before > 100);  // the counter counts
  CHECK(after - before == 0);
  CHECK(results.back().report.effort.accepted_steps > 0);
}

}  // namespace
}  // namespace serosa::simulate::test
