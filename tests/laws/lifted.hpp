// SPDX-License-Identifier: Apache-2.0
// Plain values as numbers of another type, so that some of them can be given derivatives.
#pragma once
#include "baby/subject.hpp"

namespace serosa::laws {

template <class Real>
baby::Parameters<Real> lifted(const baby::Parameters<double>& p) {
  baby::Parameters<Real> r;
#define SEROSA_LIFT(name, unit) r.name = Real(p.name);
  SEROSA_PARAMETERS(SEROSA_LIFT)
#undef SEROSA_LIFT
  return r;
}

template <class Real>
baby::Body<Real> lifted(const baby::Body<double>& b) {
  baby::Body<Real> r;
#define SEROSA_LIFT(name, unit, text) r.name = Real(b.name);
  SEROSA_BODY(SEROSA_LIFT)
#undef SEROSA_LIFT
  return r;
}

template <class Real>
baby::Controls<Real> lifted(const baby::Controls<double>& c) {
  baby::Controls<Real> r;
#define SEROSA_LIFT(name, unit, rest, text) r.name = Real(c.name);
  SEROSA_CONTROLS(SEROSA_LIFT)
#undef SEROSA_LIFT
  return r;
}

template <class Real>
baby::Subject<Real> lifted(const baby::Subject<double>& s) {
  return {lifted<Real>(s.parameters), lifted<Real>(s.body), lifted<Real>(s.controls)};
}

template <class Real>
baby::Inputs<Real> lifted(const baby::Inputs<double>& in) {
  baby::Inputs<Real> r;
  r.weight = Real(in.weight);
  r.gestation = Real(in.gestation);
  r.length = Real(in.length);
  r.delivery = in.delivery;
  r.gastroschisis = in.gastroschisis;
  r.protein = Real(in.protein);
  r.haematocrit = Real(in.haematocrit);
  r.sodium = Real(in.sodium);
  r.cord_clamped_at = Real(in.cord_clamped_at);
  r.temperature = Real(in.temperature);
  r.skin_temperature = Real(in.skin_temperature);
  r.bowel_temperature = Real(in.bowel_temperature);
  r.herniated = Real(in.herniated);
  r.spread = Real(in.spread);
  r.loop_diameter = Real(in.loop_diameter);
  r.bowel_length = Real(in.bowel_length);
  r.thickening = Real(in.thickening);
  r.matting = Real(in.matting);
  r.area = Real(in.area);
  return r;
}

}  // namespace serosa::laws
