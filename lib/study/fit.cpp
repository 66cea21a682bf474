// SPDX-License-Identifier: Apache-2.0
#include "study/fit.hpp"

#include <nlopt.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <exception>
#include <limits>
#include <memory>
#include <mutex>
#include <numeric>
#include <optional>
#include <stdexcept>
#include <thread>

#include "physics/real/real.hpp"
#include "study/probability.hpp"
#include "study/random.hpp"

namespace serosa::study {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr std::size_t nobody = static_cast<std::size_t>(-1);

}  // namespace

double chi_square_cdf(double x, double freedom) {
  if (!(x > 0)) return 0;
  const double a = 0.5 * freedom, z = 0.5 * x;
  const double front = physics::exp(a * physics::log(z) - z - log_gamma(a));
  if (z < a + 1) {  // 6.5.29
    double term = 1 / a, sum = term;
    for (double k = 1; term > 1e-17 * sum; ++k) sum += term *= z / (a + k);
    return front * sum;
  }
  // 6.5.31, evaluated by Lentz's method.
  constexpr double tiny = 1e-300;
  double b = z + 1 - a, c = 1 / tiny, d = 1 / b, fraction = d;
  for (double k = 1; k < 100'000; ++k) {
    const double term = -k * (k - a);
    b += 2;
    d = 1 / (std::abs(term * d + b) < tiny ? tiny : term * d + b);
    c = std::abs(b + term / c) < tiny ? tiny : b + term / c;
    const double change = c * d;
    fraction *= change;
    if (std::abs(change - 1) < 1e-15) break;
  }
  return 1 - front * fraction;
}

namespace {

// ---- Work shared among threads ----------------------------------------------------------------

/// Does `count` pieces of work; `work(piece, worker)` with workers from 0. Rethrows the first
/// fault.
template <class Work>
void share_out(std::size_t count, std::size_t workers, const Work& work) {
  workers = std::clamp<std::size_t>(workers, 1, std::max<std::size_t>(count, 1));
  std::atomic<std::size_t> next = 0;
  std::exception_ptr fault;
  std::mutex mutex;
  const auto serve = [&](std::size_t worker) {
    try {
      for (std::size_t i; (i = next++) < count;) work(i, worker);
    } catch (...) {
      const std::scoped_lock lock(mutex);
      if (!fault) fault = std::current_exception();
      next = count;
    }
  };
  {
    std::vector<std::jthread> others;
    for (std::size_t w = 1; w < workers; ++w) others.emplace_back(serve, w);
    serve(0);
  }
  if (fault) std::rethrow_exception(fault);
}

/// Counts pieces of work for whoever watches.
class Counter {
 public:
  Counter(const FitProgress& progress, std::size_t all) : progress_(progress), all_(all) {}
  void add() {
    const std::scoped_lock lock(mutex_);
    ++done_;
    if (progress_) progress_(std::min(done_, all_), all_);
  }

