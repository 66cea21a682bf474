// SPDX-License-Identifier: Apache-2.0
#include "files/results.hpp"

#include <netcdf.h>
#include <sys/stat.h>
#include <udunits2.h>
#include <unistd.h>

#include <algorithm>
#include <bit>
#include <catch2/catch.hpp>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <limits>
#include <nlohmann/json.hpp>
#include <random>
#include <set>
#include <sstream>
#include <thread>

#include "files/csv.hpp"
#include "files/netcdf.hpp"
#include "files/sha256.hpp"
#include "temporary_folder.hpp"

namespace {

using namespace serosa;
namespace fs = std::filesystem;
namespace out = simulate::output;

std::string bytes_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  REQUIRE(in);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

std::vector<std::vector<std::string>> rows_of(const std::string& csv) {
  std::vector<std::vector<std::string>> rows(1, std::vector<std::string>(1));
  bool quoted = false;
  for (std::size_t i = 0; i < csv.size(); ++i) {
    const char c = csv[i];
    if (quoted && c == '"' && i + 1 < csv.size() && csv[i + 1] == '"')
      rows.back().back().push_back('"'), ++i;
    else if (c == '"')
      quoted = !quoted;
    else if (c == ',' && !quoted)
      rows.back().emplace_back();
    else if (c == '\n' && !quoted)
      rows.emplace_back(1);
    else
      rows.back().back().push_back(c);
  }
  rows.pop_back();
  return rows;
}

/// Two invented runs; the second failed after its second time.
struct Invented {
  simulate::Result first, second;
  files::Results results;

  Invented() {
    results.times = {0, 1.0 / 3, 2, 6};
    results.report_times = {1, 3};
    std::mt19937 generator(1);
    std::uniform_real_distribution<double> some(-40, 400);
    for (auto* r : {&first, &second}) {
      r->values.resize(results.times.size() * out::count);
      for (auto& v : r->values) v = some(generator);
      r->report = {simulate::RunStatus::finished, -1, 6, {120, 3, 900, 7, 4}};
    }
    second.report = {simulate::RunStatus::step_too_small, 4, 1.25, {80, 9, 700, 7, 2}};
    std::fill(second.values.begin() + 2 * out::count, second.values.end(),
              std::numeric_limits<double>::quiet_NaN());
    results.cases = {{"bare", "Bowel bare, \"open\"", "title: bare\n", &first},
                     {"wrapped", "=Bowel wrapped", "title: wrapped\n", &second}};
    results.extra_figures = {
        {"against_ordinary_care", "mL", "Missing against a twin", {1, 2, 3, 4}}};
    results.extra_files = {{"table.txt", "a table\n"}};
    results.inputs = {files::make_source("bare.yaml", "bare.yaml", "title: bare\n")};
    results.warnings = {"bare.yaml:1:1  it is only an example"};
    results.changes = {"baby.weight=2.6 kg"};
    results.build = {"0.1.0", "unknown", "a compiler", "Release"};
    results.instruction_set = "v3";
  }
};

}  // namespace

