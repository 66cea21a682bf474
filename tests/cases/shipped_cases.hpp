// SPDX-License-Identifier: Apache-2.0
// The cases that are shipped, read once.
#pragma once
#include <algorithm>
#include <filesystem>
#include <map>
#include <stdexcept>
#include <string>

#include "files/case_file.hpp"

namespace serosa::cases {

inline const files::Models& models() {
  static const files::Models read = [] {
    files::Problems problems;
    auto m = files::read_models(SEROSA_MODELS, nullptr, problems);
    if (problems.refused()) throw std::runtime_error(problems.text());
    return m;
  }();
  return read;
}

/// Every file of models/cases by its name without ending.
inline const std::map<std::string, files::CaseFile>& shipped() {
  static const std::map<std::string, files::CaseFile> all = [] {
    std::map<std::string, files::CaseFile> cases;
    for (const auto& entry :
         std::filesystem::directory_iterator(std::filesystem::path(SEROSA_MODELS) / "cases")) {
      if (entry.path().extension() != ".yaml") continue;
      files::Problems problems;
      cases[entry.path().stem().string()] = files::read_case(entry.path(), models(), {}, problems);
      // A shipped case has no warnings either.
      if (!problems.all().empty()) throw std::runtime_error(problems.text());
    }
    return cases;
  }();
  return all;
}

}  // namespace serosa::cases
