// SPDX-License-Identifier: Apache-2.0
// Every case that is shipped, found when the tests run, and the judge of a law.
#pragma once
#include <catch2/catch.hpp>
#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

#include "files/case_file.hpp"
#include "simulate/run.hpp"
#include "yaml-cpp/yaml.h"

namespace serosa::laws {

/// What the solver is set to; every law holds at each of these.
inline simulate::Settings tolerance(double relative) {
  simulate::Settings settings;
  settings.absolute_tolerance_factor = relative / settings.relative_tolerance;
  settings.relative_tolerance = relative;
  return settings;
}
inline constexpr double tolerances[] = {1e-3, 1e-4, 1e-6};

inline const files::Models& models() {
  static const files::Models read = [] {
    files::Problems problems;
    auto m = files::read_models(SEROSA_MODELS, nullptr, problems);
    if (problems.refused()) throw std::runtime_error(problems.text());
    return m;
  }();
  return read;
}

inline files::CaseFile read(const std::string& name, const std::vector<std::string>& changes = {}) {
  files::Problems problems;
  auto f = files::read_case(std::filesystem::path(SEROSA_MODELS) / "cases" / (name + ".yaml"),
                            models(), changes, problems);
  if (problems.refused()) throw std::runtime_error(problems.text());
  return f;
}

/// All of models/cases, in the order of their names.
inline const std::vector<files::CaseFile>& shipped_cases() {
  static const std::vector<files::CaseFile> all = [] {
    std::vector<std::string> names;
    for (const auto& entry :
         std::filesystem::directory_iterator(std::filesystem::path(SEROSA_MODELS) / "cases"))
      if (entry.path().extension() == ".yaml") names.push_back(entry.path().stem().string());
    std::sort(names.begin(), names.end());
    std::vector<files::CaseFile> cases;
    for (const auto& name : names) cases.push_back(read(name));
    return cases;
  }();
  return all;
}

/// Hours from the first act to the end, the case's own report times included.
inline std::vector<double> fine_grid(const care::Case& c, double every) {
  const double from = c.timeline.empty() ? 0.0 : std::min(0.0, c.timeline.front().at);
  auto times = simulate::grid(from, c.until, every, c.report_at);
  if (times.front() > from) times.insert(times.begin(), from);
  return times;
}

/// Sentences about what a case did against a law.
class Violations {
 public:
  template <class... Parts>
  void add(const Parts&... parts) {
    if (++count_ > 5) return;
    std::ostringstream line;
    line.precision(10);
    (line << ... << parts) << '\n';
    text_ += line.str();
  }
  bool none() const { return count_ == 0; }
  std::string text() const {
    return text_ + (count_ > 5 ? "… and " + std::to_string(count_ - 5) + " more\n" : "");
  }

 private:
  int count_ = 0;
  std::string text_;
};

/// The reason why this case is known to break this law; empty when it is not.
inline std::string known_failure(const std::string& name, const std::string& law) {
  static const YAML::Node list =
      YAML::LoadFile(SEROSA_TESTS "/laws/known_failures.yaml")["known_failures"];
  for (const auto& entry : list)
    if (entry["case"].as<std::string>() == name && entry["law"].as<std::string>() == law)
      return entry["reason"].as<std::string>();
  return {};
}

inline void judge(const std::string& name, const std::string& law, const Violations& violations) {
  INFO("case " << name << ", law " << law << '\n' << violations.text());
  if (const std::string reason = known_failure(name, law); reason.empty()) {
    CHECK(violations.none());
  } else {
    INFO("listed in known_failures.yaml: " << reason);
    CHECK_FALSE(violations.none());
  }
}

}  // namespace serosa::laws
