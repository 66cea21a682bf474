// SPDX-License-Identifier: Apache-2.0
// Runs a shipped case. For teaching and review. Not dosing advice. Follow local protocols and
// licensed clinicians.
#include <cstdio>

#include "files/case_file.hpp"
#include "simulate/run.hpp"

int main() {
  using namespace serosa;
  files::Problems problems;
  const auto models = files::read_models(MODELS, nullptr, problems);
  const auto file = files::read_case(MODELS "/cases/wrapped.yaml", models, {}, problems);
  problems.refuse_if_any();
  const simulate::Job job{&file.c, &file.parameters, file.c.report_at};
  simulate::Result result;
  simulate::run({&job, 1}, {&result, 1});
  for (std::size_t t = 0; t < file.c.report_at.size(); ++t)
    std::printf("%g h: %g g off the bowel\n", file.c.report_at[t],
                result.at(t, simulate::output::bowel_evaporation));
  return result.report.status == simulate::RunStatus::finished ? 0 : 1;
}
