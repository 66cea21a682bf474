// SPDX-License-Identifier: Apache-2.0
// What tests/bench/run measures inside one process: the same cases by serosa and by the solvers of
// other libraries, against a reference. Prints one JSON object to the file it is told.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>

// Before the model, so that its templates see it.
#include "bench/counted.hpp"

#include "bench/course.hpp"
#include "bench/kernel.hpp"
#include "simulate/isa.hpp"
#include "simulate/run.hpp"

namespace serosa::bench {

#define SEROSA_DECLARE(ISA)                                              \
  namespace isa_##ISA {                                                  \
    /* so many evaluations, moment after moment; a sum that uses them */ \
    double rates_again(const std::vector<Moment8>& moments, long times); \
    /* so many rounds of multiply and add in registers */                \
    double multiply_and_add(long rounds, long& operations);              \
  }
SEROSA_FOR_EACH_ISA(SEROSA_DECLARE)
#undef SEROSA_DECLARE

namespace {

using Json = nlohmann::ordered_json;
using simulate::output::count;

struct Options {
  std::string models, out, only;
  std::vector<std::string> cases;
  std::vector<double> times;
  double seconds = 0.3;  ///< of processor time for each figure
  int repeats = 3;
  bool smoke = false;
};

double seconds_now(clockid_t clock) {
  timespec t;
  clock_gettime(clock, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

/// Processor time of one call, s: the median of some rounds, each as long as `seconds` asks for.
/// Time of the processor, not of the clock on the wall: others may use the machine, too.
template <class Work>
double time_of(const Options& o, Work&& work) {
  const auto round = [&](long times) {
    const double start = seconds_now(CLOCK_THREAD_CPUTIME_ID);
    for (long n = 0; n < times; ++n) work();
    return seconds_now(CLOCK_THREAD_CPUTIME_ID) - start;
  };
  const double first = round(1);
  const double each = o.seconds / o.repeats;
  if (first > each) return first;
  const long times = std::max(1L, std::lround(each / std::max(first, 1e-7)));
  std::vector<double> rounds;
  for (int r = 0; r < o.repeats; ++r) rounds.push_back(round(times) / static_cast<double>(times));
  std::sort(rounds.begin(), rounds.end());
  return rounds[rounds.size() / 2];
}

// ---- Cases, reference, error ---------------------------------------------------------------

std::vector<files::CaseFile> read_cases(const Options& o) {
  files::Problems problems;
  const auto models = files::read_models(o.models, nullptr, problems);
  std::vector<files::CaseFile> all;
  for (const auto& path : o.cases) all.push_back(files::read_case(path, models, {}, problems));
  problems.refuse_if_any();
  return all;
}

using Values = std::vector<std::vector<double>>;  // per run, times × outputs

simulate::Settings settings(double tolerance) {
  return {.relative_tolerance = tolerance,
          .absolute_tolerance_factor = tolerance / 1e-4,
          .step_budget = 5'000'000};
}

/// Runs `copies` of every case one way and keeps the values of the first copy.
struct Own {
  std::vector<simulate::Job> jobs;
  std::vector<simulate::Result> results;

  Own(const std::vector<files::CaseFile>& files, const std::vector<double>& times, int copies) {
    for (int n = 0; n < copies; ++n)
      for (const auto& file : files) jobs.push_back({&file.c, &file.parameters, times});
    results.resize(jobs.size());
  }
  void lanes(double tolerance) { simulate::run(jobs, results, settings(tolerance)); }
  void scalar(double tolerance) { simulate::run_scalar(jobs, results, settings(tolerance)); }
  Values values(std::size_t runs) const {
    Values all;
    for (std::size_t i = 0; i < runs; ++i) {
      if (results[i].report.status != simulate::RunStatus::finished)
        throw SolverError(jobs[i].c->name + ": " + std::string(message(results[i].report.status)));
      all.push_back(results[i].values);
    }
    return all;
  }
};

bool is_account(std::size_t output) {
  return simulate::output_list[output].name.find("unaccounted") != std::string_view::npos;
}

/// The largest size of every output on the way of each run; of accounts, which are zero but for
/// rounding, nothing.
Values sizes_of(const std::vector<files::CaseFile>& files, const std::vector<double>& times) {
  const std::vector<double> hours = simulate::grid(0, times.back(), 0.25);
  Own way(files, hours, 1);
  way.lanes(1e-6);
  Values sizes;
  for (const auto& run : way.values(files.size())) {
    sizes.emplace_back(count, 0.0);
    for (std::size_t i = 0; i < run.size(); ++i)
      if (!is_account(i % count))
        sizes.back()[i % count] = std::max(sizes.back()[i % count], std::abs(run[i]));
  }
  return sizes;
}

/// By the strict measure an error counts against the output as it is at that time, or against this
/// share of its largest size where it is smaller.
constexpr double floor_share = 0.01;

struct Error {
  double size = 0;  ///< the largest of any output of any run, against its largest size in the run
  std::string output;
  double strict = 0;
  std::string strict_output;
};

Error error_of(const Values& values, const Values& reference, const Values& sizes) {
  Error worst;
  for (std::size_t r = 0; r < values.size(); ++r)
    for (std::size_t i = 0; i < values[r].size(); ++i) {
      const double size = sizes[r][i % count];
      if (size <= 0) continue;
      const std::string name(simulate::output_list[i % count].name);
      const double gap = std::abs(values[r][i] - reference[r][i]);
      const double strict = gap / std::max(std::abs(reference[r][i]), floor_share * size);
      if (!(gap / size <= worst.size)) worst.size = gap / size, worst.output = name;
      if (!(strict <= worst.strict)) worst.strict = strict, worst.strict_output = name;
    }
  return worst;
}

// ---- Work against precision ----------------------------------------------------------------

struct Bench {
  Options o;
  std::vector<files::CaseFile> files;
  Values reference, sizes;
  Json rows = Json::array();

  void row(const std::string& method, const std::string& library, const std::string& meaning,
           double tolerance, const Values& values, double seconds_per_run, const Json& more) {
    const Error error = error_of(values, reference, sizes);
    Json j{{"method", method},
           {"library", library},
           {"meaning", meaning},
           {"tolerance", tolerance},
           {"error", error.size},
           {"worst_output", error.output},
           {"strict_error", error.strict},
           {"worst_strict_output", error.strict_output},
           {"runs", values.size()},
           {"seconds_per_run", seconds_per_run}};
    j.update(more);
    rows.push_back(j);
    std::cerr << method << " " << tolerance << ": error " << error.size << " (" << error.output
              << "), " << 1e6 * seconds_per_run << " us/run\n";
  }
  void failed(const std::string& method, double tolerance, const std::string& why) {
    rows.push_back({{"method", method}, {"tolerance", tolerance}, {"failed", why}});
    std::cerr << method << " " << tolerance << ": " << why << '\n';
  }

  void own(double tolerance, const std::string& set) {
    const bool lanes = !set.empty();
    const int copies = lanes ? 16 : 2;
    if (lanes) simulate::force_instruction_set(set);
    Own runs(files, o.times, copies);
    const double seconds =
        time_of(o, [&] { lanes ? runs.lanes(tolerance) : runs.scalar(tolerance); }) /
        static_cast<double>(runs.jobs.size());
    const std::string name = lanes ? "serosa lanes " + set : "serosa scalar";
    try {
      double evaluations = 0, steps = 0;
      for (const auto& result : runs.results) {
        evaluations += result.report.effort.rate_evaluations;
        steps += result.report.effort.accepted_steps + result.report.effort.rejected_steps;
      }
      const auto n = static_cast<double>(runs.jobs.size());
      row(name, "serosa", lanes ? "eight runs abreast" : "one run at a time, plain double",
          tolerance, runs.values(files.size()), seconds,
          {{"rate_evaluations", evaluations / n}, {"steps", steps / n}});
    } catch (const SolverError& e) {
      failed(name, tolerance, e.what());
    }
    simulate::force_instruction_set("");
  }

  Values by(const Method& method, double tolerance) const {
    const auto solver = method.make(tolerance);
    Values values(files.size());
    for (std::size_t i = 0; i < files.size(); ++i) carry_out(files[i], o.times, *solver, values[i]);
    return values;
  }

  void other(const Method& method, double tolerance) {
    try {
      const Values values = by(method, tolerance);
      const double seconds = time_of(o, [&] { by(method, tolerance); });
      row(method.name, method.library, method.meaning, tolerance, values,
          seconds / static_cast<double>(files.size()), Json::object());
    } catch (const SolverError& e) {
      failed(method.name, tolerance, e.what());
    } catch (const std::exception& e) {
      failed(method.name, tolerance, e.what());
    }
  }
};

std::vector<Method> all_methods() {
  std::vector<Method> all;
  for (const auto* of : {&odeint_methods(), &cvode_methods(), &gsl_methods()})
    all.insert(all.end(), of->begin(), of->end());
  return all;
}

// ---- One evaluation of the rates -----------------------------------------------------------

/// Moments on the way of the cases, eight babies in each.
std::vector<Moment8> moments_of(const Bench& bench) {
  std::vector<std::vector<simulate::Snapshot>> shots;
  for (const auto& file : bench.files)
    shots.push_back(simulate::snapshots(file.c, file.parameters, bench.o.times));
  std::vector<Moment8> moments(bench.o.times.size());
  for (std::size_t i = 0; i < moments.size(); ++i)
    for (int l = 0; l < 8; ++l) {
      const auto& shot = shots[static_cast<std::size_t>(l) % shots.size()][i];
      physics::set_lane(moments[i].t, l, shot.time);
      for (std::size_t s = 0; s < N; ++s) physics::set_lane(moments[i].x[s], l, shot.state[s]);
      baby::set_lane(moments[i].subject, l, shot.subject);
      baby::set_lane(moments[i].settled, l, baby::settled(shot.subject));
    }
  return moments;
}

/// Arithmetic inside our own functions, counted line by line in physics/real/elementary.hpp:
/// additions, subtractions, multiplications and divisions; bit operations and choices are none.
constexpr long in_exp = 33, in_log = 32, in_pow = in_exp + in_log + 1, in_cbrt = in_pow,
               in_tanh = 37;

Json count_operations(const Bench& bench) {
  using physics::Counted;
  const auto shot =
      simulate::snapshots(bench.files[0].c, bench.files[0].parameters, bench.o.times).back();
  const auto& s = shot.subject;
  baby::Subject<Counted> subject;
#define SEROSA_COPY(name, unit) subject.parameters.name = Counted(s.parameters.name);
  SEROSA_PARAMETERS(SEROSA_COPY)
#undef SEROSA_COPY
#define SEROSA_COPY(name, unit, text) subject.body.name = Counted(s.body.name);
  SEROSA_BODY(SEROSA_COPY)
#undef SEROSA_COPY
#define SEROSA_COPY(name, unit, rest, text) subject.controls.name = Counted(s.controls.name);
  SEROSA_CONTROLS(SEROSA_COPY)
#undef SEROSA_COPY
  baby::State<Counted> x, dx;
  for (std::size_t i = 0; i < N; ++i) x[i] = Counted(shot.state[i], false);
  const auto settled = baby::settled(subject);
  physics::counted = {};
  baby::rates(Counted(shot.time, false), x, subject, settled, dx);
  using O = physics::Operation;
  const auto& c = physics::counted;
  const long arithmetic = c.of(O::sum) + c.of(O::product) + c.of(O::division) + c.of(O::root) +
                          in_exp * c.of(O::exp) + in_log * c.of(O::log) + in_pow * c.of(O::pow) +
                          in_cbrt * c.of(O::cbrt) + in_tanh * c.of(O::tanh);
  return {{"sums", c.of(O::sum)},
          {"products", c.of(O::product)},
          {"divisions", c.of(O::division)},
          {"square_roots", c.of(O::root)},
          {"exp", c.of(O::exp)},
          {"log", c.of(O::log)},
          {"pow", c.of(O::pow)},
          {"cbrt", c.of(O::cbrt)},
          {"tanh", c.of(O::tanh)},
          {"choices", c.of(O::choice)},
          {"arithmetic", arithmetic}};
}

using RatesAgain = double(const std::vector<Moment8>&, long);
using MultiplyAndAdd = double(long, long&);
double kept;  // what the loops add up, so that they are not left out

Json rates_and_peak(const Bench& bench, long arithmetic) {
  Json all = Json::array();
  const auto moments = moments_of(bench);
  for (const auto set : simulate::available_instruction_sets()) {
    simulate::force_instruction_set(simulate::name(set));
    RatesAgain* const again = SEROSA_PICK_ISA(rates_again);
    MultiplyAndAdd* const peak = SEROSA_PICK_ISA(multiply_and_add);
    constexpr long evaluations = 2000, rounds = 1'000'000;
    long operations = 0;
    // Turn and turn about, the fastest of each: the ratio of two that are disturbed says nothing.
    double rates_best = 1e9, peak_best = 1e9;
    for (int n = 0; n < 5; ++n) {
      rates_best =
          std::min(rates_best, time_of(bench.o, [&] { kept = again(moments, evaluations); }));
      peak_best = std::min(peak_best, time_of(bench.o, [&] { kept = peak(rounds, operations); }));
    }
    const double per_lane = rates_best / evaluations / 8;
    const double most = static_cast<double>(operations) / peak_best;
    all.push_back({{"instruction_set", std::string(simulate::name(set))},
                   {"ns_per_evaluation_and_lane", 1e9 * per_lane},
                   {"peak_gflops", 1e-9 * most},
                   {"rates_gflops", 1e-9 * static_cast<double>(arithmetic) / per_lane},
                   {"share_of_peak", static_cast<double>(arithmetic) / per_lane / most}});
    std::cerr << all.back().dump() << '\n';
  }
  simulate::force_instruction_set("");
  return all;
}

// ---- Where the time goes -------------------------------------------------------------------

/// Per run of the lanes on the fastest instruction set at the usual tolerance, s.
Json parts(Bench& bench, double ns_per_evaluation) {
  Own runs(bench.files, bench.o.times, 16);
  const auto n = static_cast<double>(runs.jobs.size());
  const double whole = time_of(bench.o, [&] { runs.lanes(1e-4); }) / n;
  double evaluations = 0, outputs = 0;
  for (const auto& result : runs.results) {
    evaluations += result.report.effort.rate_evaluations;
    outputs += result.report.effort.outputs;
  }
  const auto per_case = static_cast<double>(bench.files.size());
  // Everything but the way between: birth, acts, settling.
  const double last = bench.o.times.back();
  const double acts = time_of(bench.o,
                              [&] {
                                for (const auto& file : bench.files) {
                                  Course course(file);
                                  course.act();
                                  while (course.carer.next() <= last) {
                                    course.t = course.carer.next();
                                    course.act();
                                  }
                                  kept = course.x[0];
                                }
                              }) /
                      per_case;
  std::vector<Course> courses;
  for (const auto& file : bench.files) courses.emplace_back(file);
  std::vector<double> values(count);
  const double observing = time_of(bench.o,
                                   [&] {
                                     for (const auto& course : courses)
                                       course.observe(values.data());
                                   }) /
                           per_case;
  const double rates = 1e-9 * ns_per_evaluation * evaluations / n;
  const double outputs_time = observing * outputs / n;
  return {{"whole", whole},
          {"rates", rates},
          {"start and acts", acts},
          {"outputs", outputs_time},
          {"stepper and the rest", std::max(0.0, whole - rates - acts - outputs_time)},
          {"rate_evaluations", evaluations / n},
          {"outputs_per_run", outputs / n}};
}

// ---- Horizon and acts ----------------------------------------------------------------------

Json horizon_and_acts(const Bench& bench, const std::string& path) {
  files::Problems problems;
  const auto models = files::read_models(bench.o.models, nullptr, problems);
  const auto file = files::read_case(path, models, {}, problems);
  problems.refuse_if_any();
  Json all = Json::array();
  const auto measure = [&](const char* kind, double until, int acts) {
    files::CaseFile changed = file;
    auto& timeline = changed.c.timeline;
    for (int i = 0; i < acts; ++i)
      timeline.push_back(
          {"again " + std::to_string(i), until * (i + 0.5) / acts, care::BeActive{1.0}});
    std::stable_sort(timeline.begin(), timeline.end(),
                     [](const care::Act& a, const care::Act& b) { return a.at < b.at; });
    std::vector<double> times;
    for (int i = 1; i <= 6; ++i) times.push_back(until * i / 6);
    const std::vector<files::CaseFile> one{changed};
    Own runs(one, times, 128);
    const double seconds =
        time_of(bench.o, [&] { runs.lanes(1e-4); }) / static_cast<double>(runs.jobs.size());
    runs.values(1);
    const auto& effort = runs.results[0].report.effort;
    all.push_back({{"kind", kind},
                   {"hours", until},
                   {"extra_acts", acts},
                   {"restarts", effort.restarts},
                   {"rate_evaluations", effort.rate_evaluations},
                   {"seconds_per_run", seconds}});
    std::cerr << all.back().dump() << '\n';
  };
  for (const double until : {6.0, 24.0, 48.0, 72.0}) measure("horizon", until, 0);
  for (const int acts : {0, 25, 50, 100, 200}) measure("acts", 24.0, acts);
  return all;
}

// ---- All of it -----------------------------------------------------------------------------

Json everything(const Options& o, const std::string& long_case) {
  Bench bench{o, read_cases(o), {}, {}, Json::array()};
  Own tight(bench.files, o.times, 1);
  tight.lanes(1e-10);
  bench.reference = tight.values(bench.files.size());
  bench.sizes = sizes_of(bench.files, o.times);
  Json result;
  // The reference against what others make of the same rates at a tight tolerance.
  Json checks = Json::array();
  for (const auto& method : all_methods()) {
    if (method.name != "gsl rk8pd" && method.name != "cvode bdf") continue;
    const double tolerance = 1e-11;
    const Error gap = error_of(bench.by(method, tolerance), bench.reference, bench.sizes);
    checks.push_back({{"method", method.name},
                      {"tolerance", tolerance},
                      {"gap", gap.size},
                      {"worst_output", gap.output}});
    std::cerr << checks.back().dump() << '\n';
  }
  result["reference_checks"] = checks;

  const auto sets = simulate::available_instruction_sets();
  const std::vector<double> wide =
      o.smoke ? std::vector<double>{1e-3, 1e-5}
              : std::vector<double>{3e-2, 1e-2, 5e-3, 2e-3, 1e-3, 5e-4, 2e-4,
                                    1e-4, 5e-5, 2e-5, 1e-5, 3e-6, 1e-6, 1e-7};
  for (const double tolerance : wide) {
    bench.own(tolerance, "");
    for (const auto set : sets) bench.own(tolerance, std::string(simulate::name(set)));
    for (const auto& method : all_methods()) bench.other(method, tolerance);
  }
  result["work_precision"] = bench.rows;
  result["operations"] = count_operations(bench);
  result["rates"] = rates_and_peak(bench, result["operations"]["arithmetic"].get<long>());
  result["parts"] = parts(bench, result["rates"].back()["ns_per_evaluation_and_lane"]);
  if (!long_case.empty()) result["horizon_and_acts"] = horizon_and_acts(bench, long_case);

  Json names = Json::array();
  for (const auto& output : simulate::output_list) names.push_back(std::string(output.name));
  result["outputs"] = names;
  result["reference"] = bench.reference;
  result["sizes"] = bench.sizes;
  result["floor_share"] = floor_share;
  return result;
}

/// One method alone, for its memory: who starts this process looks at its peak.
void only(const Options& o) {
  Bench bench{o, read_cases(o), {}, {}, Json::array()};
  if (o.only == "serosa scalar" || o.only == "serosa lanes") {
    Own runs(bench.files, o.times, 16);
    o.only == "serosa lanes" ? runs.lanes(1e-4) : runs.scalar(1e-4);
    return;
  }
  for (const auto& method : all_methods())
    if (method.name == o.only) bench.by(method, 1e-4);
}

int main_of(int argc, char** argv) {
  Options o;
  std::string long_case;
  for (int i = 1; i < argc; ++i) {
    const std::string key = argv[i];
    const auto value = [&] {
      if (i + 1 == argc) throw std::runtime_error(key + " wants a value");
      return std::string(argv[++i]);
    };
    if (key == "--models")
      o.models = value();
    else if (key == "--out")
      o.out = value();
    else if (key == "--case")
      o.cases.push_back(value());
    else if (key == "--long-case")
      long_case = value();
    else if (key == "--hour")
      o.times.push_back(std::stod(value()));
    else if (key == "--seconds")
      o.seconds = std::stod(value());
    else if (key == "--only")
      o.only = value();
    else if (key == "--smoke")
      o.smoke = true;
    else
      throw std::runtime_error("not an option: " + key);
  }
  if (!o.only.empty()) {
    only(o);
    return 0;
  }
  const Json result = everything(o, long_case);
  std::ofstream file(o.out);
  file << result.dump(1) << '\n';
  return file.good() ? 0 : 1;
}

}  // namespace
}  // namespace serosa::bench

int main(int argc, char** argv) {
  try {
    return serosa::bench::main_of(argc, argv);
  } catch (const std::exception& e) {
    std::cerr << e.what() << '\n';
    return 1;
  }
}