TEST_CASE("SHA-256 gives the published digests") {
  // FIPS 180-2, appendix B.1 to B.3 (the vectors that FIPS 180-4 refers to), from memory; the
  // digest of the empty text is the one of RFC 6234's reference code, from memory.
  CHECK(files::sha256("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(files::sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(files::sha256(std::string(1'000'000, 'a')) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  CHECK(files::sha256("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST_CASE("SHA-256 does not mind how a text is cut, nor where its blocks end") {
  std::string text;
  std::set<std::string> digests;
  for (int length = 0; length < 200; ++length) {
    files::Sha256 piecewise;
    for (std::size_t i = 0; i < text.size(); i += 7)
      piecewise.add(std::string_view(text).substr(i, 7));
    const std::string digest = files::sha256(text);
    CHECK(piecewise.digest() == digest);
    digests.insert(digest);
    text.push_back(static_cast<char>('a' + length % 26));
  }
  CHECK(digests.size() == 200);
}

TEST_CASE("cells are quoted as RFC 4180 section 2 says and never start a formula") {
  files::CsvWriter csv;
  csv.text("plain").text("a,b").text("say \"no\"").text("two\nlines").end_row();
  csv.text("=1+1").text("@x").text("-3").text("+4").text("").end_row();
  CHECK(csv.bytes() == "plain,\"a,b\",\"say \"\"no\"\"\",\"two\nlines\"\n'=1+1,'@x,'-3,'+4,\n");
}

TEST_CASE("numbers in tables read back to the same double") {
  std::mt19937_64 generator(7);
  for (int i = 0; i < 2000; ++i) {
    const double x = std::bit_cast<double>(generator());
    if (!std::isfinite(x)) continue;
    files::CsvWriter csv;
    csv.number(x);
    CHECK(std::strtod(csv.bytes().c_str(), nullptr) == x);
  }
  files::CsvWriter csv;
  csv.number(0.1).number(std::nan("")).number(-2560).end_row();
  CHECK(csv.bytes() == "0.1,,-2560\n");
}

TEST_CASE("times are labelled as people say them") {
  CHECK(files::time_label(0) == "0 h");
  CHECK(files::time_label(1.0 / 3) == "20 min");
  CHECK(files::time_label(-1.0 / 3) == "-20 min");
  CHECK(files::time_label(59.0 / 60) == "59 min");
  CHECK(files::time_label(1) == "1 h");
  CHECK(files::time_label(1.5) == "1 h 30 min");
  CHECK(files::time_label(24) == "24 h");
  CHECK(files::time_label(-0.0) == "0 h");
  CHECK(files::time_label(202.0 / 60) == "3 h 22 min");
  CHECK(files::time_label(3.123456789) == "3.12346 h");
  CHECK(files::time_label(1e-3) == "0.06 min");
}

TEST_CASE("every output's unit is one that UDUNITS reads, of the right dimension") {
  ut_set_error_message_handler(ut_ignore);
  ut_system* const system = ut_read_xml(nullptr);
  REQUIRE(system);
  const auto factor = [&](const std::string& from, const std::string& to) {
    ut_unit* const a = ut_parse(system, from.c_str(), UT_ASCII);
    ut_unit* const b = ut_parse(system, to.c_str(), UT_ASCII);
    double result = std::nan("");
    if (a && b && ut_are_convertible(a, b)) {
      cv_converter* const converter = ut_get_converter(a, b);
      result = cv_convert_double(converter, 1.0);
      cv_free(converter);
    }
    ut_free(a);
    ut_free(b);
    return result;
  };
  for (const auto& o : simulate::output_list) {
    ut_unit* const unit = ut_parse(system, std::string(o.unit).c_str(), UT_ASCII);
    INFO(o.name << " [" << o.unit << "]");
    CHECK(unit != nullptr);
    ut_free(unit);
  }
  // An hour is 3600 s, not a Planck constant; a min is a minute; mmHg a pressure (BIPM, SI
  // brochure, 8th ed. 2006, table 8: 133.322 Pa).
  CHECK(factor("h", "s") == 3600);
  CHECK_THAT(factor("1/min", "1/h"), Catch::Matchers::WithinRel(60.0, 1e-12));  // rounding
  CHECK_THAT(factor("mmHg", "Pa"), Catch::Matchers::WithinAbs(133.322, 5e-4));  // digits given
  CHECK_THAT(factor("g/m2/h", "kg m-2 s-1"), Catch::Matchers::WithinRel(1e-3 / 3600, 1e-12));
  CHECK_THAT(factor("mL/kg/min", "m3 kg-1 s-1"), Catch::Matchers::WithinRel(1e-6 / 60, 1e-12));
  ut_free_system(system);
}

TEST_CASE("a results folder has everything, and its digests are right") {
  const TemporaryFolder temporary;
  const Invented invented;
  auto folder = files::ResultsFolder::claim(temporary / "out");
  files::write_results(folder, invented.results, "today\n");
  std::set<std::string> names;
  for (const auto& entry : fs::recursive_directory_iterator(temporary / "out"))
    if (entry.is_regular_file())
      names.insert(fs::relative(entry.path(), temporary / "out").string());
  CHECK(names == std::set<std::string>{"cases/bare.yaml", "cases/wrapped.yaml", "log.txt",
                                       "manifest.json", "series.csv", "series.nc", "summary.csv",
                                       "table.txt"});
  const auto manifest = nlohmann::json::parse(bytes_of(temporary / "out/manifest.json"));
  CHECK(manifest["outputs"].size() == 6);  // all but the log and the manifest itself
  for (const auto& output : manifest["outputs"]) {
    const std::string bytes = bytes_of(temporary / "out" / output["name"].get<std::string>());
    CHECK(output["sha256"] == files::sha256(bytes));
    CHECK(output["bytes"] == bytes.size());
  }
  CHECK(manifest["inputs"][0]["sha256"] == files::sha256("title: bare\n"));
  CHECK(manifest["runs"][1]["status"] == "step_too_small");
  CHECK(manifest["runs"][1]["failed_state"] == "wall_water");
  CHECK(manifest["runs"][1]["ended_at_h"] == 1.25);
  CHECK(manifest["changes"][0] == "baby.weight=2.6 kg");
  CHECK(manifest["warnings"].size() == 1);
}

TEST_CASE("a folder of one case has case.yaml") {
  const TemporaryFolder temporary;
  Invented invented;
  invented.results.cases.pop_back();
  invented.results.extra_figures.clear();
  auto folder = files::ResultsFolder::claim_next(temporary / "results", "bare");
  files::write_results(folder, invented.results, "today\n");
  CHECK(bytes_of(temporary / "results/bare-1/case.yaml") == "title: bare\n");
}

TEST_CASE("summary.csv has a row for each output and a column for each case and time") {
  const Invented invented;
  const auto rows = rows_of(files::summary_csv(invented.results));
  REQUIRE(rows.size() == 1 + out::count + 1);
  CHECK(rows[0] == std::vector<std::string>{"output", "meaning", "unit", "bare, 20 min",
                                            "bare, 6 h", "wrapped, 20 min", "wrapped, 6 h"});
  for (const auto& row : rows) CHECK(row.size() == 7);
  const auto& urine = rows[1 + out::urine];
  CHECK(urine[0] == "urine");
  CHECK(urine[2] == "g");
  CHECK(std::strtod(urine[4].c_str(), nullptr) == invented.first.at(3, out::urine));
  CHECK(std::strtod(urine[5].c_str(), nullptr) == invented.second.at(1, out::urine));
  CHECK(urine[6].empty());  // the run did not get there
  CHECK(rows.back()[0] == "against_ordinary_care");
}

TEST_CASE("series.csv has every time of every case, units in its head") {
  const Invented invented;
  const auto rows = rows_of(files::series_csv(invented.results));
  REQUIRE(rows.size() == 1 + 2 * 4);
  CHECK(rows[0][1] == "time [h]");
  CHECK(rows[0][2 + out::bowel_evaporation] == "bowel_evaporation [g]");
  for (std::size_t t = 0; t < 4; ++t) {
    CHECK(std::strtod(rows[1 + t][1].c_str(), nullptr) == invented.results.times[t]);
    for (std::size_t o = 0; o < out::count; ++o)
      CHECK(std::strtod(rows[1 + t][2 + o].c_str(), nullptr) ==
            invented.first.at(t, static_cast<out::Index>(o)));
  }
  CHECK(rows[8][0] == "wrapped");
  CHECK(rows[8][2].empty());
}

TEST_CASE("series.nc holds the same numbers, missing ones as NaN, and says how each run ended") {
  const TemporaryFolder temporary;
  const Invented invented;
  const fs::path path = temporary / "series.nc";
  files::write_series_nc(path, invented.results);
  int file = 0;
  REQUIRE(nc_open(path.c_str(), NC_NOWRITE, &file) == NC_NOERR);
  const auto variable = [&](const char* name) {
    int id = -1;
    REQUIRE(nc_inq_varid(file, name, &id) == NC_NOERR);
    return id;
  };
  const auto text = [&](int id, const char* name) {
    std::size_t length = 0;
    REQUIRE(nc_inq_attlen(file, id, name, &length) == NC_NOERR);
    std::string value(length, '\0');
    REQUIRE(nc_get_att_text(file, id, name, value.data()) == NC_NOERR);
    return value;
  };
  CHECK(text(variable("time"), "units") == "h");
  CHECK(text(NC_GLOBAL, "comment") == files::caution);
  for (std::size_t o = 0; o < out::count; ++o) {
    const int id = variable(std::string(simulate::output_list[o].name).c_str());
    CHECK(text(id, "units") == simulate::output_list[o].unit);
    CHECK(text(id, "long_name") == simulate::output_list[o].meaning);
    std::vector<double> values(8);
    REQUIRE(nc_get_var_double(file, id, values.data()) == NC_NOERR);
    for (std::size_t t = 0; t < 4; ++t) {
      CHECK(values[t] == invented.first.at(t, static_cast<out::Index>(o)));
      if (t < 2)
        CHECK(values[4 + t] == invented.second.at(t, static_cast<out::Index>(o)));
      else
        CHECK(std::isnan(values[4 + t]));
    }
  }
  CHECK(text(variable("core_temperature"), "units_metadata") == "temperature: on_scale");
  signed char status[2];
  REQUIRE(nc_get_var_schar(file, variable("run_status"), status) == NC_NOERR);
  CHECK(status[0] == 0);
  CHECK(status[1] == 3);
  std::istringstream meanings(text(variable("run_status"), "flag_meanings"));
  std::size_t number = 0;
  for (std::string word; meanings >> word; ++number)
    CHECK(word == simulate::run_statuses.at(number).name);
  CHECK(number == simulate::run_statuses.size());
  int shuffle = 0, deflate = 0, level = 0;
  REQUIRE(nc_inq_var_deflate(file, variable("urine"), &shuffle, &deflate, &level) == NC_NOERR);
  CHECK(shuffle == 1);
  CHECK(level == 1);
  nc_close(file);
}

TEST_CASE("the same results give the same bytes, whenever") {
  const TemporaryFolder temporary;
  const Invented invented;
  auto one = files::ResultsFolder::claim(temporary / "one");
  files::write_results(one, invented.results, "monday\n");
  // HDF5 could note seconds.
  std::this_thread::sleep_for(std::chrono::milliseconds(1100));
  auto other = files::ResultsFolder::claim(temporary / "other");
  files::write_results(other, invented.results, "tuesday\n");
  for (const char* name :
       {"cases/bare.yaml", "summary.csv", "series.csv", "series.nc", "table.txt", "manifest.json"})
    CHECK(bytes_of(temporary / "one" / name) == bytes_of(temporary / "other" / name));
}

TEST_CASE("numbers of folders go up and are claimed once") {
  const TemporaryFolder temporary;
  const fs::path base = temporary / "results";
  fs::create_directories(base / "bare-7");
  fs::create_directories(base / "bare-x9");
  std::vector<std::string> claimed(8);
  std::vector<std::thread> threads;
  for (auto& name : claimed)
    threads.emplace_back([&] {
      auto folder = files::ResultsFolder::claim_next(base, "bare");
      name = folder.path().filename().string();
      folder.keep();
    });
  for (auto& thread : threads) thread.join();
  std::sort(claimed.begin(), claimed.end());
  CHECK(claimed == std::vector<std::string>{"bare-10", "bare-11", "bare-12", "bare-13", "bare-14",
                                            "bare-15", "bare-8", "bare-9"});
}

TEST_CASE("a folder that is not empty, or a file, is refused and left alone") {
  const TemporaryFolder temporary;
  temporary.write("full/a.txt", "mine");
  temporary.write("file", "mine");
  CHECK_THROWS_AS(files::ResultsFolder::claim(temporary / "full"), files::WriteError);
  CHECK_THROWS_AS(files::ResultsFolder::claim(temporary / "file"), files::WriteError);
  CHECK_THROWS_AS(files::ResultsFolder::claim(temporary / "file/below"), files::WriteError);
  CHECK(bytes_of(temporary / "full/a.txt") == "mine");
  CHECK(bytes_of(temporary / "file") == "mine");
  // An empty folder will do, and a slash at the end too.
  fs::create_directory(temporary / "empty");
  auto folder = files::ResultsFolder::claim(temporary / "empty/");
  CHECK_THROWS_AS(files::ResultsFolder::claim(temporary / "empty"), files::WriteError);
  folder.keep();
}

TEST_CASE("a folder that is not kept leaves nothing") {
  const TemporaryFolder temporary;
  fs::create_directory(temporary / "mine");
  const auto abandon = [](const fs::path& path) {
    auto folder = files::ResultsFolder::claim(path);
    folder.write("cases/a.yaml", "a");
    folder.write("summary.csv", "b");
    std::ofstream(folder.temporary("series.nc")) << "half";
    CHECK(fs::exists(path / "UNFINISHED"));
  };
  abandon(temporary / "new/deep/run");
  CHECK_FALSE(fs::exists(temporary / "new"));
  abandon(temporary / "mine");
  CHECK(fs::is_empty(temporary / "mine"));
}

TEST_CASE("nothing that is written is overwritten") {
  const TemporaryFolder temporary;
  auto folder = files::ResultsFolder::claim(temporary / "out");
  folder.write("summary.csv", "first");
  CHECK_THROWS_AS(folder.write("summary.csv", "second"), files::WriteError);
  CHECK(bytes_of(temporary / "out/summary.csv") == "first");
}

TEST_CASE("a place that can't be written is refused by name") {
  const TemporaryFolder temporary;
  // No folder can be made below a device, whoever asks.
  try {
    files::ResultsFolder::claim("/dev/null/out");
    FAIL("was not refused");
  } catch (const files::WriteError& refusal) {
    CHECK_THAT(refusal.what(), Catch::Contains("/dev/null"));
  }
}

TEST_CASE("a NetCDF variable takes neither too few numbers nor too many") {
  const TemporaryFolder temporary;
  files::NetcdfWriter file(temporary / "x.nc");
  const auto v = file.doubles("v", {file.dimension("n", 3)});
  file.end_definitions();
  const std::vector<double> two{1, 2};
  CHECK_THROWS_AS(file.put(v, two), std::logic_error);
  CHECK_THROWS_AS(files::NetcdfWriter(temporary / "x.nc"), files::NetcdfError);
}