 private:
  const FitProgress& progress_;
  std::size_t all_, done_ = 0;
  std::mutex mutex_;
};

// ---- Small matrices ---------------------------------------------------------------------------

/// A symmetric matrix, row by row.
struct Symmetric {
  std::size_t n;
  std::vector<double> at;
  explicit Symmetric(std::size_t size) : n(size), at(size * size, 0.0) {}
  double& operator()(std::size_t i, std::size_t j) { return at[i * n + j]; }
  double operator()(std::size_t i, std::size_t j) const { return at[i * n + j]; }
};

struct Eigen {
  std::vector<double> values;  ///< falling
  std::vector<std::vector<double>> vectors;
};

/// Eigenvalues and vectors by cyclic Jacobi rotations (Golub and Van Loan, Matrix Computations, 3rd
/// ed. 1996, section 8.4).
Eigen eigen(Symmetric a) {
  const std::size_t n = a.n;
  std::vector<std::vector<double>> v(n, std::vector<double>(n, 0.0));
  for (std::size_t i = 0; i < n; ++i) v[i][i] = 1;
  for (int sweep = 0; sweep < 60; ++sweep) {
    double off = 0, on = 0;
    for (std::size_t i = 0; i < n; ++i)
      for (std::size_t j = 0; j < n; ++j) (i == j ? on : off) += a(i, j) * a(i, j);
    if (off <= 1e-32 * on) break;
    for (std::size_t p = 0; p < n; ++p)
      for (std::size_t q = p + 1; q < n; ++q) {
        if (a(p, q) == 0) continue;
        const double tau = (a(q, q) - a(p, p)) / (2 * a(p, q));
        const double t = (tau >= 0 ? 1 : -1) / (std::abs(tau) + std::sqrt(1 + tau * tau));
        const double c = 1 / std::sqrt(1 + t * t), s = t * c;
        for (std::size_t k = 0; k < n; ++k) {
          const double kp = a(k, p), kq = a(k, q);
          a(k, p) = c * kp - s * kq, a(k, q) = s * kp + c * kq;
        }
        for (std::size_t k = 0; k < n; ++k) {
          const double pk = a(p, k), qk = a(q, k);
          a(p, k) = c * pk - s * qk, a(q, k) = s * pk + c * qk;
        }
        for (std::size_t k = 0; k < n; ++k) {
          const double kp = v[k][p], kq = v[k][q];
          v[k][p] = c * kp - s * kq, v[k][q] = s * kp + c * kq;
        }
      }
  }
  std::vector<std::size_t> order(n);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(),
            [&](std::size_t i, std::size_t j) { return a(i, i) > a(j, j); });
  Eigen e;
  for (const std::size_t i : order) {
    e.values.push_back(std::max(a(i, i), 0.0));
    std::vector<double> vector(n);
    for (std::size_t k = 0; k < n; ++k) vector[k] = v[k][i];
    e.vectors.push_back(std::move(vector));
  }
  return e;
}

/// Eigenvalues below this share of the largest are rounding.
constexpr double rounding = 1e-12;

// ---- The objective -----------------------------------------------------------------------------

/// Chi-square with its gradient and the Fisher information, by the shares of the ranges.
struct Objective {
  FitModel& model;
  const FitProblem& problem;
  std::vector<double> values, figures, slopes;
  FitModel::Outcome outcome;

  Objective(FitModel& m, const FitProblem& p) : model(m), problem(p) {}

  std::size_t inputs() const { return problem.ranges.size(); }
  void set(const std::vector<double>& shares) {
    values.resize(shares.size());
    for (std::size_t j = 0; j < shares.size(); ++j)
      values[j] = problem.ranges[j].value_at(shares[j]);
  }
  double sum() const {
    double chi_square = 0;
    for (std::size_t i = 0; i < figures.size(); ++i) {
      const auto& m = problem.measurements[i];
      const double r = (figures[i] - m.value) / m.sd;
      chi_square += r * r;
    }
    return chi_square;
  }
  /// Chi-square; infinite where a run failed.
  double at(const std::vector<double>& shares) {
    set(shares);
    outcome = model.figures(values, figures);
    return outcome.finished() ? sum() : infinity;
  }
  double at(const std::vector<double>& shares, std::vector<double>& gradient,
            Symmetric* fisher = nullptr) {
    set(shares);
    outcome = model.figures(values, figures, slopes);
    const std::size_t k = inputs();
    gradient.assign(k, 0.0);
    if (fisher) *fisher = Symmetric(k);
    if (!outcome.finished()) return infinity;
    std::vector<double> row(k);
    for (std::size_t i = 0; i < figures.size(); ++i) {
      const auto& m = problem.measurements[i];
      const double r = (figures[i] - m.value) / m.sd;
      for (std::size_t j = 0; j < k; ++j)
        row[j] = slopes[i * k + j] * problem.ranges[j].slope_at(shares[j]) / m.sd;
      for (std::size_t j = 0; j < k; ++j) {
        gradient[j] += 2 * r * row[j];
        if (fisher)
          for (std::size_t l = 0; l < k; ++l) (*fisher)(j, l) += row[j] * row[l];
      }
    }
    return sum();
  }
};

