// SPDX-License-Identifier: Apache-2.0
// Designs: which combinations of inputs the runs of a study take.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "study/sensitivity_design.hpp"

namespace serosa::study {

/// The last two serve sensitivities, see study/sensitivity_design.hpp.
enum class DesignKind { full_grid, random, latin_hypercube, sobol, radial, trajectories };

/// A design over the unit cube, one dimension per input.
struct Design {
  DesignKind kind = DesignKind::random;
  std::uint64_t runs = 0;
  std::uint64_t seed = 1;
  std::vector<std::string> names;    ///< of the inputs; they choose the random streams
  std::vector<std::uint64_t> levels;  ///< of the inputs, for a full grid
  std::optional<RadialPlan> radial = {};
  std::optional<TrajectoryPlan> trajectories = {};
};

/// The most inputs a scrambled Sobol' sequence takes here.
inline constexpr std::size_t most_sobol_inputs = 3667;

/// Serves the points of a design: run i is a function of seed and i alone (with a Latin hypercube
/// also of the number of runs), whatever was asked before. Not for several threads at once.
///
/// Sobol': the sequence of Boost.Random with the direction numbers of Joe and Kuo (SIAM Journal on
/// Scientific Computing 30 (2008) 2635), its first point (0, 0 …) included, scrambled by a random
/// linear map and a digital shift per dimension (Matoušek, Journal of Complexity 14 (1998) 527,
/// section 2.4), so that each point is uniform and the net stays a net.
///
/// Latin hypercube: in each dimension, of `runs` equal layers each has one run (McKay, Beckman and
/// Conover, Technometrics 21 (1979) 239).
///
/// Radial design and trajectories: see study/sensitivity_design.hpp.
///
/// Full grid: every combination, the first input changing slowest; the fraction is the middle of
/// the level's share.
class Points {
 public:
  explicit Points(const Design& design);
  ~Points();
  Points(Points&&) noexcept;

  /// Fills one fraction per input, each strictly between 0 and 1.
  void at(std::uint64_t run, std::span<double> fractions);

 private:
  struct Sobol;
  const Design& design_;
  std::vector<std::uint64_t> streams_;
  std::unique_ptr<Sobol> sobol_;
  std::unique_ptr<RadialPoints> radial_;
  std::unique_ptr<TrajectoryPoints> trajectories_;
};

}  // namespace serosa::study
