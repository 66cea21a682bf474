// SPDX-License-Identifier: Apache-2.0
// The model inside the lesson's page: one function from a row of numbers to a row of numbers,
// compiled to WebAssembly by build.py. It opens no file, has no thread, keeps nothing between
// calls.
#include <algorithm>
#include <cmath>
#include <exception>
#include <string>
#include <vector>

#include "baby/parameters.hpp"
#include "lesson/wire.hpp"
#include "simulate/journey.hpp"

namespace {

using namespace serosa;

std::vector<double> input, output;
std::string message;

/// Two runs side by side fill the registers of WebAssembly; the bits are those of any other number.
using Two = physics::Pack<2>;

bool samples_blood(const care::Case& c) {
  return std::any_of(c.timeline.begin(), c.timeline.end(), [](const care::Act& act) {
    const auto* const d = std::get_if<care::LoseBlood>(&act.deed);
    return d != nullptr && d->to_laboratory;
  });
}

/// What a refused act is told by: baby, act, and the sentence in `message`.
struct Refused {
  double baby, act;
};

void refuse_contradictions(std::size_t baby, const care::Case& c) {
  for (const auto& found : care::contradictions(c)) {
    message = found.message;
    throw Refused{static_cast<double>(baby), static_cast<double>(found.act)};
  }
  if (c.protocol)
    for (const auto& fault : care::faults(*c.protocol, samples_blood(c)))
      throw std::invalid_argument("its protocol " + fault.message);
}

void put_result(const simulate::Result& result) {
  const auto& report = result.report;
  output.push_back(static_cast<double>(report.status));
  output.push_back(report.time);
  output.push_back(static_cast<double>(report.effort.rate_evaluations));
  output.push_back(result.hottest_mattress);
#define SEROSA_PUT(name, unit, text) output.push_back(result.body.name);
  SEROSA_BODY(SEROSA_PUT)
#undef SEROSA_PUT
  output.insert(output.end(), result.values.begin(), result.values.end());
  output.push_back(static_cast<double>(result.done.size()));
  for (const care::Done& done : result.done) {
    output.push_back(done.at);
    output.push_back(static_cast<double>(done.rule));
  }
}

void run_row() {
  lesson::Taker taker(input);
  const simulate::Settings settings;
  std::vector<double> times(taker.count(100'000));
  for (double& t : times) t = taker.number();
  for (std::size_t i = 1; i < times.size(); ++i)
    if (!(times[i] > times[i - 1])) throw std::invalid_argument("the times do not rise");
  baby::Parameters<double> base;
#define SEROSA_TAKE(name, unit) base.name = taker.number();
  SEROSA_PARAMETERS(SEROSA_TAKE)
#undef SEROSA_TAKE
  std::vector<lesson::Taken> babies(taker.count(100));
  for (std::size_t i = 0; i < babies.size(); ++i) {
    babies[i] = lesson::take_case(taker, base);
    refuse_contradictions(i, babies[i].c);
  }
  std::vector<simulate::Job> jobs;
  for (const auto& one : babies) jobs.push_back({&one.c, &one.parameters, times});
  std::vector<simulate::Result> results(jobs.size());
  simulate::run_with<Two>(jobs, results, settings);
  for (const auto& result : results) put_result(result);
}

}  // namespace

extern "C" {

/// Room for `count` numbers; the caller fills it and calls `run`. The row: how many times, the
/// times (h); all parameters; how many cases, the cases (wire.hpp).
double* serosa_input(int count) {
  input.assign(static_cast<std::size_t>(count), 0.0);
  return input.data();
}

/// 0: done, the answer is in `serosa_output`: for each case how it ended, when, the evaluations of
/// the rates, the hottest mattress, the baby's body, all outputs at every time, then how often a
/// rule of the protocol acted, each time with its hour and the rule's place. 1: an act was refused,
/// its case and its place are in `serosa_output`. 2: the row itself is wrong. What is wrong is in
/// `serosa_message`.
int serosa_run() {
  output.clear();
  message.clear();
  try {
    run_row();
    return 0;
  } catch (const Refused& refused) {
    output = {refused.baby, refused.act};
    return 1;
  } catch (const std::exception& fault) {
    message = fault.what();
    return 2;
  }
}

const double* serosa_output() { return output.data(); }
int serosa_output_count() { return static_cast<int>(output.size()); }
const char* serosa_message() { return message.c_str(); }
}