// ---- One search --------------------------------------------------------------------------------

struct Found {
  std::vector<double> shares;
  double chi_square = infinity;
  int evaluations = 0;
  std::string ended;
};

/// A search by NLopt over all inputs but `held`.
class Search {
 public:
  Search(Objective& objective, std::size_t held, std::vector<double> from)
      : objective_(objective), held_(held), shares_(std::move(from)) {
    for (std::size_t j = 0; j < shares_.size(); ++j)
      if (j != held) free_.push_back(j);
  }

  Found run() {
    best_.shares = shares_;
    Symmetric fisher(0);
    std::vector<double> gradient;
    // The optimiser's picture of the curvature is built step by step and can leave it short of the
    // bottom of a narrow valley. What Gauss and Newton still promise is the measure; a fresh
    // search goes on from there.
    for (int round = 0; round < 6; ++round) {
      best_.chi_square = objective_.at(best_.shares, gradient, &fisher);
      ++best_.evaluations;
      if (!std::isfinite(best_.chi_square)) {
        best_.ended = "the run failed";
        return best_;
      }
      if (free_.empty()) {
        best_.ended = "nothing to search";
        return best_;
      }
      const double promised = promise(gradient, fisher);
      if (promised < enough) {
        best_.ended = "nothing left to gain";
        return best_;
      }
      const double before = best_.chi_square;
      go(fisher);
      if (!(best_.chi_square < before - 1e-4 * enough)) break;
    }
    return best_;
  }

 private:
  static constexpr double enough = 1e-4;  ///< of chi-square

  /// By how much chi-square would still fall if it were a parabola: a quarter of g' F^-1 g, over
  /// the inputs that are free to move.
  double promise(const std::vector<double>& gradient, const Symmetric& fisher) const {
    std::vector<std::size_t> movable;
    for (const std::size_t j : free_)
      if (!((best_.shares[j] <= 0 && gradient[j] >= 0) ||
            (best_.shares[j] >= 1 && gradient[j] <= 0)))
        movable.push_back(j);
    Symmetric f(movable.size());
    for (std::size_t a = 0; a < movable.size(); ++a)
      for (std::size_t b = 0; b < movable.size(); ++b) f(a, b) = fisher(movable[a], movable[b]);
    const Eigen e = eigen(f);
    double promised = 0;
    for (std::size_t d = 0; d < e.values.size(); ++d) {
      if (!(e.values[d] > rounding * e.values.front())) continue;
      double along = 0, reach = infinity;
      for (std::size_t a = 0; a < movable.size(); ++a)
        along += gradient[movable[a]] * e.vectors[d][a];
      // No further than the bounds allow along this direction.
      const double step = -0.5 * along / e.values[d];
      for (std::size_t a = 0; a < movable.size(); ++a) {
        const double move = step * e.vectors[d][a], share = best_.shares[movable[a]];
        if (move > 0) reach = std::min(reach, (1 - share) / move);
        if (move < 0) reach = std::min(reach, share / -move);
      }
      const double part = std::min(1.0, reach);
      promised += (2 * part - part * part) * 0.25 * along * along / e.values[d];
    }
    return promised;
  }

