// SPDX-License-Identifier: Apache-2.0
#pragma once
#include "baby/body.hpp"
#include "baby/controls.hpp"
#include "baby/parameters.hpp"
#include "baby/states.hpp"

namespace serosa::baby {

/// All that `rates` reads besides time and state: the parameters, what stays the same for this
/// baby, and what people do at this moment. With a lane pack each lane is a subject of its own.
template <class Real>
struct Subject {
  Parameters<Real> parameters;
  Body<Real> body;
  Controls<Real> controls;
};

/// Copies a scalar subject's controls into one lane.
template <class Real>
void set_lane(Controls<Real>& to, int lane, const Controls<physics::Scalar<Real>>& from) {
#define SEROSA_COPY(name, unit, rest, text) physics::set_lane(to.name, lane, from.name);
  SEROSA_CONTROLS(SEROSA_COPY)
#undef SEROSA_COPY
}

/// Copies a scalar subject into one lane.
template <class Real>
void set_lane(Subject<Real>& to, int lane, const Subject<physics::Scalar<Real>>& from) {
#define SEROSA_COPY(name, unit) physics::set_lane(to.parameters.name, lane, from.parameters.name);
  SEROSA_PARAMETERS(SEROSA_COPY)
#undef SEROSA_COPY
#define SEROSA_COPY(name, unit, text) physics::set_lane(to.body.name, lane, from.body.name);
  SEROSA_BODY(SEROSA_COPY)
#undef SEROSA_COPY
  set_lane(to.controls, lane, from.controls);
}

}  // namespace serosa::baby
