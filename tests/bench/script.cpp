// SPDX-License-Identifier: Apache-2.0
// What a script around SciPy needs (ctypes): the rates of one case written out as Python, so that
// nothing compiled is called inside a step; acts and outputs, which are no part of a step, from
// here.
#include <fstream>

// Before the model, so that its templates see it.
#include "bench/written.hpp"

#include "bench/course.hpp"

namespace {

using namespace serosa;
using physics::Written;

struct Model {
  files::CaseFile file;
  std::unique_ptr<bench::Course> course;
};

std::string indexed(const char* of, std::size_t i) {
  return std::string(of) + "[" + std::to_string(i) + "]";
}

/// `rates(t, x, c, k)`: hour, state, controls and what is settled between two acts (lists); the
/// parameters of the case stand in it as numbers.
void write_python(const bench::Course& course, std::ostream& out) {
  const auto& s = course.subject;
  baby::Subject<Written> subject;
  baby::Settled<Written> settled;
#define SEROSA_COPY(name, unit) subject.parameters.name = Written(s.parameters.name);
  SEROSA_PARAMETERS(SEROSA_COPY)
#undef SEROSA_COPY
#define SEROSA_COPY(name, unit, text) subject.body.name = Written(s.body.name);
  SEROSA_BODY(SEROSA_COPY)
#undef SEROSA_COPY
  std::size_t i = 0;
#define SEROSA_COPY(name, unit, rest, text) \
  subject.controls.name = Written::input(indexed("c", i++));
  SEROSA_CONTROLS(SEROSA_COPY)
#undef SEROSA_COPY
  i = 0;
#define SEROSA_COPY(name, text) settled.name = Written::input(indexed("k", i++));
  SEROSA_SETTLED(SEROSA_COPY)
#undef SEROSA_COPY
  for (auto* cylinder : {&settled.body, &settled.bowel, &settled.mattress})
    for (auto* number :
         {&cylinder->per_diameter, &cylinder->natural, &cylinder->forced, &cylinder->turbulence})
      *number = Written::input(indexed("k", i++));
  baby::State<Written> x, dx;
  for (std::size_t n = 0; n < bench::N; ++n) x[n] = Written::input(indexed("x", n));
  physics::lines.clear();
  baby::rates(Written::input("t"), x, subject, settled, dx);
  // Only what the rates need.
  std::vector<bool> needed(physics::lines.size());
  for (const auto& d : dx)
    if (d.line >= 0) needed[static_cast<std::size_t>(d.line)] = true;
  for (std::size_t n = physics::lines.size(); n-- > 0;)
    if (needed[n])
      for (const long r : physics::lines[n].reads) needed[static_cast<std::size_t>(r)] = true;
  out << "from math import exp, expm1, inf, log, log1p, sqrt, tanh\n"
         "def cbrt(x):\n"
         "    return x ** (1 / 3) if x >= 0 else -((-x) ** (1 / 3))\n"
         "def rates(t, x, c, k):\n";
  for (std::size_t n = 0; n < physics::lines.size(); ++n)
    if (needed[n]) out << "    v" << n << " = " << physics::lines[n].text << '\n';
  out << "    return [";
  for (const auto& d : dx) out << text_of(d) << ", ";
  out << "]\n";
}

}  // namespace

extern "C" {

int state_count() { return static_cast<int>(bench::N); }
int output_count() { return static_cast<int>(simulate::output::count); }
double absolute_tolerance(int i) {
  return baby::state_list[static_cast<std::size_t>(i)].absolute_tolerance;
}

/// Reads a case; null when it is refused.
Model* open_case(const char* models, const char* path) {
  try {
    files::Problems problems;
    auto m = std::make_unique<Model>();
    m->file = files::read_case(path, files::read_models(models, nullptr, problems), {}, problems);
    problems.refuse_if_any();
    return m.release();
  } catch (const std::exception&) {
    return nullptr;
  }
}
void close_case(Model* m) { delete m; }

/// To the start of the case: its hour, `x` the state there.
double begin(Model* m, double* x) {
  m->course = std::make_unique<bench::Course>(m->file);
  m->course->act();
  std::copy(m->course->x.begin(), m->course->x.end(), x);
  return m->course->t;
}
double next_act(const Model* m) { return m->course->carer.next(); }

/// Does what is due at `t`; 1 when state or rates changed.
int act(Model* m, double t, double* x) {
  std::copy_n(x, bench::N, m->course->x.begin());
  m->course->t = t;
  const bool changed = m->course->act();
  std::copy(m->course->x.begin(), m->course->x.end(), x);
  return changed ? 1 : 0;
}
int control_count() {
  return 0
#define SEROSA_ONE(name, unit, rest, text) +1
      SEROSA_CONTROLS(SEROSA_ONE)
#undef SEROSA_ONE
          ;
}
int settled_count() {
  return 12  // of the three cylinders
#define SEROSA_ONE(name, text) +1
      SEROSA_SETTLED(SEROSA_ONE)
#undef SEROSA_ONE
          ;
}
/// What the written rates read beside state and time.
void between_acts(const Model* m, double* controls, double* settled) {
#define SEROSA_COPY(name, unit, rest, text) *controls++ = m->course->subject.controls.name;
  SEROSA_CONTROLS(SEROSA_COPY)
#undef SEROSA_COPY
#define SEROSA_COPY(name, text) *settled++ = m->course->settled.name;
  SEROSA_SETTLED(SEROSA_COPY)
#undef SEROSA_COPY
  const auto& k = m->course->settled;
  for (const auto* cylinder : {&k.body, &k.bowel, &k.mattress})
    for (const double number :
         {cylinder->per_diameter, cylinder->natural, cylinder->forced, cylinder->turbulence})
      *settled++ = number;
}
/// The compiled rates, to hold the written ones against.
void compiled_rates(const Model* m, double t, const double* x, double* dx) {
  m->course->rates(t, x, dx);
}
void observe(Model* m, double t, const double* x, double* values) {
  std::copy_n(x, bench::N, m->course->x.begin());
  m->course->t = t;
  m->course->observe(values);
}
/// 0 when it was written.
int write_rates(const Model* m, const char* path) {
  std::ofstream out(path);
  write_python(bench::Course(m->file), out);
  return out.good() ? 0 : 1;
}
}