  void go(const Symmetric& fisher) {
    const auto n = static_cast<unsigned>(free_.size());
    // Each input is stretched until chi-square curves alike along all of them.
    double largest = 0;
    for (const std::size_t j : free_) largest = std::max(largest, fisher(j, j));
    stretch_.clear();
    for (const std::size_t j : free_)
      stretch_.push_back(std::sqrt(2 * std::max(fisher(j, j), 1e-8 * largest)));
    std::vector<double> x, low(n, 0.0), high = stretch_;
    for (unsigned i = 0; i < n; ++i) x.push_back(best_.shares[free_[i]] * stretch_[i]);
    shares_ = best_.shares;
    const std::unique_ptr<nlopt_opt_s, void (*)(nlopt_opt)> opt(nlopt_create(NLOPT_LD_SLSQP, n),
                                                                nlopt_destroy);
    if (!opt) throw std::runtime_error("NLopt has no SLSQP");
    nlopt_set_min_objective(opt.get(), &Search::evaluate, this);
    nlopt_set_lower_bounds(opt.get(), low.data());
    nlopt_set_upper_bounds(opt.get(), high.data());
    nlopt_set_ftol_abs(opt.get(), 0.1 * enough);
    nlopt_set_xtol_rel(opt.get(), 1e-9);
    nlopt_set_maxeval(opt.get(), 200);
    double least = 0;
    const nlopt_result code = nlopt_optimize(opt.get(), x.data(), &least);
    if (fault_) std::rethrow_exception(fault_);
    switch (code) {
      case NLOPT_FTOL_REACHED:
      case NLOPT_SUCCESS:
        best_.ended = "chi-square fell no further";
        break;
      case NLOPT_XTOL_REACHED:
        best_.ended = "the steps became too small";
        break;
      case NLOPT_MAXEVAL_REACHED:
        best_.ended = "too many evaluations";
        break;
      default:
        best_.ended = "rounding stopped it";  // as close as numbers allow
    }
  }

  /// A share within rounding of a bound is on it.
  static double snapped(double share) {
    constexpr double crumb = 1e-10;
    return share < crumb ? 0.0 : share > 1 - crumb ? 1.0 : share;
  }

  static double evaluate(unsigned n, const double* x, double* gradient, void* self) {
    auto& s = *static_cast<Search*>(self);
    try {
      for (unsigned i = 0; i < n; ++i) s.shares_[s.free_[i]] = snapped(x[i] / s.stretch_[i]);
      double chi_square;
      if (gradient) {
        chi_square = s.objective_.at(s.shares_, s.gradient_);
        for (unsigned i = 0; i < n; ++i) gradient[i] = s.gradient_[s.free_[i]] / s.stretch_[i];
      } else {
        chi_square = s.objective_.at(s.shares_);
      }
      ++s.best_.evaluations;
      if (chi_square < s.best_.chi_square)
        s.best_.chi_square = chi_square, s.best_.shares = s.shares_;
      // A wall where runs fail; finite, for the optimiser reckons with it.
      return std::isfinite(chi_square) ? chi_square : 1e12;
    } catch (...) {
      s.fault_ = std::current_exception();  // must not pass through C
      for (unsigned i = 0; gradient && i < n; ++i) gradient[i] = 0;
      return 1e12;
    }
  }

  Objective& objective_;
  std::size_t held_;
  std::vector<std::size_t> free_;
  std::vector<double> shares_, stretch_, gradient_;
  Found best_;
  std::exception_ptr fault_;
};

// ---- Profiles ----------------------------------------------------------------------------------

struct Side {
  struct Point {
    std::vector<double> shares;
    double rise;
  };
  std::vector<Point> points;  ///< outwards, without the best fit
  ProfileEnd end = ProfileEnd::bound;
  double limit = 0;  ///< share where the interval ends
  std::vector<double> at_limit;
};

/// Walks from the best fit along one input until chi-square has risen by the threshold.
class Walk {
 public:
  Walk(Objective& objective, const std::vector<double>& best, double least, double threshold,
       std::size_t held, int way, double sd)
      : objective_(objective),
        least_(least),
        threshold_(threshold),
        held_(held),
        way_(way),
        step_(std::clamp(0.5 * sd, 0.002, 0.1)),
        here_{best, 0.0} {}

