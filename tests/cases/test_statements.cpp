// SPDX-License-Identifier: Apache-2.0
// What the paragraphs of the shipped cases say holds, and nothing is said that is not checked.
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <set>
#include <sstream>
#include <vector>

#include "cases/shipped_cases.hpp"
#include "simulate/run.hpp"
#include "units/units.hpp"
#include "yaml-cpp/yaml.h"

namespace serosa::cases {
namespace {

/// One line of statements.yaml.
struct Statement {
  std::string of;    ///< case
  std::string says;  ///< words of its paragraph
  std::size_t output = 0;
  double at = 0;  ///< h
  std::string against;
  double then = 0;  ///< h, in the case `against`
  bool compares = false;
  std::string relation;
  std::string amount;
};

const YAML::Node& list() {
  static const YAML::Node read = YAML::LoadFile(SEROSA_TESTS "/cases/statements.yaml")["cases"];
  return read;
}

std::size_t output_index(const std::string& name) {
  for (std::size_t i = 0; i < simulate::output::count; ++i)
    if (simulate::output_list[i].name == name) return i;
  throw std::runtime_error("statements.yaml: there is no output " + name);
}

Statement read_statement(const std::string& of, const YAML::Node& node) {
  static const std::set<std::string> relations{"more_than", "less_than", "more_by", "less_by"};
  Statement s;
  s.of = of;
  s.says = node["says"].as<std::string>();
  s.output = output_index(node["output"].as<std::string>());
  s.at = units::to_model(node["at"].as<std::string>(), "h");
  s.against = node["against"].as<std::string>(of);
  s.then = node["then"] ? units::to_model(node["then"].as<std::string>(), "h") : s.at;
  s.compares = node["against"] || node["then"];
  for (const auto& entry : node) {
    const auto key = entry.first.as<std::string>();
    if (!relations.count(key)) continue;
    if (!s.relation.empty()) throw std::runtime_error("statements.yaml: two relations in one");
    s.relation = key;
    s.amount = entry.second.as<std::string>();
  }
  const std::size_t known = 4u + node["against"].IsDefined() + node["then"].IsDefined();
  if (s.relation.empty() || node.size() != known)
    throw std::runtime_error("statements.yaml: " + of + ": unknown or missing keys in: " + s.says);
  return s;
}

const std::vector<Statement>& statements() {
  static const std::vector<Statement> all = [] {
    std::vector<Statement> read;
    for (const auto& entry : list())
      for (const auto& node : entry.second["statements"])
        read.push_back(read_statement(entry.first.as<std::string>(), node));
    return read;
  }();
  return all;
}

/// Every case at every time that a statement asks for, all in one batch.
class Runs {
 public:
  Runs() {
    std::map<std::string, std::set<double>> asked;
    for (const auto& s : statements()) {
      asked[s.of].insert(s.at);
      asked[s.against].insert(s.then);
    }
    std::vector<simulate::Job> jobs;
    for (const auto& [name, times] : asked) {
      names_.push_back(name);
      times_.emplace_back(times.begin(), times.end());
    }
    for (std::size_t i = 0; i < names_.size(); ++i) {
      const auto& file = shipped().at(names_[i]);
      jobs.push_back({&file.c, &file.parameters, times_[i]});
    }
    results_.resize(jobs.size());
    simulate::run(jobs, results_);
  }

  double value(const std::string& name, std::size_t output, double time) const {
    const auto i =
        static_cast<std::size_t>(std::find(names_.begin(), names_.end(), name) - names_.begin());
    const auto& times = times_.at(i);
    const auto t =
        static_cast<std::size_t>(std::find(times.begin(), times.end(), time) - times.begin());
    return results_[i].at(t, static_cast<simulate::output::Index>(output));
  }

 private:
  std::vector<std::string> names_;
  std::vector<std::vector<double>> times_;
  std::vector<simulate::Result> results_;
};

/// What the figure must lie above or below.
double bound(const Statement& s, double other) {
  const std::string unit(simulate::output_list[s.output].unit);
  if (s.relation == "more_by" || s.relation == "less_by") {
    // A difference of temperatures is in kelvin.
    const double by = units::to_model(s.amount, unit == "degC" ? "K" : unit);
    return s.relation == "more_by" ? other + by : other - by;
  }
  return s.compares ? std::stod(s.amount) * other : units::to_model(s.amount, unit);
}

/// The paragraph without the given pieces.
std::string without(std::string text, const std::vector<std::string>& pieces) {
  for (const auto& piece : pieces)
    if (const auto at = text.find(piece); at != std::string::npos) text.erase(at, piece.size());
  return text;
}

}  // namespace

TEST_CASE("What the paragraph of a case says holds in its run", "[cases]") {
  const Runs runs;
  for (const auto& s : statements()) {
    const double value = runs.value(s.of, s.output, s.at);
    const double other = s.compares ? runs.value(s.against, s.output, s.then) : 0.0;
    const double limit = bound(s, other);
    INFO(s.of << ": \"" << s.says << "\": " << simulate::output_list[s.output].name << " at "
              << s.at << " h is " << value << "; must be " << s.relation << " " << s.amount
              << (s.compares ? " of " + s.against + " at " + std::to_string(s.then) + " h (" +
                                   std::to_string(other) + ")"
                             : ""));
    const bool above = s.relation == "more_than" || s.relation == "more_by";
    CHECK((above ? value > limit : value < limit));
  }
}

TEST_CASE("Every word of a case's paragraph is a checked statement or plain description",
          "[cases]") {
  for (const auto& [name, file] : shipped()) {
    const YAML::Node of = list()[name];
    INFO("case " << name << ": " << file.c.note);
    REQUIRE(of.IsDefined());
    std::vector<std::string> pieces;
    for (const auto& node : of["describes"]) pieces.push_back(node.as<std::string>());
    bool any = false;
    for (const auto& s : statements())
      if (s.of == name) {
        any = true;
        if (std::find(pieces.begin(), pieces.end(), s.says) == pieces.end())
          pieces.push_back(s.says);
      }
    CHECK(any);
    for (const auto& piece : pieces) {
      INFO("piece: " << piece);
      CHECK(file.c.note.find(piece) != std::string::npos);
    }
    // The longest first: a short piece may stand inside a longer one.
    std::stable_sort(pieces.begin(), pieces.end(),
                     [](const auto& a, const auto& b) { return a.size() > b.size(); });
    std::string rest = without(file.c.note, pieces);
    for (char& c : rest)
      if (std::string_view(".,;:").find(c) != std::string_view::npos) c = ' ';
    std::istringstream words(rest);
    for (std::string word; words >> word;) {
      INFO("left over: " << word);
      CHECK((word == "and" || word == "but"));
    }
  }
  for (const auto& entry : list()) {
    INFO("case " << entry.first.as<std::string>());
    CHECK(shipped().count(entry.first.as<std::string>()) == 1);
  }
}

}  // namespace serosa::cases
