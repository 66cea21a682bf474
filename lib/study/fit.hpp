// SPDX-License-Identifier: Apache-2.0
// Fitting: inputs of a study by weighted least squares against measured figures, with profile
// likelihoods, and what the data cannot tell.
#pragma once
#include <array>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "study/fit_model.hpp"

// X(enumerator, word, sentence)
#define SEROSA_FIT_VERDICTS(X)                                                       \
  X(told, "told", "the data tell it: its interval ends inside its bounds")           \
  X(at_least, "at least",                                                            \
    "the data give a lower end only; the upper end lies on or beyond the "           \
    "bound")                                                                         \
  X(at_most, "at most",                                                              \
    "the data give an upper end only; the lower end lies on or beyond the "          \
    "bound")                                                                         \
  X(cannot_tell, "cannot tell", "no value within its bounds is refused by the data") \
  X(not_apart, "cannot tell apart",                                                  \
    "the data tell it only together with others, which make up for its changes")     \
  X(no_effect, "no effect", "no measured figure depends on it")

// X(enumerator, word, sentence)
#define SEROSA_PROFILE_ENDS(X)                                                          \
  X(threshold, "threshold", "the profile passed the threshold: the interval ends here") \
  X(bound, "bound", "the bound was met below the threshold")                            \
  X(failed, "failed", "runs failed from here on")                                       \
  X(given_up, "given up", "too many points were needed")

namespace serosa::study {

#define SEROSA_ITEM(name, ...) name,
enum class FitVerdict { SEROSA_FIT_VERDICTS(SEROSA_ITEM) };
enum class ProfileEnd { SEROSA_PROFILE_ENDS(SEROSA_ITEM) };
#undef SEROSA_ITEM

/// Verdicts and ends of profiles with their words and sentences, in the order of the lists.
#define SEROSA_ITEM(name, word, sentence) \
  std::pair<std::string_view, std::string_view>{word, sentence},
inline constexpr std::array fit_verdicts{SEROSA_FIT_VERDICTS(SEROSA_ITEM)};
inline constexpr std::array profile_ends{SEROSA_PROFILE_ENDS(SEROSA_ITEM)};
#undef SEROSA_ITEM
constexpr std::string_view word_of(FitVerdict verdict) {
  return fit_verdicts[static_cast<std::size_t>(verdict)].first;
}
constexpr std::string_view sentence_of(FitVerdict verdict) {
  return fit_verdicts[static_cast<std::size_t>(verdict)].second;
}
constexpr std::string_view word_of(ProfileEnd end) {
  return profile_ends[static_cast<std::size_t>(end)].first;
}

/// Of the chi-square law with `freedom` degrees of freedom; relative error about 1e-13 (the
/// incomplete gamma function, Abramowitz and Stegun, Handbook of Mathematical Functions, 1964,
/// 6.5.29 and 6.5.31).
double chi_square_cdf(double x, double freedom);

struct FitSettings {
  std::size_t starts = 8;  ///< the first at the inputs' start values, the others anywhere in bounds
  std::uint64_t seed = 1;
  double confidence = 0.95;
  int threads = 1;  ///< they change nothing but the time it takes
  bool profiles = true;
};

/// One search for the best fit.
struct FitStart {
  std::vector<double> from, to;  ///< inputs
  double chi_square = 0;         ///< NaN where the first run failed
  int evaluations = 0;
  std::string ended;  ///< why the optimiser stopped, in words
};

struct ProfilePoint {
  std::vector<double> values;  ///< of all inputs: one held, the others fitted again
  double rise = 0;             ///< of chi-square above its least
};

/// How chi-square rises when one input is held away from the best fit.
struct Profile {
  std::vector<ProfilePoint> points;  ///< by rising value of the input held, the best fit included
  ProfileEnd low_end = ProfileEnd::bound, high_end = ProfileEnd::bound;
  std::vector<std::size_t> on_bound;  ///< other inputs that lay on a bound where an interval ended
};

/// What is known of one input after a fit.
struct FittedInput {
  double value = 0;
  double low = 0, high = 0;  ///< interval by the profile; the bound where it is open
  bool low_open = false, high_open = false;
  double sd = 0;  ///< by the Fisher information, all others fitted; infinite when singular
  FitVerdict verdict = FitVerdict::told;
};

/// Inputs that the data cannot tell apart: moving all of them at once by these shares of their
/// ranges changes no figure by much.
struct Combination {
  std::vector<std::size_t> inputs;
  std::vector<double> shares;  ///< of the range, the largest 1 or -1; an input's sign is its way
  double half_width = 0;       ///< of its interval, in units of `shares`; infinite when singular
};

struct Fit {
  std::vector<FittedInput> inputs;
  std::vector<Profile> profiles;  ///< one per input; empty when not asked for
  std::vector<FitStart> starts;
  std::size_t best = 0;      ///< of the starts
  std::size_t agreeing = 0;  ///< starts that ended within 0.1 of the least chi-square
  double chi_square = 0;
  double threshold = 0;              ///< of a rise of chi-square, at the confidence asked for
  double freedom = 0;                ///< measurements less inputs
  double p = 0;                      ///< share of repetitions in which chi-square would be larger
  std::vector<double> figures;       ///< of the best fit, one per measurement
  std::vector<double> slopes;        ///< measurements × inputs
  std::vector<double> correlations;  ///< inputs × inputs, by the Fisher information; NaN: singular
  std::vector<Combination> combinations;
  /// What stopped the fit when no start could be run; `finished` otherwise.
  FitModel::Outcome outcome;
  long runs = 0;
};

/// Called after each piece of work (a start, one side of a profile), never twice at once.
using FitProgress = std::function<void(std::size_t done, std::size_t all)>;

/// Weighted least squares by NLopt's SLSQP (Kraft, A software package for sequential quadratic
/// programming, DFVLR-FB 88-28, 1988) with the gradient from FitModel, from several starts; then
/// the profile likelihood of each input (Venzon and Moolgavkar, Applied Statistics 37 (1988) 87;
/// Raue et al., Bioinformatics 25 (2009) 1923). Errors are taken as Gaussian, independent, of the
/// stated standard deviations, so that chi-square is minus twice the logarithm of the likelihood.
/// The same problem and settings give the same bits, whatever the threads.
Fit fit(const FitProblem& problem, const FitSettings& settings, const FitProgress& progress = {});

/// Measured values as they might have been: the model's figures at `values` with Gaussian errors.
/// The error's standard deviation is the measurement's own, or `sd_of(observable, figure)`.
/// Nothing when a run failed.
using ErrorOf = std::function<double(const Measurement&, double figure)>;
std::vector<Measurement> simulated(const FitProblem& problem, std::span<const double> values,
                                   std::uint64_t seed, const ErrorOf& sd_of = {});

/// How often a fit of simulated data finds what they were made with.
struct Repeats {
  std::size_t repeats = 0;
  std::size_t failed = 0;            ///< no fit was possible
  std::vector<std::size_t> covered;  ///< per input: repeats whose interval held the true value
  std::vector<std::size_t> closed;   ///< per input: repeats with an interval closed on both sides
  std::vector<double> mean, sd;      ///< per input: of the fitted values
};
Repeats repeated(const FitProblem& problem, std::span<const double> truth, std::size_t repeats,
                 const FitSettings& settings, const ErrorOf& sd_of = {},
                 const FitProgress& progress = {});

}  // namespace serosa::study