  Side run() {
    const double bound = way_ > 0 ? 1.0 : 0.0;
    Side::Point before = here_;
    side_.limit = here_.shares[held_];
    side_.at_limit = here_.shares;
    for (int count = 0; here_.shares[held_] != bound; ++count) {
      if (count == most_points) {
        side_.end = ProfileEnd::given_up;
        return side_;
      }
      double to = here_.shares[held_] + way_ * step_;
      // No crumb is left before the bound.
      if (way_ * (bound - to) < 0.1 * step_) to = bound;
      const Side::Point there = point(to, before);
      if (!std::isfinite(there.rise)) {
        side_.end = ProfileEnd::failed;
        return side_;
      }
      side_.points.push_back(there);
      if (there.rise >= threshold_) {
        settle(here_, there);
        return side_;
      }
      // Steps of half a standard deviation: the root of the rise grows evenly.
      const double grown = root(there) - root(here_);
      step_ *= std::clamp(0.5 / std::max(grown, 1e-3), 0.5, 2.0);
      step_ = std::min(step_, 0.2);
      before = here_;
      here_ = there;
      side_.limit = there.shares[held_];
      side_.at_limit = there.shares;
    }
    side_.end = ProfileEnd::bound;
    return side_;
  }

 private:
  static constexpr int most_points = 60;
  static double root(const Side::Point& p) { return std::sqrt(std::max(p.rise, 0.0)); }

  /// The best fit with the input held at `to`; the others start on the line through the last two.
  Side::Point point(double to, const Side::Point& before) {
    std::vector<double> from = here_.shares;
    const double last = here_.shares[held_] - before.shares[held_];
    if (last != 0) {
      const double ahead = (to - here_.shares[held_]) / last;
      for (std::size_t j = 0; j < from.size(); ++j)
        from[j] = std::clamp(from[j] + ahead * (here_.shares[j] - before.shares[j]), 0.0, 1.0);
    }
    from[held_] = to;
    const Found found = Search(objective_, held_, from).run();
    return {found.shares, found.chi_square - least_};
  }

  /// Between a point below the threshold and one above it: where the rise meets it. The root of
  /// the rise is near a straight line (method of false position, with the Illinois rule).
  void settle(Side::Point below, Side::Point above) {
    const double aim = std::sqrt(threshold_);
    double low = root(below) - aim, high = root(above) - aim;
    side_.end = ProfileEnd::threshold;
    Side::Point end = above;
    int kept = 0;
    for (int round = 0; round < 12 && std::abs(end.rise - threshold_) > 0.003 * threshold_;
         ++round) {
      const double a = below.shares[held_], b = above.shares[held_];
      const double to = a - low * (b - a) / (high - low);
      here_ = below;
      const Side::Point there = point(to, above);
      if (!std::isfinite(there.rise)) break;
      end = there;
      side_.points.push_back(end);
      if (root(there) < aim) {
        below = there, low = root(there) - aim;
        if (kept == -1) high *= 0.5;
        kept = -1;
      } else {
        above = there, high = root(there) - aim;
        if (kept == 1) low *= 0.5;
        kept = 1;
      }
    }
    side_.limit = end.shares[held_];
    side_.at_limit = end.shares;
  }

  Objective& objective_;
  double least_, threshold_;
  std::size_t held_;
  int way_;
  double step_;
  Side::Point here_;
  Side side_;
};

// ---- The whole ---------------------------------------------------------------------------------

class Fitter {
 public:
  Fitter(const FitProblem& problem, const FitSettings& settings, const FitProgress& progress)
      : problem_(problem),
        settings_(settings),
        inputs_(problem.ranges.size()),
        workers_(static_cast<std::size_t>(std::max(settings.threads, 1))),
        counter_(progress, settings.starts + (settings.profiles ? 2 * inputs_ : 0)) {
    for (std::size_t w = 0; w < workers_; ++w) models_.emplace_back(problem);
  }

  Fit run() {
    Fit fit;
    const double z = normal_quantile(0.5 + 0.5 * settings_.confidence);
    fit.threshold = z * z;
    search(fit);
    if (fit.outcome.finished()) {
      look_around(fit);
      if (settings_.profiles) profile(fit);
      judge(fit);
    }
    for (const auto& model : models_) fit.runs += model.runs();
    return fit;
  }

 private:
  std::vector<double> start(std::size_t n) const {
    std::vector<double> shares;
    for (std::size_t j = 0; j < inputs_; ++j) {
      const auto& range = problem_.ranges[j];
      const std::uint64_t stream = stream_of(problem_.study.inputs[j].path);
      shares.push_back(n == 0 ? range.share_of(range.start)
                              : open_fraction(random_bits(settings_.seed, stream, n)));
    }
    return shares;
  }

