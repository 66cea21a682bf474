// SPDX-License-Identifier: Apache-2.0
// Designs for sensitivities: which inputs differ between which runs.
#pragma once
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace serosa::study {

struct Design;
class Points;

/// Inputs that are changed together; an input by itself is a group of one. Every input is in one.
struct InputGroup {
  std::string name;
  std::vector<std::size_t> inputs;
};

/// The design of variance-based indices, in radial order (Saltelli et al., Computer Physics
/// Communications 181 (2010) 259, sections 4 and 5): two independent base samples A and B of
/// `base` points, and for each group of inputs, and each chosen pair of groups, the points A_B:
/// point A with these inputs taken from point B.
///
/// Runs stand base point by base point: A, B, A_B of group 0, 1 …, A_B of pair 0, 1 …
///
/// With `scrambles` = 0 the base points are drawn independently. Else they are that many
/// independently scrambled Sobol' sequences over twice the inputs, of base / scrambles points each:
/// base point i is point i / scrambles of scramble i mod scrambles, so that the first so many base
/// points are the same design, smaller.
struct RadialPlan {
  std::uint64_t base = 0;
  std::vector<InputGroup> groups;
  std::vector<std::pair<std::size_t, std::size_t>> pairs;  ///< of groups
  std::uint64_t scrambles = 0;

  /// Runs per base point.
  std::size_t width() const { return 2 + groups.size() + pairs.size(); }
  std::uint64_t runs() const { return base * width(); }
  /// `4096 x (20 + 2) = 90112`, as people write it.
  std::string sum() const;
};

/// The design of elementary effects: trajectories of groups + 1 points, each of which differs from
/// the one before in one group (Morris, Technometrics 33 (1991) 161, section 2), on `levels` equal
/// layers of each input, in whose middle the points lie; a step goes half the layers up or down.
///
/// Of `candidates` random trajectories those are taken that lie far apart, by the distance of
/// Campolongo, Cariboni and Saltelli (Environmental Modelling & Software 22 (2007) 1509, equation
/// 10): first the pair with the largest distance, then one by one the trajectory that adds most.
/// With as many candidates as trajectories all are taken: independent draws.
struct TrajectoryPlan {
  std::uint64_t trajectories = 0;
  std::vector<InputGroup> groups;
  std::uint64_t candidates = 0;
  std::uint64_t levels = 4;  ///< even

  std::size_t width() const { return 1 + groups.size(); }
  std::uint64_t runs() const { return trajectories * width(); }
  std::string sum() const;
  /// Size of a step as a share of the law of each input.
  double step() const { return 0.5; }
};

/// One group per input that is in none.
std::vector<InputGroup> with_single_groups(std::vector<InputGroup> groups,
                                           const std::vector<std::string>& names);

/// Serves the points of a radial design; see study::Points.
class RadialPoints {
 public:
  RadialPoints(const RadialPlan& plan, const std::vector<std::string>& names, std::uint64_t seed);
  ~RadialPoints();
  void at(std::uint64_t run, std::span<double> fractions);

 private:
  const RadialPlan& plan_;
  std::vector<std::unique_ptr<Design>> designs_;
  std::vector<std::unique_ptr<Points>> points_;  ///< of each scramble
  std::uint64_t base_ = static_cast<std::uint64_t>(-1);
  std::vector<double> both_;  ///< point A, then point B
};

/// Serves the points of trajectories; see study::Points.
class TrajectoryPoints {
 public:
  TrajectoryPoints(const TrajectoryPlan& plan, const std::vector<std::string>& names,
                   std::uint64_t seed);
  void at(std::uint64_t run, std::span<double> fractions) const;

 private:
  std::size_t inputs_, width_;
  std::vector<double> table_;  ///< trajectories x points x inputs
};

/// Which group a trajectory changed between point `step` and the next, and whether upwards; found
/// from the points themselves.
struct Step {
  std::size_t group;
  int sign;
};
/// Steps of all trajectories: trajectories x groups.
std::vector<Step> steps_of(const TrajectoryPlan& plan, const std::vector<std::string>& names,
                           std::uint64_t seed);

}  // namespace serosa::study
