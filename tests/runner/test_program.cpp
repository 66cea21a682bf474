// SPDX-License-Identifier: Apache-2.0
// The program as a user meets it: commands, options, exit codes, what it prints and leaves.
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "files/exit_codes.hpp"
#include "files/results.hpp"
#include "files/temporary_folder.hpp"
#include "files/utf8.hpp"
#include "study/difference.hpp"

namespace {

namespace fs = std::filesystem;
using Catch::Contains;
using serosa::files::ExitCode;

struct Ended {
  int code;
  std::string out, err;
};

std::string bytes_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

/// Runs the program in a folder of its own, words quoted for the shell by the caller.
Ended serosa_in(const TemporaryFolder& folder, const std::string& words) {
  const std::string command = "cd '" + folder.path().string() +
                              "' && SEROSA_MODELS='" SEROSA_MODELS "' '" SEROSA_PROGRAM "' " +
                              words + " >.out 2>.err";
  const int status = std::system(command.c_str());
  REQUIRE(WIFEXITED(status));
  Ended ended{WEXITSTATUS(status), bytes_of(folder / ".out"), bytes_of(folder / ".err")};
  fs::remove(folder / ".out");
  fs::remove(folder / ".err");
  return ended;
}

int number(ExitCode code) { return static_cast<int>(code); }

std::string shipped(const std::string& name) {
  return "'" SEROSA_MODELS "/cases/" + name + ".yaml' ";
}

std::map<std::string, std::string> files_below(const fs::path& folder) {
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::recursive_directory_iterator(folder))
    if (entry.is_regular_file())
      files[fs::relative(entry.path(), folder).string()] = bytes_of(entry.path());
  return files;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// The rows of the summary by output; cells hold no commas beyond the meaning, which is not asked.
double summary(const fs::path& folder, const std::string& output) {
  for (const auto& line : lines_of(bytes_of(folder / "summary.csv")))
    if (line.rfind(output + ",", 0) == 0) return std::stod(line.substr(line.rfind(',') + 1));
  FAIL("no such row: " << output);
  return 0;
}

void check_table(const std::string& table) {
  for (const auto& line : lines_of(table)) {
    INFO(line);
    CHECK(serosa::files::characters(line) <= 100);
  }
  CHECK_THAT(table, Contains(std::string(serosa::files::caution)));
  const auto first = table.find("Range not yet computed");
  CHECK(first != std::string::npos);
  CHECK(table.find("Range not yet computed", first + 1) == std::string::npos);
  for (const char* heading : {"WHERE THE WATER WENT", "THIRD SPACE", "THREE DEFICITS",
                              "TEMPERATURES", "Charted", "External", "Circulating", "ordinary care",
                              "Plasma sodium, mmol/L", "Haematocrit, %", "Mattress"})
    CHECK_THAT(table, Contains(heading));
  CHECK(table.find("nan") == std::string::npos);
  // Names of the code have underscores; a reader sees none.
  const std::string shown = table.substr(0, table.find("Results:"));
  CHECK(shown.find('_') == std::string::npos);
}

}  // namespace

TEST_CASE("run prints the table and leaves a folder") {
  const TemporaryFolder folder;
  const Ended run = serosa_in(folder, "run " + shipped("exposed"));
  CHECK(run.code == number(ExitCode::done));
  CHECK(run.err.empty());
  check_table(run.out);
  CHECK_THAT(run.out, Contains("Results: results/exposed-1"));
  const auto files = files_below(folder / "results/exposed-1");
  for (const char* name : {"case.yaml", "summary.csv", "series.csv", "series.nc", "table.txt",
                           "manifest.json", "log.txt"})
    CHECK(files.count(name) == 1);
  for (const auto& [name, bytes] : files) {
    INFO(name);
    CHECK_FALSE(bytes.empty());
    CHECK(name.find("UNFINISHED") == std::string::npos);
    CHECK(name.find(".part") == std::string::npos);
  }
  CHECK(run.out.rfind(files.at("table.txt"), 0) == 0);
  // A second time takes the next number.
  CHECK_THAT(serosa_in(folder, "run " + shipped("exposed")).out,
             Contains("Results: results/exposed-2"));
}

