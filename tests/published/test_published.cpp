// SPDX-License-Identifier: Apache-2.0
// The shipped experiments against the model, and the rules that they keep themselves.
#include <catch2/catch.hpp>
#include <fstream>
#include <set>
#include <sstream>

#include "files/experiment_file.hpp"

namespace serosa::files {
namespace {

using study::Role;
using study::Verdict;

struct Shipped {
  Models models;
  std::vector<study::Experiment> experiments;
  std::vector<study::Outcome> outcomes;
};

const Shipped& shipped() {
  static const Shipped all = [] {
    Shipped s;
    Problems problems;
    const std::filesystem::path folder = SEROSA_MODELS;
    const auto bibliography = read_bibliography(folder / "references.bib", problems);
    s.models = read_models(folder, bibliography ? &*bibliography : nullptr, problems);
    for (const auto& path : published_experiments(folder))
      s.experiments.push_back(read_experiment(path, s.models, &*bibliography, problems).experiment);
    problems.refuse_if_any();
    s.outcomes = study::carry_out(s.experiments);
    return s;
  }();
  return all;
}

TEST_CASE("every published experiment comes out as its file says") {
  const Shipped& all = shipped();
  for (std::size_t i = 0; i < all.experiments.size(); ++i)
    for (std::size_t k = 0; k < all.experiments[i].readings.size(); ++k) {
      const auto& reading = all.experiments[i].readings[k];
      const auto& finding = all.outcomes[i].findings[k];
      INFO(all.experiments[i].name << ", " << reading.name << ": " << finding.simulated);
      if (reading.published)
        INFO("band " << reading.published->low << " to " << reading.published->high);
      // A known failure that holds must lose its excuse.
      CHECK((finding.verdict == Verdict::holds || finding.verdict == Verdict::shown ||
             finding.verdict == Verdict::known_failure));
    }
}

TEST_CASE("at least four checks in five hold, and some in every part of the model") {
  const Shipped& all = shipped();
  const auto checks = study::tally(all.experiments, all.outcomes, Role::check);
  CHECK(checks.all >= 30);
  CHECK(checks.holding * 5 >= checks.all * 4);
  for (std::size_t part = 0; part < study::model_parts.size(); ++part) {
    INFO(study::model_parts[part].word);
    CHECK(study::tally(all.experiments, all.outcomes, Role::check,
                       static_cast<study::ModelPart>(part))
              .holding > 0);
  }
}

TEST_CASE("at most a third of the experiments calibrate") {
  const Shipped& all = shipped();
  const auto calibration = study::tally(all.experiments, all.outcomes, Role::calibration);
  CHECK(calibration.all * 3 <= all.experiments.size());
}

TEST_CASE("a parameter says which calibration experiment set it, and was free to be set") {
  const Shipped& all = shipped();
  std::set<std::string> calibrating;
  for (const auto& e : all.experiments)
    if (e.role == Role::calibration) calibrating.insert(e.name);
  const std::string mark = "set from ";
  int set = 0;
  for (const auto& p : all.models.parameters) {
    const auto at = p.note.find(mark);
    if (at == std::string::npos) continue;
    ++set;
    const auto from = p.note.substr(at + mark.size());
    const auto name = from.substr(0, from.find_first_of(" :;,"));
    INFO(p.name << " from " << name);
    CHECK(calibrating.contains(name));
    CHECK((p.grade == Grade::assumption || p.grade == Grade::derived ||
           p.grade == Grade::from_memory));
    CHECK(p.range.contains(p.value));
  }
  CHECK(set > 0);
}

TEST_CASE("the README counts the checks as they come out") {
  const Shipped& all = shipped();
  const auto checks = study::tally(all.experiments, all.outcomes, Role::check);
  std::ostringstream expected;
  expected << checks.holding << " of " << checks.all << " checks";
  std::ifstream file(std::filesystem::path(SEROSA_MODELS).parent_path() / "README.md");
  std::ostringstream text;
  text << file.rdbuf();
  CHECK_THAT(text.str(), Catch::Matchers::Contains(expected.str()));
}

}  // namespace
}  // namespace serosa::files
