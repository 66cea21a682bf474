// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>
#include <chrono>
#include <cstdlib>
#include <numeric>
#include <string>

#include "function_hash.hpp"
#include "isa_kernel.hpp"

namespace serosa::simulate::test {

double seconds_now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

namespace {

using Catch::Matchers::Contains;

struct BackToDefault {
  ~BackToDefault() {
    force_instruction_set("");
    unsetenv("SEROSA_ISA");
  }
};

TEST_CASE("every instruction set gives the bits of the plain run", "[isa]") {
  const BackToDefault guard;
  std::vector<StoresRun> runs;
  for (std::uint64_t n = 0; n < 300; ++n) runs.push_back(draw_run(n, true));
  std::vector<std::size_t> order(runs.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const auto alone =
      integrate_stores<double, kernel_stores>(runs, order, stores_control<kernel_stores>());
  const std::uint64_t functions = hash_of_every_function<double>();
  for (const InstructionSet set : available_instruction_sets()) {
    force_instruction_set(name(set));
    INFO(name(set));
    CHECK(std::string(SEROSA_PICK_ISA(compiled_for)()) == name(set));
    CAPTURE(functions);
    CHECK(SEROSA_PICK_ISA(hash_of_functions)() == functions);
    std::vector<StoresResult> results;
    SEROSA_PICK_ISA(integrate_runs)(runs, order, results);
    REQUIRE(results.size() == alone.size());
    std::size_t different = 0;
    for (std::size_t n = 0; n < runs.size(); ++n)
      different += same_bits(alone[n], results[n]) ? 0 : 1;
    CHECK(different == 0);
  }
}

TEST_CASE("the instruction set is the forced, the asked for, or the fastest", "[isa]") {
  const BackToDefault guard;
  const auto sets = available_instruction_sets();
  REQUIRE_FALSE(sets.empty());
  unsetenv("SEROSA_ISA");
  CHECK(chosen_instruction_set() == sets.back());
  for (const InstructionSet set : sets) {
    setenv("SEROSA_ISA", std::string(name(set)).c_str(), 1);
    CHECK(chosen_instruction_set() == set);
  }
  force_instruction_set(name(sets.front()));
  CHECK(chosen_instruction_set() == sets.front());
  force_instruction_set("");
  CHECK(chosen_instruction_set() == sets.back());
  setenv("SEROSA_ISA", "v9", 1);
  CHECK_THROWS_WITH(chosen_instruction_set(), Contains("SEROSA_ISA") && Contains("\"v9\"") &&
                                                  Contains(std::string(name(sets.front()))));
  CHECK_THROWS_AS(force_instruction_set("avx512"), std::invalid_argument);
}

// Run by name; it measures and asserts only that something was measured.
TEST_CASE("speed of one evaluation of the rates, 60 states", "[.][speed]") {
  const BackToDefault guard;
  for (const InstructionSet set : available_instruction_sets()) {
    force_instruction_set(name(set));
    SEROSA_PICK_ISA(nanoseconds_per_rates)(2000);
    const double rates = SEROSA_PICK_ISA(nanoseconds_per_rates)(20000);
    std::vector<StoresRun> runs;
    for (std::uint64_t n = 0; n < 2000; ++n) runs.push_back(draw_run(n, false));
    std::vector<std::size_t> order(runs.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::vector<StoresResult> results;
    const double begun = seconds_now();
    SEROSA_PICK_ISA(integrate_runs)(runs, order, results);
    const double seconds = seconds_now() - begun;
    double evaluations = 0.0;
    for (const auto& r : results) evaluations += r.report.effort.rate_evaluations;
    WARN(name(set) << ": " << rates << " ns per evaluation and lane; whole runs "
                   << seconds * 1e9 / evaluations << " ns per evaluation and lane, "
                   << 2000 / seconds << " runs/s");
    CHECK(rates > 0.0);
  }
  Stores<double, kernel_stores> system;
  std::array<double, 3 * kernel_stores> x, dxdt{};
  for (std::size_t i = 0; i < x.size(); ++i) x[i] = 1.0 + static_cast<double>(i);
  const double begun = seconds_now();
  for (int n = 0; n < 20000; ++n) {
    system(x, dxdt, 0.0);
    x[0] += 1e-9 * dxdt[1];  // so that no evaluation can be left out
  }
  WARN("plain numbers: " << (seconds_now() - begun) * 1e9 / 20000 << " ns per evaluation, up to "
                         << x[0]);
}

}  // namespace
}  // namespace serosa::simulate::test