  std::vector<double> values_at(const std::vector<double>& shares) const {
    std::vector<double> values;
    for (std::size_t j = 0; j < inputs_; ++j)
      values.push_back(problem_.ranges[j].value_at(shares[j]));
    return values;
  }

  void note_start(Fit& fit, const std::vector<double>& from, const Found& found) const {
    fit.starts.push_back({values_at(from), values_at(found.shares),
                          std::isfinite(found.chi_square) ? found.chi_square : std::nan(""),
                          found.evaluations, found.ended});
  }

  void search(Fit& fit) {
    std::vector<Found> found(std::max<std::size_t>(settings_.starts, 1));
    std::vector<FitModel::Outcome> outcomes(found.size());
    share_out(found.size(), workers_, [&](std::size_t i, std::size_t worker) {
      Objective objective(models_[worker], problem_);
      found[i] = Search(objective, nobody, start(i)).run();
      outcomes[i] = std::isfinite(found[i].chi_square) ? FitModel::Outcome{} : objective.outcome;
      counter_.add();
    });
    for (std::size_t i = 0; i < found.size(); ++i) {
      note_start(fit, start(i), found[i]);
      if (found[i].chi_square < found[fit.best].chi_square) fit.best = i;
    }
    best_ = found[fit.best].shares;
    fit.chi_square = found[fit.best].chi_square;
    fit.outcome = outcomes[fit.best];
  }

  /// Figures, slopes and the Fisher information at the best fit.
  void look_around(Fit& fit) {
    Objective objective(models_.front(), problem_);
    std::vector<double> gradient;
    fisher_ = Symmetric(inputs_);
    fit.chi_square = objective.at(best_, gradient, &fisher_);
    fit.figures = objective.figures;
    fit.slopes = objective.slopes;
    eigen_ = eigen(fisher_);
    fit.agreeing = 0;
    for (const auto& s : fit.starts)
      if (s.chi_square < fit.chi_square + 0.1) ++fit.agreeing;
  }

  bool singular(std::size_t direction) const {
    return !(eigen_.values[direction] > rounding * eigen_.values.front());
  }
  /// Of the inverse of the Fisher information, by shares; infinite where singular.
  double covariance(std::size_t i, std::size_t j) const {
    double sum = 0;
    for (std::size_t d = 0; d < inputs_; ++d) {
      const double product = eigen_.vectors[d][i] * eigen_.vectors[d][j];
      if (!singular(d))
        sum += product / eigen_.values[d];
      else if (std::abs(product) > 1e-9)
        return infinity;
    }
    return sum;
  }

  void profile(Fit& fit) {
    for (int round = 0; round < 4; ++round) {
      std::vector<Side> sides(2 * inputs_);
      share_out(sides.size(), workers_, [&](std::size_t i, std::size_t worker) {
        Objective objective(models_[worker], problem_);
        const std::size_t j = i / 2;
        const double sd = std::min(std::sqrt(covariance(j, j)), 1.0);
        sides[i] =
            Walk(objective, best_, fit.chi_square, fit.threshold, j, i % 2 ? 1 : -1, sd).run();
        if (round == 0) counter_.add();
      });
      if (adopt_better(fit, sides)) continue;
      put(fit, sides);
      return;
    }
    throw std::runtime_error("the best fit kept improving while it was profiled");
  }

  /// A walk may come upon a better fit; then all starts again from there.
  bool adopt_better(Fit& fit, const std::vector<Side>& sides) {
    const Side::Point* better = nullptr;
    for (const auto& side : sides)
      for (const auto& p : side.points)
        if (p.rise < -0.01 && (!better || p.rise < better->rise)) better = &p;
    if (!better) return false;
    Objective objective(models_.front(), problem_);
    const Found found = Search(objective, nobody, better->shares).run();
    note_start(fit, better->shares, found);
    fit.starts.back().ended += " (begun on a profile)";
    fit.best = fit.starts.size() - 1;
    best_ = found.shares;
    look_around(fit);
    return true;
  }

