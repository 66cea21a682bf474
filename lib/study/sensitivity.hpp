// SPDX-License-Identifier: Apache-2.0
// Which inputs carry the answer: variance-based indices, elementary effects, rank correlations. All
// of it is plain arithmetic on the outputs of a design (study/sensitivity_design.hpp).
#pragma once
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "study/sensitivity_design.hpp"
#include "study/statistics.hpp"

namespace serosa::study {

// ---- Variance-based indices --------------------------------------------------------------------

/// Sums over base points: a and b are the output at points A and B, c at point A_B, which differs
/// from A in the inputs of one group and from B in all others.
struct RadialSums {
  double n;
  double a, b, c;
  double aa, bb, cc;
  double ac, bc;
};

/// First-order index: the share of the variance that would go if the group were known. Janon,
/// Klein, Lagnoux, Nodet and Prieur, ESAIM: Probability and Statistics 18 (2014) 342, equation (6).
double janon_2014(const RadialSums& s);
/// First-order index as a correlation coefficient of b and c. Martinez, Analyse de sensibilité
/// globale par décomposition de la variance, GdR Ondes & Mascot Num, 2011; as given by Baudin,
/// Boumhaout, Delage, Iooss and Martinez, 8th International Conference on Sensitivity Analysis of
/// Model Output, 2016.
double martinez_2011(const RadialSums& s);
/// First-order index. Jansen, Computer Physics Communications 117 (1999) 35; as in table 2 (b) of
/// Saltelli et al. 2010. The variance is that of the A points.
double jansen_1999(const RadialSums& s);
/// Total index: the share of the variance that would stay if all but the group were known. Jansen
/// 1999; table 2 (f) of Saltelli et al. 2010.
double jansen_1999_total(const RadialSums& s);
/// Total index, one less a correlation coefficient of a and c. Martinez 2011.
double martinez_2011_total(const RadialSums& s);

enum class FirstOrder { janon_2014, martinez_2011, jansen_1999 };
enum class TotalOrder { jansen_1999, martinez_2011 };

struct IndexSettings {
  FirstOrder first = FirstOrder::janon_2014;
  TotalOrder total = TotalOrder::jansen_1999;
  double confidence = 0.95;
  std::size_t replicates = 256;  ///< of the bootstrap
  std::uint64_t seed = 1;        ///< of the bootstrap
};

/// Indices of one output. NaN where the output does not vary.
struct Indices {
  double mean = 0, variance = 0;       ///< over the A and B points
  std::vector<Estimate> first, total;  ///< of the groups
  std::vector<Estimate> second;        ///< of the pairs: what the two do together only
};

/// True when the interval does not exclude zero, or there is no interval.
bool not_distinguishable_from_zero(const Estimate& e);

/// Estimates the indices of outputs over one radial design, all with the same resamples.
///
/// Intervals are the estimate ± quantile × standard error. For independent base points the error is
/// the standard deviation over bootstrap resamples of whole base points (Archer, Saltelli and
/// Sobol', Journal of Statistical Computation and Simulation 58 (1997) 99), the quantile that of
/// the normal law. For scrambled Sobol' sequences it is the jackknife's, leaving out one scramble
/// at a time, the quantile that of Student's law with one degree less than there are scrambles.
///
/// Memory: replicates × base points for the weights, and per call about 4 columns of base points
/// for each run of a base point. `estimate` may be called from several threads.
class IndexEstimator {
 public:
  /// @param kept  numbers of the base points to use, rising; points with a failed run are left out
  IndexEstimator(const RadialPlan& plan, const IndexSettings& settings,
                 const std::vector<std::uint64_t>& kept);

  /// @param values  one per run of the design, in its order; those of points not kept are not
  ///                looked at. Throws std::invalid_argument with the sum when the size is wrong.
  Indices estimate(std::span<const double> values) const;

  std::uint64_t points() const { return kept_.size(); }

 private:
  double standard_error(std::span<const double> replicates, double& quantile) const;

  const RadialPlan& plan_;
  IndexSettings settings_;
  std::vector<std::uint64_t> kept_;
  std::size_t resamples_ = 0;
  std::vector<double> weights_;  ///< in groups of four resamples: points × 4
  std::vector<double> sizes_;    ///< sum of weights of each resample
};

/// All base points 0 … plan.base − 1.
std::vector<std::uint64_t> all_points(const RadialPlan& plan);

// ---- Elementary effects ------------------------------------------------------------------------

/// Per group. The effects are changes of the output per whole width of the inputs' laws.
struct ElementaryEffects {
  std::vector<Estimate> mu_star;  ///< mean size (Campolongo et al. 2007, equation 5)
  std::vector<double> mu;         ///< mean (Morris 1991); NaN for groups of several inputs
  std::vector<double> sigma;      ///< standard deviation; NaN for groups of several inputs
};

/// @param values  one per run of the design, in its order; a trajectory with a NaN is left out
/// Intervals of mu_star by Student's law over trajectories. Throws std::invalid_argument with the
/// sum when the size is wrong.
ElementaryEffects elementary_effects(const TrajectoryPlan& plan, std::span<const Step> steps,
                                     std::span<const double> values, double confidence);

// ---- Rank correlations -------------------------------------------------------------------------

/// Ranks from 1; equal numbers share their mean rank.
std::vector<double> ranks_of(std::span<const double> values);

/// Rank correlations of outputs with all inputs of a sample.
///
/// Spearman's coefficient, and the partial rank correlation (Iman and Conover, Communications in
/// Statistics A 9 (1980) 1749; Marino et al., Journal of Theoretical Biology 254 (2008) 178,
/// section 2.2): that of what is left of the ranks of input and output when their linear dependence
/// on the ranks of all other inputs is taken away. Intervals by Fisher's transformation, with the
/// variance (1 + r²/2) / (n − 3) of Bonett and Wright, Psychometrika 65 (2000) 23; for the partial
/// one n is less by the number of other inputs.
class RankCorrelations {
 public:
  /// @param inputs  columns of equal length, one per input
  /// Throws std::invalid_argument when there are too few runs.
  RankCorrelations(const std::vector<std::vector<double>>& inputs, double confidence);

  struct Coefficients {
    std::vector<Estimate> spearman, partial;  ///< per input; NaN where input or output is constant
  };
  Coefficients of(std::span<const double> output) const;

 private:
  std::size_t runs_;
  double confidence_;
  std::vector<std::vector<double>> scores_;  ///< ranks, centred, of length 1; zero when constant
  std::vector<std::size_t> varying_;         ///< inputs that are not constant
  std::vector<double> inverse_;              ///< of the correlation matrix of those; may be empty
};

}  // namespace serosa::study
