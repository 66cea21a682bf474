// SPDX-License-Identifier: Apache-2.0
// Steady state allocates nothing, neither per step nor per run: what a call of `run` or a block of
// a batch allocates is its working memory, the same however many runs and steps it has.
#include <catch2/catch.hpp>

#include "../simulate/counted_allocations.hpp"
#include "files/case_file.hpp"
#include "files/study_file.hpp"
#include "simulate/run.hpp"
#include "study/batch.hpp"

namespace serosa::study {
namespace {

const std::filesystem::path models_folder = SEROSA_MODELS;

files::Models shipped_models() {
  files::Problems problems;
  auto models = files::read_models(models_folder, nullptr, problems);
  REQUIRE_FALSE(problems.refused());
  return models;
}

/// Allocations of one call.
template <class Call>
long counted_in(Call call) {
  const long before = allocations;
  call();
  return allocations - before;
}

TEST_CASE("runs allocate nothing, however many and however long", "[allocation]") {
  const auto models = shipped_models();
  files::Problems problems;
  const auto file =
      files::read_case(models_folder / "cases" / "day-one.yaml", models, {}, problems);
  REQUIRE_FALSE(problems.refused());
  const std::vector<double> times{1, 2, 6, 12, 18, 24};
  const auto count = [&](std::size_t runs, double tolerance) {
    const std::vector<simulate::Job> jobs(runs, simulate::Job{&file.c, &file.parameters, times});
    std::vector<simulate::Result> results(runs);
    simulate::Settings settings;
    settings.relative_tolerance = tolerance;
    simulate::run(jobs, results, settings);  // results get their memory
    return counted_in([&] { simulate::run(jobs, results, settings); });
  };
  CHECK(allocations > 100);  // the counter counts
  const long few = count(16, 1e-4);
  CHECK(count(160, 1e-4) == few);
  CHECK(count(16, 1e-8) == few);  // many times the steps
}

TEST_CASE("blocks of a batch allocate nothing per run", "[allocation]") {
  const auto models = shipped_models();
  files::Problems problems;
  auto file = files::read_study(models_folder / "studies" / "first-day.yaml", models, problems);
  REQUIRE_FALSE(problems.refused());
  Study& study = file.study;
  const auto per_block = [&](std::uint64_t runs) {
    study.design.runs = runs;
    const Layout layout(study);
    BlockRunner runner(study);
    std::vector<double> table;
    constexpr std::uint64_t warm = 3;
    REQUIRE(layout.blocks >= warm + 2);
    for (std::uint64_t b = 0; b < warm; ++b) runner.run(b, table);
    const long first = counted_in([&] { runner.run(warm, table); });
    const long second = counted_in([&] { runner.run(warm + 1, table); });
    CHECK(first == second);
    return second;
  };
  // Blocks of 8 and of 64 runs.
  CHECK(per_block(512) == per_block(4096));
}

}  // namespace
}  // namespace serosa::study