TEST_CASE("compare shows the cases side by side and what made the difference") {
  const TemporaryFolder folder;
  const Ended compared = serosa_in(
      folder, "compare " + shipped("exposed") + shipped("wrapped") + "--at '2 h' --out both");
  CHECK(compared.code == number(ExitCode::done));
  check_table(compared.out);
  for (const char* words : {"A exposed", "B wrapped", "WHAT DIFFERS", "AT 2 h AFTER BIRTH",
                            "WHY THE DEFICITS OF B wrapped DIFFER", "= gap in external deficit",
                            "= gap in circulating deficit", "polyethylene-film"})
    CHECK_THAT(compared.out, Contains(words));
  const auto files = files_below(folder / "both");
  CHECK(files.count("cases/exposed.yaml") == 1);
  CHECK(files.count("cases/wrapped.yaml") == 1);

  // The list adds up as written, to the rounding of its sums.
  double routes = 0, all = 0, external = 0, circulating = 0;
  std::size_t row = 0;
  for (const auto& line : lines_of(files.at("difference.csv"))) {
    if (row++ == 0) continue;
    const double gap = std::stod(line.substr(line.rfind(',') + 1));
    const std::string name = line.substr(0, line.find(','));
    if (name == "external_deficit")
      external = gap;
    else if (name == "circulating_deficit")
      circulating = gap;
    else {
      all += gap;
      using serosa::study::part_list;
      const auto part = std::find_if(part_list.begin(), part_list.end(),
                                     [&](const auto& p) { return p.name == name; });
      REQUIRE(part != part_list.end());
      if (part->group == serosa::study::part::Group::route) routes += gap;
    }
  }
  CHECK_THAT(routes, Catch::Matchers::WithinAbs(external, 1e-9));
  CHECK_THAT(all, Catch::Matchers::WithinAbs(circulating, 1e-9));
  CHECK(external < 0);  // less is lost under film
}

TEST_CASE("three cases and more are compared with the first") {
  const TemporaryFolder folder;
  const Ended compared = serosa_in(folder, "compare " + shipped("exposed") + shipped("wrapped") +
                                               shipped("wrapped-late") + shipped("soaked-gauze"));
  CHECK(compared.code == number(ExitCode::done));
  check_table(compared.out);
  CHECK_THAT(compared.out, Contains("WHY THE DEFICITS OF D soaked-gauze DIFFER"));
  CHECK_THAT(compared.out, Contains("Results: results/exposed-and-3-more-1"));
}

TEST_CASE("a case compared with itself differs by nothing") {
  const TemporaryFolder folder;
  const Ended compared =
      serosa_in(folder, "compare " + shipped("exposed") + shipped("exposed") + "--out twice");
  CHECK(compared.code == number(ExitCode::done));
  CHECK_THAT(compared.out, Contains("Nothing: the cases are the same"));
  CHECK(fs::exists(folder / "twice/cases/exposed-2.yaml"));
}

TEST_CASE("the options at, until and set do what they say") {
  const TemporaryFolder folder;
  const std::string wrapped = shipped("wrapped");
  const Ended at = serosa_in(
      folder, "run " + wrapped + "--at '10 min, 50 min' --at '1 h 30 min' --until '2 h' --out a");
  CHECK(at.code == number(ExitCode::done));
  for (const char* words : {"at 10 min", "at 50 min", "at 1 h 30 min"})
    CHECK_THAT(at.out, Contains(words));
  const auto series = lines_of(bytes_of(folder / "a/series.csv"));
  CHECK_THAT(series.back(), Catch::StartsWith("wrapped,2,"));

  // A later wrap lets more evaporate.
  serosa_in(folder, "run " + wrapped + "--until '2 h' --at '2 h' --out early");
  const Ended late = serosa_in(folder, "run " + wrapped +
                                           "--until '2 h' --at '2 h' --out late "
                                           "--set 'timeline.wrap.at=40 min'");
  CHECK(late.code == number(ExitCode::done));
  CHECK(summary(folder / "late", "bowel_evaporation") >
        summary(folder / "early", "bowel_evaporation"));
  CHECK_THAT(bytes_of(folder / "late/case.yaml"), Contains("40 min"));
  CHECK_THAT(bytes_of(folder / "late/manifest.json"), Contains("timeline.wrap.at=40 min"));

  // --set may be repeated, and does not swallow the case after it.
  const Ended two = serosa_in(
      folder, "run --set 'baby.weight=2.1 kg' --set 'room=cold-room' " + wrapped + "--out two");
  CHECK(two.code == number(ExitCode::done));
  CHECK_THAT(two.out, Contains("2.10 kg"));
}

