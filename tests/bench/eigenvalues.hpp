// SPDX-License-Identifier: Apache-2.0
// The modes of the model around a state: eigenvalues of its Jacobian, taken with dual numbers.
#pragma once
#include <Eigen/Dense>
#include <string>

#include "baby/rates.hpp"
#include "laws/lifted.hpp"
#include "simulate/run.hpp"

namespace serosa::bench {

/// ∂(d state/dt)/∂ state of the stores, 1/h; states in units of their absolute tolerances, so that
/// grams and joules weigh alike. The eigenvalues do not depend on the units.
inline Eigen::MatrixXd jacobian(const simulate::Snapshot& at) {
  constexpr int n = static_cast<int>(baby::state::stores);
  using Dual = physics::Dual<n>;
  const auto subject = laws::lifted<Dual>(at.subject);
  baby::State<Dual> x, dx;
  for (std::size_t i = 0; i < baby::state::count; ++i) {
    x[i] = Dual(at.state[i]);
    if (i < baby::state::stores) x[i].slope[i] = 1.0;
  }
  baby::rates(Dual(at.time), x, subject, dx);
  Eigen::MatrixXd j(n, n);
  for (int row = 0; row < n; ++row)
    for (int column = 0; column < n; ++column) {
      const auto r = static_cast<std::size_t>(row), c = static_cast<std::size_t>(column);
      j(row, column) = dx[r].slope[c] * baby::state_list[c].absolute_tolerance /
                       baby::state_list[r].absolute_tolerance;
    }
  return j;
}

struct Mode {
  double time = 0;        ///< h after birth
  double constant = 0;    ///< h, 1/|eigenvalue|
  bool growing = false;   ///< the eigenvalue has a positive real part
  std::size_t state = 0;  ///< that takes part most: largest |right × left| component
  double share = 0;       ///< its part
};

/// The mode with the largest |eigenvalue|.
inline Mode fastest_mode(const simulate::Snapshot& at) {
  const Eigen::EigenSolver<Eigen::MatrixXd> solver(jacobian(at));
  const auto& values = solver.eigenvalues();
  Eigen::Index fastest = 0;
  values.cwiseAbs().maxCoeff(&fastest);
  const Eigen::MatrixXcd right = solver.eigenvectors();
  const Eigen::RowVectorXcd left = Eigen::MatrixXcd(right.fullPivLu().inverse()).row(fastest);
  Eigen::VectorXd part(right.rows());
  for (Eigen::Index i = 0; i < part.size(); ++i) part(i) = std::abs(left(i) * right(i, fastest));
  Eigen::Index most = 0;
  part.maxCoeff(&most);
  return {at.time, 1.0 / std::abs(values(fastest)), values(fastest).real() > 0.0,
          static_cast<std::size_t>(most), part(most) / part.sum()};
}

/// The fastest mode met by a case: every minute over the first hour, then every ten.
inline Mode fastest_mode(const care::Case& c, const baby::Parameters<double>& p) {
  auto times = simulate::grid(0.0, std::min(1.0, c.until), 1.0 / 60);
  if (c.until > 1.0) {
    const auto later = simulate::grid(1.0, c.until, 1.0 / 6);
    times.insert(times.end(), later.begin() + 1, later.end());
  }
  Mode fastest;
  for (const auto& s : simulate::snapshots(c, p, times))
    if (const Mode m = fastest_mode(s); fastest.constant == 0 || m.constant < fastest.constant)
      fastest = m;
  return fastest;
}

}  // namespace serosa::bench
