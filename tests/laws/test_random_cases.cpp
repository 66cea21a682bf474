// SPDX-License-Identifier: Apache-2.0
// Every case that can be written either finishes with its accounts closed and nothing below zero,
// or ends in a failure that has a name. The environment's SEROSA_RANDOM_CASES says how many cases;
// the tests run few, the command of the DEVELOPERS' page a hundred thousand. The case files of
// failed runs go into the folder SEROSA_RANDOM_KEEP.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>

#include "accounts.hpp"
#include "random_case.hpp"
#include "shipped.hpp"

namespace serosa::laws {
namespace {

constexpr std::uint64_t seed = 1;

/// What contradicts is taken out until the reader accepts the case; what it refuses for another
/// reason shows a fault of the reader or of the drawing.
std::optional<files::CaseFile> accepted(files::Node tree, std::string& why) {
  for (int tries = 0; tries < 60; ++tries) {
    files::Problems problems;
    auto file = files::read_case(tree, "random", models(), problems);
    if (!problems.refused()) return file;
    bool removed = false;
    for (const auto& problem : problems.all())
      if (problem.weight == files::Problem::Weight::error) {
        removed = remove_at(tree, problem.path);
        why = problem.path + ": " + problem.message;
        break;
      }
    if (!removed) return std::nullopt;
  }
  return std::nullopt;
}

/// Eight cases at once, each with its number and its hours.
struct Block {
  std::vector<std::uint64_t> numbers;
  std::vector<files::CaseFile> files;
  std::vector<std::vector<double>> times;
  std::vector<Result> results;
};

Block drawn(std::uint64_t first, std::uint64_t end, Violations& violations) {
  Block block;
  for (std::uint64_t number = first; number < end; ++number) {
    std::string why;
    auto file = accepted(RandomCase(models(), seed, number).draw(), why);
    if (!file) {
      violations.add("case ", number, " cannot be made acceptable: ", why);
      continue;
    }
    block.numbers.push_back(number);
    block.times.push_back(fine_grid(file->c, file->c.every));
    block.files.push_back(std::move(*file));
  }
  std::vector<Job> jobs;
  for (std::size_t i = 0; i < block.files.size(); ++i)
    jobs.push_back({&block.files[i].c, &block.files[i].parameters, block.times[i]});
  block.results.resize(jobs.size());
  run(jobs, block.results);
  return block;
}

/// What a finished run breaks.
void check_laws(const Block& block, std::size_t i, Violations& violations) {
  const auto& file = block.files[i];
  const auto& times = block.times[i];
  const auto& result = block.results[i];
  const auto number = block.numbers[i];
  for (std::size_t k = 0; k < result.values.size(); ++k)
    if (!std::isfinite(result.values[k]))
      return violations.add("case ", number, ": ", output_list[k % output::count].name,
                            " is not finite at ", times[k / output::count], " h");
  const auto kept = snapshots(file.c, file.parameters, times);
  if (kept.size() != times.size())
    return violations.add("case ", number, ": the scalar run ended early");
  for (const Snapshot& s : kept)
    for (std::size_t k = 0; k < baby::state::stores; ++k)
      if (!(s.state[k] >= -baby::state_list[k].absolute_tolerance))
        return violations.add("case ", number, ": ", baby::state_list[k].name, " is ", s.state[k],
                              " at ", s.time, " h");
  for (const Account& a : accounts(kept.front(), kept.back(), result, times.size() - 1))
    for (std::size_t k = 0; k < times.size(); ++k)
      if (!(std::fabs(result.at(k, a.unaccounted)) <= allowed(a.passed, a.contents)))
        return violations.add("case ", number, ": ", a.name, " is off by ",
                              result.at(k, a.unaccounted), " at ", times[k], " h; allowed ",
                              allowed(a.passed, a.contents));
}

/// A failure that is the solver's, not the baby's: said, and its case file kept.
void report(const Block& block, std::size_t i) {
  const auto& r = block.results[i].report;
  const std::string state =
      r.state < 0 ? "none" : std::string(baby::state_list[static_cast<std::size_t>(r.state)].name);
  std::printf("case %s: %s, state %s at %g h\n", std::to_string(block.numbers[i]).c_str(),
              std::string(message(r.status)).c_str(), state.c_str(), r.time);
  if (const char* folder = std::getenv("SEROSA_RANDOM_KEEP"))
    std::ofstream(std::filesystem::path(folder) / (std::to_string(block.numbers[i]) + ".yaml"))
        << files::write_document(block.files[i].understood);
}

TEST_CASE("random possible cases keep the laws or end in a failure by name", "[laws]") {
  const char* asked = std::getenv("SEROSA_RANDOM_CASES");
  const std::uint64_t count = asked ? std::strtoull(asked, nullptr, 10) : 400;
  std::map<std::string, std::uint64_t> ends;
  std::uint64_t by_solver = 0;
  Violations violations;
  for (std::uint64_t first = 0; first < count; first += 8) {
    const Block block = drawn(first, std::min(first + 8, count), violations);
    for (std::size_t i = 0; i < block.results.size(); ++i) {
      const RunStatus status = block.results[i].report.status;
      ends[std::string(name(status))]++;
      if (status == RunStatus::finished) {
        check_laws(block, i, violations);
      } else if (status != RunStatus::left_the_model) {
        ++by_solver;
        report(block, i);
      }
    }
  }
  std::printf("%s random cases", std::to_string(count).c_str());
  for (const auto& [status, n] : ends)
    std::printf(", %s %s", status.c_str(), std::to_string(n).c_str());
  std::printf("\n");
  INFO(violations.text());
  CHECK(violations.none());
  CHECK(by_solver * 1000 <= count);
}

}  // namespace
}  // namespace serosa::laws