  void put(Fit& fit, const std::vector<Side>& sides) const {
    for (std::size_t j = 0; j < inputs_; ++j) {
      Profile p;
      FittedInput in;
      in.value = problem_.ranges[j].value_at(best_[j]);
      const Side &low = sides[2 * j], &high = sides[2 * j + 1];
      const auto add = [&](const std::vector<double>& shares, double rise) {
        p.points.push_back({values_at(shares), std::max(rise, 0.0)});
      };
      for (auto point = low.points.rbegin(); point != low.points.rend(); ++point)
        add(point->shares, point->rise);
      add(best_, 0);
      for (const auto& point : high.points) add(point.shares, point.rise);
      std::sort(p.points.begin(), p.points.end(),
                [j](const auto& a, const auto& b) { return a.values[j] < b.values[j]; });
      p.low_end = low.end;
      p.high_end = high.end;
      const auto end_of = [&](const Side& side, double& value, bool& open) {
        value = problem_.ranges[j].value_at(side.limit);
        open = side.end != ProfileEnd::threshold;
        for (std::size_t k = 0; k < inputs_; ++k)
          if (k != j && !open && (side.at_limit[k] <= 0 || side.at_limit[k] >= 1) &&
              std::find(p.on_bound.begin(), p.on_bound.end(), k) == p.on_bound.end())
            p.on_bound.push_back(k);
      };
      end_of(low, in.low, in.low_open);
      end_of(high, in.high, in.high_open);
      fit.inputs.push_back(in);
      fit.profiles.push_back(std::move(p));
    }
  }

  void judge(Fit& fit) const {
    fit.freedom = static_cast<double>(problem_.measurements.size()) - static_cast<double>(inputs_);
    fit.p = fit.freedom > 0 ? 1 - chi_square_cdf(fit.chi_square, fit.freedom) : std::nan("");
    const bool profiled = !fit.inputs.empty();
    fit.inputs.resize(inputs_);
    fit.correlations.assign(inputs_ * inputs_, std::nan(""));
    for (std::size_t i = 0; i < inputs_; ++i) {
      auto& in = fit.inputs[i];
      const auto& range = problem_.ranges[i];
      in.value = range.value_at(best_[i]);
      const double variance = covariance(i, i);
      in.sd = std::sqrt(variance) * range.slope_at(best_[i]);
      for (std::size_t j = 0; j < inputs_; ++j) {
        const double other = covariance(j, j), both = covariance(i, j);
        if (std::isfinite(variance) && std::isfinite(other))
          fit.correlations[i * inputs_ + j] = i == j ? 1.0 : both / std::sqrt(variance * other);
      }
      if (!profiled) {
        in.low = range.low, in.high = range.high;
        in.low_open = in.high_open = true;
      }
    }
    combine(fit);
    for (std::size_t i = 0; i < inputs_; ++i) {
      auto& in = fit.inputs[i];
      // One that the combination moves by little keeps its own verdict.
      bool together = false;
      for (const auto& c : fit.combinations)
        for (std::size_t m = 0; m < c.inputs.size(); ++m)
          together = together || (c.inputs[m] == i && std::abs(c.shares[m]) >= 0.2);
      if (fisher_(i, i) == 0)
        in.verdict = FitVerdict::no_effect;
      else if (together)
        in.verdict = FitVerdict::not_apart;
      else if (in.low_open && in.high_open)
        in.verdict = FitVerdict::cannot_tell;
      else
        in.verdict = in.low_open    ? FitVerdict::at_most
                     : in.high_open ? FitVerdict::at_least
                                    : FitVerdict::told;
    }
  }

