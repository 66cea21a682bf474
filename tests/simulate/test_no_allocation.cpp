// SPDX-License-Identifier: Apache-2.0
#include <atomic>
#include <catch2/catch.hpp>
#include <cstdlib>
#include <memory>
#include <new>
#include <numeric>

#include "stores.hpp"

namespace {
std::atomic<long> allocations{0};

void* counted(std::size_t size, std::size_t alignment) {
  ++allocations;
  const std::size_t rounded = (size + alignment - 1) / alignment * alignment;
  if (void* p = std::aligned_alloc(alignment, rounded == 0 ? alignment : rounded)) return p;
  throw std::bad_alloc();
}
}  // namespace

// Every form, so that none of the run-time library's (or a sanitizer's) meets memory of ours.
constexpr std::size_t usual = alignof(std::max_align_t);
using Alignment = std::align_val_t;
using NoThrow = std::nothrow_t;
void* operator new(std::size_t n) { return counted(n, usual); }
void* operator new[](std::size_t n) { return counted(n, usual); }
void* operator new(std::size_t n, const NoThrow&) noexcept { return counted(n, usual); }
void* operator new[](std::size_t n, const NoThrow&) noexcept { return counted(n, usual); }
void* operator new(std::size_t n, Alignment a) { return counted(n, std::size_t(a)); }
void* operator new[](std::size_t n, Alignment a) { return counted(n, std::size_t(a)); }
void operator delete(void* p) noexcept { std::free(p); }
void operator delete[](void* p) noexcept { std::free(p); }
void operator delete(void* p, std::size_t) noexcept { std::free(p); }
void operator delete[](void* p, std::size_t) noexcept { std::free(p); }
void operator delete(void* p, const NoThrow&) noexcept { std::free(p); }
void operator delete[](void* p, const NoThrow&) noexcept { std::free(p); }
void operator delete(void* p, Alignment) noexcept { std::free(p); }
void operator delete[](void* p, Alignment) noexcept { std::free(p); }
void operator delete(void* p, std::size_t, Alignment) noexcept { std::free(p); }
void operator delete[](void* p, std::size_t, Alignment) noexcept { std::free(p); }

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
