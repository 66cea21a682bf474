// SPDX-License-Identifier: Apache-2.0
// Law: halving the tolerance changes no reported figure beyond it.
#include <algorithm>
#include <cmath>

#include "lifted.hpp"
#include "shipped.hpp"

namespace serosa::laws {
namespace {

using namespace simulate;

/// How well a figure is known when every state is known to its tolerance: the sum of its slopes by
/// the states times what each may be off by. So a deficit is known as well as the volumes it is the
/// difference of, and a heat flux as well as the temperatures. By dual numbers.
std::vector<double> known_to(const Snapshot& at, const Snapshot& start, const Settings& settings) {
  constexpr int n = static_cast<int>(baby::state::stores);
  using Dual = physics::Dual<n>;
  const auto subject = lifted<Dual>(at.subject);
  baby::State<Dual> x, x0;
  for (std::size_t i = 0; i < baby::state::count; ++i) {
    x[i] = Dual(at.state[i]);
    x0[i] = Dual(start.state[i]);
    if (i < baby::state::stores) x[i].slope[i] = 1.0;
  }
  std::vector<Dual> figures(output::count);
  observe(Dual(at.time), x, x0, subject, care::Given<Dual>{}, Dual(0.0), figures.data());
  std::vector<double> known(output::count, 0.0);
  for (std::size_t o = 0; o < output::count; ++o)
    for (std::size_t i = 0; i < baby::state::stores; ++i)
      known[o] += std::fabs(figures[o].slope[i]) *
                  (baby::state_list[i].absolute_tolerance * settings.absolute_tolerance_factor +
                   settings.relative_tolerance * std::fabs(at.state[i]));
  return known;
}

/// Absolute tolerance of the ledger of this name; else that of water, 1e-3 g.
double own_tolerance(std::string_view name) {
  for (const auto& info : baby::state_list)
    if (info.name == name) return info.absolute_tolerance;
  return 1e-3;
}

bool is_account(std::string_view name) {
  return name.size() > 12 && name.substr(name.size() - 12) == "_unaccounted";
}

TEST_CASE("halving the tolerance changes no reported figure beyond it", "[laws]") {
  const double relative = GENERATE(from_range(std::begin(tolerances), std::end(tolerances)));
  const Settings settings = tolerance(relative);
  // A figure within the tolerance of the truth, and within half of it at half the tolerance: the
  // two differ by one and a half at most.
  constexpr double both = 1.5;
  for (const auto& file : shipped_cases()) {
    const auto& times = file.c.report_at;
    const std::vector<Job> jobs{{&file.c, &file.parameters, times}};
    std::vector<Result> whole(1), half(1);
    run(jobs, whole, settings);
    run(jobs, half, tolerance(relative / 2));
    std::vector<double> with_start{care::Carer<double>::first_hour(file.c)};
    with_start.insert(with_start.end(), times.begin(), times.end());
    const auto kept = snapshots(file.c, file.parameters, with_start, settings);
    REQUIRE(kept.size() == with_start.size());
    Violations violations;
    for (std::size_t i = 0; i < times.size(); ++i) {
      const auto known = known_to(kept[i + 1], kept[0], settings);
      for (std::size_t n = 0; n < output::count; ++n) {
        const auto o = static_cast<output::Index>(n);
        const auto& info = output_list[n];
        if (is_account(info.name)) continue;  // rounding, judged by the accounts
        // Sums over time have a tolerance of their own.
        const double sum = own_tolerance(info.name) * settings.absolute_tolerance_factor +
                           relative * std::fabs(whole[0].at(i, o));
        const double allowed = both * (known[n] + sum);
        const double change = std::fabs(half[0].at(i, o) - whole[0].at(i, o));
        if (!(change <= allowed))
          violations.add(info.name, " at ", times[i], " h changes from ", whole[0].at(i, o), " by ",
                         change, ", allowed ", allowed, ", tolerance ", relative);
      }
    }
    judge(file.c.name, relative < 1e-5 ? "halving at 1e-6" : "halving", violations);
  }
}

}  // namespace
}  // namespace serosa::laws