TEST_CASE("the case as understood runs again to the same numbers") {
  const TemporaryFolder folder;
  REQUIRE(
      serosa_in(folder, "run " + shipped("day-one") + "--set 'baby.gestation=34+3 wk' --out first")
          .code == 0);
  const Ended again = serosa_in(folder, "run first/case.yaml --out again");
  CHECK(again.code == number(ExitCode::done));
  const auto first = files_below(folder / "first"), second = files_below(folder / "again");
  CHECK(first.at("case.yaml") == second.at("case.yaml"));
  // Only the case's name differs.
  std::string renamed = second.at("series.csv");
  const auto without_names = [](const std::string& csv) {
    std::string text;
    for (const auto& line : lines_of(csv)) text += line.substr(line.find(',')) + "\n";
    return text;
  };
  CHECK(without_names(first.at("series.csv")) == without_names(second.at("series.csv")));
}

TEST_CASE("the same command leaves the same bytes, the log apart") {
  const TemporaryFolder folder;
  const std::string command =
      "compare " + shipped("exposed") + shipped("day-one") + "--quiet --out ";
  REQUIRE(serosa_in(folder, command + "one").code == 0);
  REQUIRE(serosa_in(folder, command + "other").code == 0);
  auto one = files_below(folder / "one"), other = files_below(folder / "other");
  CHECK(one.count("log.txt") == 1);
  one.erase("log.txt");
  other.erase("log.txt");
  REQUIRE(one.size() == other.size());
  for (const auto& [name, bytes] : one) {
    INFO(name);
    CHECK((other.at(name) == bytes));
  }
}

TEST_CASE("quiet prints only where the results are") {
  const TemporaryFolder folder;
  const Ended quiet = serosa_in(folder, "run " + shipped("wrapped") + "--quiet --out here");
  CHECK(quiet.code == number(ExitCode::done));
  CHECK(quiet.out == "here\n");
  CHECK(quiet.err.empty());
}

TEST_CASE("a command line that is not understood starts nothing") {
  const TemporaryFolder folder;
  for (const std::string& words : std::vector<std::string>{
           "", "nosuch", "run", "run --nosuch x.yaml", "compare a.yaml", "explain", "explain --csv",
           "explain no_such_parameter", "run a.yaml b.yaml"}) {
    INFO(words);
    const Ended ended = serosa_in(folder, words);
    CHECK(ended.code == number(ExitCode::usage));
    CHECK_FALSE(ended.err.empty());
    CHECK(fs::is_empty(folder.path()));
  }
}

TEST_CASE("input that is refused writes nothing and shows where it is wrong") {
  const TemporaryFolder folder;
  const std::string exposed = shipped("exposed");
  for (const std::string& words : std::vector<std::string>{
           std::string("run nosuch.yaml"), std::string("run ."),
           "run " + exposed + "--set 'baby.weight=2 h'",
           "run " + exposed + "--set 'baby.wieght=2 kg'", "run " + exposed + "--set 'baby.weight'",
           "run " + exposed + "--at '8 h'", "run " + exposed + "--at '-5 min'",
           "run " + exposed + "--at 'soon'", "run " + exposed + "--until '3 kg'",
           "run " + exposed + "--models /dev", "compare " + exposed + "nosuch.yaml"}) {
    INFO(words);
    const Ended ended = serosa_in(folder, words);
    CHECK(ended.code == number(ExitCode::input_refused));
    CHECK_FALSE(ended.err.empty());
    CHECK(ended.out.empty());
    CHECK(fs::is_empty(folder.path()));
  }
  const Ended broken = serosa_in(folder, "run " + exposed + "--set 'baby.wieght=2 kg'");
  CHECK_THAT(broken.err, Contains("weight"));
}

