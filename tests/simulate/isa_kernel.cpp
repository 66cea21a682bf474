// SPDX-License-Identifier: Apache-2.0
// Compiled once per instruction set (SEROSA_ISA_NAMESPACE, SEROSA_ISA come from the build).
#include <cstddef>
#include <memory>
#include <vector>

#include "function_hash.hpp"
#include "stores.hpp"

namespace serosa::simulate::test {

double seconds_now();

namespace SEROSA_ISA_NAMESPACE {

using physics::Pack;
constexpr std::size_t S = 20;

const char* compiled_for() { return SEROSA_ISA; }

void integrate_runs(const std::vector<StoresRun>& runs, const std::vector<std::size_t>& order,
                    std::vector<StoresResult>& results) {
  results = integrate_stores<Pack<8>, S>(runs, order, stores_control<S>());
}

std::uint64_t hash_of_functions() { return hash_of_every_function<Pack<8>>(); }

// Per evaluation of one lane's rates.
double nanoseconds_per_rates(int repeats) {
  const auto system = std::make_unique<Stores<Pack<8>, S>>();
  const auto x = std::make_unique<std::array<Pack<8>, 3 * S>>();
  const auto dxdt = std::make_unique<std::array<Pack<8>, 3 * S>>();
  for (std::size_t i = 0; i < 3 * S; ++i) (*x)[i] = Pack<8>(1.0 + static_cast<double>(i));
  const double begun = seconds_now();
  for (int n = 0; n < repeats; ++n) {
    (*system)(*x, *dxdt, Pack<8>(0.0));
    (*x)[0] += 1e-9 * (*dxdt)[1];  // so that no evaluation can be left out
  }
  return (seconds_now() - begun) * 1e9 / repeats / 8;
}

}  // namespace SEROSA_ISA_NAMESPACE
}  // namespace serosa::simulate::test
