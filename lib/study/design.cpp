// SPDX-License-Identifier: Apache-2.0
#include "study/design.hpp"

#include <array>
#include <bit>
#include <boost/random/sobol.hpp>
#include <limits>
#include <stdexcept>

#include "study/random.hpp"

namespace serosa::study {

/// The sequence and the scrambling of each dimension.
struct Points::Sobol {
  static constexpr int digits = 52;
  // Column k: what digit k (0 the highest) of a number adds to the scrambled number.
  using Columns = std::array<std::uint64_t, digits>;

  Sobol(std::size_t dimensions, std::uint64_t seed, const std::vector<std::uint64_t>& streams)
      : engine(dimensions), dimensions_(dimensions) {
    for (std::size_t j = 0; j < dimensions; ++j) {
      Columns c{};
      for (int k = 0; k < digits; ++k) {
        // A digit changes itself never, and those below it at random.
        const std::uint64_t own = std::uint64_t{1} << (63 - k);
        const std::uint64_t below = own - 1;
        c[static_cast<std::size_t>(k)] =
            own | (random_bits(seed, streams[j], static_cast<std::uint64_t>(k)) & below);
      }
      columns.push_back(c);
      shifts.push_back(random_bits(seed, streams[j], digits));
    }
  }

  void at(std::uint64_t run, std::span<double> fractions) {
    // Boost leaves out the first point, which is zero everywhere.
    if (run > 0 && run != next) engine.seed(run - 1);
    next = run + 1;
    for (std::size_t j = 0; j < dimensions_; ++j) {
      std::uint64_t left = run == 0 ? 0 : engine(), scrambled = shifts[j];
      for (left >>= 64 - digits, left <<= 64 - digits; left != 0;) {
        const int k = std::countl_zero(left);
        scrambled ^= columns[j][static_cast<std::size_t>(k)];
        left ^= std::uint64_t{1} << (63 - k);
      }
      fractions[j] = open_fraction(scrambled);
    }
    if (run == 0) engine.seed(0);
  }

  boost::random::sobol engine;
  std::size_t dimensions_;
  std::uint64_t next = std::numeric_limits<std::uint64_t>::max();
  std::vector<Columns> columns;
  std::vector<std::uint64_t> shifts;
};

Points::Points(const Design& design) : design_(design) {
  // Each kind draws from streams of its own.
  const std::string purpose = design.kind == DesignKind::random            ? "random:"
                              : design.kind == DesignKind::latin_hypercube ? "latin:"
                                                                           : "sobol:";
  for (const auto& name : design.names) streams_.push_back(stream_of(purpose + name));
  if (design.kind == DesignKind::full_grid && design.levels.size() != design.names.size())
    throw std::logic_error("a full grid needs the levels of every input");
  if (design.kind == DesignKind::radial)
    radial_ = std::make_unique<RadialPoints>(design.radial.value(), design.names, design.seed);
  if (design.kind == DesignKind::trajectories)
    trajectories_ = std::make_unique<TrajectoryPoints>(design.trajectories.value(), design.names,
                                                       design.seed);
  if (design.kind == DesignKind::sobol && !design.names.empty())
    sobol_ = std::make_unique<Sobol>(design.names.size(), design.seed, streams_);
}
Points::~Points() = default;
Points::Points(Points&&) noexcept = default;

void Points::at(std::uint64_t run, std::span<double> fractions) {
  const std::size_t inputs = design_.names.size();
  switch (design_.kind) {
    case DesignKind::full_grid:
      for (std::size_t j = inputs; j-- > 0;) {
        const std::uint64_t levels = design_.levels[j];
        fractions[j] = (static_cast<double>(run % levels) + 0.5) / static_cast<double>(levels);
        run /= levels;
      }
      return;
    case DesignKind::random:
      for (std::size_t j = 0; j < inputs; ++j)
        fractions[j] = open_fraction(random_bits(design_.seed, streams_[j], run));
      return;
    case DesignKind::latin_hypercube:
      for (std::size_t j = 0; j < inputs; ++j) {
        const std::uint64_t layer = permuted(run, design_.runs, design_.seed, ~streams_[j]);
        const double within = open_fraction(random_bits(design_.seed, streams_[j], run));
        fractions[j] = (static_cast<double>(layer) + within) / static_cast<double>(design_.runs);
        // Rounding may not reach the end.
        if (fractions[j] >= 1) fractions[j] = 1 - 0x1p-53;
      }
      return;
    case DesignKind::sobol:
      if (sobol_) sobol_->at(run, fractions);
      return;
    case DesignKind::radial:
      radial_->at(run, fractions);
      return;
    case DesignKind::trajectories:
      trajectories_->at(run, fractions);
      return;
  }
}

}  // namespace serosa::study
