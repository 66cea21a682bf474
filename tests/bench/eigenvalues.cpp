// SPDX-License-Identifier: Apache-2.0
// Prints the fastest mode of every shipped case. What sets the solver's step is named here.
#include "eigenvalues.hpp"

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "files/case_file.hpp"

int main() {
  using namespace serosa;
  files::Problems problems;
  const std::filesystem::path folder = SEROSA_MODELS;
  const auto models = files::read_models(folder, nullptr, problems);
  std::vector<std::filesystem::path> paths;
  for (const auto& entry : std::filesystem::directory_iterator(folder / "cases"))
    if (entry.path().extension() == ".yaml") paths.push_back(entry.path());
  std::sort(paths.begin(), paths.end());
  std::printf("%-16s %12s %20s  %-24s %s\n", "case", "at (h)", "time constant (min)", "state",
              "its part");
  for (const auto& path : paths) {
    const auto file = files::read_case(path, models, {}, problems);
    if (problems.refused()) {
      std::fputs(problems.text().c_str(), stderr);
      return 1;
    }
    const auto mode = bench::fastest_mode(file.c, file.parameters);
    std::printf("%-16s %12.3f %20.2f  %-24s %.2f%s\n", file.c.name.c_str(), mode.time,
                60.0 * mode.constant, std::string(baby::state_list[mode.state].name).c_str(),
                mode.share, mode.growing ? "  growing" : "");
  }
  std::puts(
      "For teaching and review. Not dosing advice. Follow local protocols and licensed "
      "clinicians.");
}