TEST_CASE("a folder that can't be used is refused and left alone") {
  const TemporaryFolder folder;
  folder.write("full/mine.txt", "mine");
  const Ended full = serosa_in(folder, "run " + shipped("exposed") + "--out full");
  CHECK(full.code == number(ExitCode::could_not_write));
  CHECK_THAT(full.err, Contains("full"));
  CHECK(files_below(folder / "full").size() == 1);
  CHECK(serosa_in(folder, "run " + shipped("exposed") + "--out /dev/null/x").code ==
        number(ExitCode::could_not_write));
  // A file in the way of the default place.
  folder.write("results", "mine");
  CHECK(serosa_in(folder, "run " + shipped("exposed")).code == number(ExitCode::could_not_write));
  CHECK(bytes_of(folder / "results") == "mine");
  // A folder without leave to write stops everyone but the superuser.
  fs::create_directory(folder / "locked");
  fs::permissions(folder / "locked", fs::perms::owner_read | fs::perms::owner_exec);
  if (::geteuid() != 0)
    CHECK(serosa_in(folder, "run " + shipped("exposed") + "--out locked/x").code ==
          number(ExitCode::could_not_write));
  else
    WARN("run by the superuser, whom a read-only folder does not stop: that part was left out");
  CHECK(fs::is_empty(folder / "locked"));
  fs::permissions(folder / "locked", fs::perms::owner_all);
}

TEST_CASE("standard output that takes nothing is an error") {
  const TemporaryFolder folder;
  const std::string command = "cd '" + folder.path().string() +
                              "' && '" SEROSA_PROGRAM "' explain --outputs >/dev/full 2>/dev/null";
  const int status = std::system(command.c_str());
  REQUIRE(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == number(ExitCode::could_not_write));
}

TEST_CASE("a run that can't be finished is told by name, and what was finished is kept") {
  const TemporaryFolder folder;
  const Ended failed = serosa_in(
      folder, "run " + shipped("exposed") +
                  "--set 'timeline.furnace={act: hold, at: 1 h, control: air_temperature, value: "
                  "100000 degC}' --out failed");
  CHECK(failed.code == number(ExitCode::run_failed));
  CHECK_THAT(failed.err, Contains("did not finish"));
  CHECK_THAT(failed.err, Contains("it stopped 1 h"));
  CHECK_THAT(failed.out, Contains("did not finish"));
  CHECK(failed.out.find("nan") == std::string::npos);
  CHECK_THAT(failed.out, Contains(std::string(serosa::files::caution)));
  CHECK(fs::exists(folder / "failed/manifest.json"));
  CHECK_FALSE(fs::exists(folder / "failed/UNFINISHED"));
}

TEST_CASE("help and version: examples, every exit code, the caution at the end") {
  const TemporaryFolder folder;
  for (const std::string& words :
       std::vector<std::string>{"--help", "run --help", "compare --help", "explain --help"}) {
    INFO(words);
    const Ended help = serosa_in(folder, words);
    CHECK(help.code == 0);
    CHECK_THAT(help.out, Contains("Examples:"));
    for (const auto& row : serosa::files::exit_codes())
      CHECK_THAT(help.out, Contains(std::string(row.sentence).substr(0, 40)));
    const auto lines = lines_of(help.out);
    CHECK(lines.back() == serosa::files::caution);
  }
  const Ended version = serosa_in(folder, "--version");
  CHECK(version.code == 0);
  CHECK_THAT(version.out, Contains("serosa 0.1.0"));
}

TEST_CASE("explain shows value, range, source and grade") {
  const TemporaryFolder folder;
  const Ended one = serosa_in(folder, "explain dried_serosa_resistance");
  CHECK(one.code == 0);
  for (const char* words : {"value", "range", "grade", "source", "m2 h kPa/g", "Lamke"})
    CHECK_THAT(one.out, Contains(words));
  CHECK_THAT(serosa_in(folder, "explain polyethylene-film").out, Contains("permeance"));
  CHECK_THAT(serosa_in(folder, "explain --output urine").out, Contains("unit"));
  // The nearest name is offered.
  CHECK_THAT(serosa_in(folder, "explain dried_serosa_resistence").err,
             Contains("dried_serosa_resistance"));
  const Ended table = serosa_in(folder, "explain --all --csv");
  CHECK(lines_of(table.out).size() == serosa::baby::parameter_list.size() + 1);
}
