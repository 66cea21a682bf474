// SPDX-License-Identifier: Apache-2.0
// A newborn to put questions to, with the parameters that are shipped.
#pragma once
#include "baby/birth.hpp"
#include "baby/rates.hpp"
#include "laws/shipped.hpp"

namespace serosa::baby::test {

struct Newborn {
  Subject<double> s;
  State<double> x;

  Moment<double> at(double hour) const { return moment(hour, x, s); }
};

inline Inputs<double> term() {
  Inputs<double> in{};
  in.weight = 3500;
  in.gestation = 40;
  in.gastroschisis = false;
  return in;
}

/// At rest: the reference blood volume, nothing exposed, controls as they are before any act, born.
inline Newborn newborn(const Inputs<double>& in = term(),
                       const Parameters<double>& p = laws::models().values()) {
  Newborn n;
  n.s.parameters = p;
  n.s.body = prepare(in, p);
  n.s.controls = {};
  n.s.controls.born = 1.0;
  n.s.controls.exposed_fraction = 0.0;
  n.x = birth_state(n.s, false);
  const double ratio = n.s.body.normal_blood_volume / n.s.body.clamped_blood_volume;
  const double more = (ratio - 1.0) * n.x[state::plasma_water];
  const double extracellular =
      n.x[state::plasma_water] + n.x[state::interstitial_water] + n.x[state::wall_water];
  n.x[state::extracellular_sodium] *= 1.0 + more / extracellular;
  n.x[state::extracellular_chloride] *= 1.0 + more / extracellular;
  n.x[state::plasma_water] *= ratio;
  n.x[state::plasma_protein] *= ratio;
  n.x[state::red_cell_water] *= ratio;
  return n;
}

/// The same after losing this share of its blood, plasma and red cells alike.
inline Newborn bled(Newborn n, double share) {
  n.x[state::plasma_water] *= 1.0 - share;
  n.x[state::plasma_protein] *= 1.0 - share;
  n.x[state::red_cell_water] *= 1.0 - share;
  return n;
}

/// A run of a shipped case with changes, observed at these hours.
struct Run {
  files::CaseFile file;
  std::vector<double> times;
  simulate::Result result;

  double at(double hour, simulate::output::Index o) const {
    for (std::size_t i = 0; i < times.size(); ++i)
      if (std::fabs(times[i] - hour) < 1e-9) return result.at(i, o);
    throw std::logic_error("not observed at this hour");
  }
};

inline Run run_case(const std::string& name, const std::vector<double>& times,
                    const std::vector<std::string>& changes = {}) {
  Run r{laws::read(name, changes), times, {}};
  const simulate::Job job{&r.file.c, &r.file.parameters, r.times};
  simulate::run_scalar({&job, 1}, {&r.result, 1});
  INFO(name << ": " << simulate::message(r.result.report.status));
  REQUIRE(r.result.report.status == simulate::RunStatus::finished);
  return r;
}

}  // namespace serosa::baby::test