  /// Directions of the Fisher information along which the interval is as wide as the ranges,
  /// though each of their inputs would be told if the others were known.
  void combine(Fit& fit) const {
    for (std::size_t d = 0; d < inputs_; ++d) {
      const auto& v = eigen_.vectors[d];
      std::size_t first = 0;
      double most = 0;
      const auto effect = [&](std::size_t j) { return std::abs(v[j]) * std::sqrt(fisher_(j, j)); };
      for (std::size_t j = 0; j < inputs_; ++j) {
        if (std::abs(v[j]) > std::abs(v[first])) first = j;
        most = std::max(most, effect(j));
      }
      const double reach = std::abs(v[first]);
      const double half =
          singular(d) ? infinity : reach * std::sqrt(fit.threshold / eigen_.values[d]);
      if (half < too_wide) continue;
      if (!(std::sqrt(fit.threshold / fisher_(first, first)) < too_wide)) continue;
      Combination c;
      for (std::size_t j = 0; j < inputs_; ++j)
        if (effect(j) >= 0.2 * most) {
          c.inputs.push_back(j);
          c.shares.push_back(v[j] / v[first]);
        }
      c.half_width = half;
      if (c.inputs.size() > 1) fit.combinations.push_back(std::move(c));
    }
  }

  static constexpr double too_wide = 0.5;  ///< half an interval, in shares of a range

  const FitProblem& problem_;
  const FitSettings& settings_;
  std::size_t inputs_, workers_;
  Counter counter_;
  std::vector<FitModel> models_;
  std::vector<double> best_;
  Symmetric fisher_{0};
  Eigen eigen_;
};

}  // namespace

Fit fit(const FitProblem& problem, const FitSettings& settings, const FitProgress& progress) {
  return Fitter(problem, settings, progress).run();
}

std::vector<Measurement> simulated(const FitProblem& problem, std::span<const double> values,
                                   std::uint64_t seed, const ErrorOf& sd_of) {
  FitModel model(problem);
  std::vector<double> figures;
  if (!model.figures(values, figures).finished()) return {};
  auto measurements = problem.measurements;
  const std::uint64_t stream = stream_of("errors of measurement");
  for (std::size_t i = 0; i < measurements.size(); ++i) {
    auto& m = measurements[i];
    if (sd_of) m.sd = sd_of(m, figures[i]);
    m.value = figures[i] + m.sd * normal_quantile(open_fraction(random_bits(seed, stream, i)));
  }
  return measurements;
}

Repeats repeated(const FitProblem& problem, std::span<const double> truth, std::size_t repeats,
                 const FitSettings& settings, const ErrorOf& sd_of, const FitProgress& progress) {
  const std::size_t inputs = problem.ranges.size();
  std::vector<Fit> fits(repeats);
  Counter counter(progress, repeats);
  share_out(repeats, static_cast<std::size_t>(std::max(settings.threads, 1)),
            [&](std::size_t r, std::size_t) {
              FitProblem one = problem;
              one.measurements = simulated(problem, truth, settings.seed + r, sd_of);
              FitSettings alone = settings;
              alone.threads = 1;
              if (!one.measurements.empty())
                fits[r] = fit(one, alone);
              else
                fits[r].outcome.status = simulate::RunStatus::not_started;
              counter.add();
            });
  Repeats sum;
  sum.repeats = repeats;
  sum.covered.assign(inputs, 0);
  sum.closed.assign(inputs, 0);
  sum.mean.assign(inputs, 0.0);
  sum.sd.assign(inputs, 0.0);
  double n = 0;
  for (const Fit& f : fits) {
    if (!f.outcome.finished()) {
      ++sum.failed;
      continue;
    }
    ++n;
    for (std::size_t j = 0; j < inputs; ++j) {
      const auto& in = f.inputs[j];
      // An open end excludes nothing.
      if ((in.low_open || in.low <= truth[j]) && (in.high_open || in.high >= truth[j]))
        ++sum.covered[j];
      if (!in.low_open && !in.high_open) ++sum.closed[j];
      const double from_mean = in.value - sum.mean[j];
      sum.mean[j] += from_mean / n;
      sum.sd[j] += from_mean * (in.value - sum.mean[j]);
    }
  }
  for (double& sd : sum.sd) sd = n > 1 ? std::sqrt(sd / (n - 1)) : std::nan("");
  return sum;
}

}  // namespace serosa::study
