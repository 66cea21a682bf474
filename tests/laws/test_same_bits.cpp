// SPDX-License-Identifier: Apache-2.0
// Law: a run depends on itself alone. One after another or eight abreast, in any lane, beside any
// neighbours, on any instruction set, on any number of threads: the same bits.
#include <cstring>
#include <map>
#include <random>
#include <thread>

#include "shipped.hpp"
#include "simulate/isa.hpp"

namespace serosa::laws {
namespace {

using namespace simulate;

/// All shipped cases and some that fail, so that a lane also goes on after a failure.
struct Collection {
  std::vector<files::CaseFile> files;
  std::vector<std::vector<double>> times;
  std::vector<Job> jobs;
  std::vector<Result> alone;  ///< one after another in plain double

  Collection() {
    files = shipped_cases();
    files::CaseFile bled = read("exposed");
    bled.c.timeline.push_back({"bleed", 0.5, care::LoseBlood{0.0, 0.9, 0.2}});
    files.push_back(bled);
    for (const auto& f : files) {
      const double from = care::Carer<double>::first_hour(f.c);
      times.push_back(grid(from, f.c.until, f.c.until / 7, f.c.report_at));
    }
    for (std::size_t i = 0; i < files.size(); ++i)
      jobs.push_back({&files[i].c, &files[i].parameters, times[i]});
    alone.resize(jobs.size());
    run_scalar(jobs, alone);
  }
};

const Collection& collection() {
  static const Collection c;
  return c;
}

bool same(const Result& a, const Result& b) {
  return a.report == b.report && a.values.size() == b.values.size() &&
         std::memcmp(a.values.data(), b.values.data(), a.values.size() * sizeof(double)) == 0 &&
         std::memcmp(&a.body, &b.body, sizeof a.body) == 0 &&
         a.hottest_mattress == b.hottest_mattress;
}

/// Runs these jobs of the collection together and counts those that differ from running alone.
std::size_t different(const std::vector<std::size_t>& which) {
  const auto& all = collection();
  std::vector<Job> jobs;
  for (const auto i : which) jobs.push_back(all.jobs[i]);
  std::vector<Result> together(jobs.size());
  run(jobs, together);
  std::size_t n = 0;
  for (std::size_t k = 0; k < which.size(); ++k)
    if (!same(together[k], all.alone[which[k]])) ++n;
  return n;
}

struct Forced {
  explicit Forced(std::string_view set) { force_instruction_set(set); }
  ~Forced() { force_instruction_set(""); }
};

TEST_CASE("a lane gives the bits of the run alone: every case, every lane, every instruction set",
          "[laws]") {
  const auto sets = available_instruction_sets();
  REQUIRE_FALSE(sets.empty());
  CHECK(collection().alone.back().report.status != RunStatus::finished);
  for (const auto set : sets) {
    const Forced forced(name(set));
    INFO("instruction set " << name(set));
    const std::size_t n = collection().jobs.size();
    for (std::size_t shift = 0; shift < 8; ++shift) {
      // The first eight jobs take the lanes in order, the others as lanes fall free.
      std::vector<std::size_t> which;
      for (std::size_t i = 0; i < n; ++i) which.push_back((i + shift * (n / 8 + 1)) % n);
      CHECK(different(which) == 0);
    }
    for (std::size_t i = 0; i < n; ++i) CHECK(different(std::vector<std::size_t>(9, i)) == 0);
  }
}

TEST_CASE("any mix of cases in a block gives the bits of the runs alone", "[laws]") {
  std::mt19937_64 random(7);
  std::uniform_int_distribution<std::size_t> any(0, collection().jobs.size() - 1);
  std::uniform_int_distribution<std::size_t> length(1, 24);
  for (int block = 0; block < 40; ++block) {
    std::vector<std::size_t> which(length(random));
    for (auto& i : which) i = any(random);
    CHECK(different(which) == 0);
  }
}

TEST_CASE("several threads give the bits of the runs alone", "[laws]") {
  collection();
  constexpr std::size_t threads = 5;
  std::array<std::size_t, threads> wrong{};
  std::vector<std::thread> crew;
  for (std::size_t t = 0; t < threads; ++t)
    crew.emplace_back([t, &wrong] {
      std::mt19937_64 random(100 + t);
      std::uniform_int_distribution<std::size_t> any(0, collection().jobs.size() - 1);
      for (int block = 0; block < 6; ++block) {
        std::vector<std::size_t> which(12);
        for (auto& i : which) i = any(random);
        wrong[t] += different(which);
      }
    });
  for (auto& thread : crew) thread.join();
  for (std::size_t t = 0; t < threads; ++t) CHECK(wrong[t] == 0);
}

}  // namespace
}  // namespace serosa::laws
