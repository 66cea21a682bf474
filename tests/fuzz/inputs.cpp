// SPDX-License-Identifier: Apache-2.0
// Everything that a stranger can hand to serosa, through the whole reading path.
#include "inputs.hpp"

#include <unistd.h>

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>
#include <string_view>

#include "files/bibliography.hpp"
#include "files/case_file.hpp"
#include "files/experiment_file.hpp"
#include "files/fit_file.hpp"
#include "files/journal.hpp"
#include "files/netcdf.hpp"
#include "files/protocol_file.hpp"
#include "files/results.hpp"
#include "files/review_file.hpp"
#include "files/study_file.hpp"
#include "units/units.hpp"

namespace serosa::fuzz {
namespace {

namespace fs = std::filesystem;

const files::Models& models() {
  static const files::Models read = [] {
    files::Problems problems;
    auto m = files::read_models(SEROSA_MODELS, nullptr, problems);
    problems.refuse_if_any();
    return m;
  }();
  return read;
}

/// A file of its own in memory, with the bytes to be read.
fs::path file_with(std::string_view bytes, const char* name) {
  static const fs::path folder = [] {
    const bool in_memory = fs::is_directory("/dev/shm");
    std::string name =
        (in_memory ? fs::path("/dev/shm") : fs::temp_directory_path()) / "serosa-fuzz-XXXXXX";
    if (!mkdtemp(name.data())) throw std::runtime_error("no folder for the files");
    return fs::path(name);
  }();
  static const struct Sweeper {
    ~Sweeper() { fs::remove_all(folder); }
  } sweeper;
  const fs::path path = folder / name;
  std::ofstream(path, std::ios::binary | std::ios::trunc)
      .write(bytes.data(), static_cast<long>(bytes.size()));
  return path;
}

/// What is accepted must hold together: written and read again it is the same.
void read_case(std::string_view bytes) {
  files::Problems problems;
  const auto file = files::read_case(file_with(bytes, "case.yaml"), models(), {}, problems);
  if (problems.refused()) return (void)problems.text();
  files::Problems again;
  const auto text = files::write_document(file.understood);
  const auto second = files::read_case(file_with(text, "again.yaml"), models(), {}, again);
  if (again.refused() || files::write_document(second.understood) != text) std::abort();
}

void read_study(std::string_view bytes) {
  files::Problems problems;
  files::read_study(file_with(bytes, "study.yaml"), models(), problems);
  (void)problems.text();
}

void protocol_of(const fs::path& path) {
  files::Problems problems;
  if (const auto document = files::read_document(path, problems))
    files::read_protocol(document->root, models(), problems, "");
  (void)problems.text();
}

void read_protocol(std::string_view bytes) { protocol_of(file_with(bytes, "protocol.yaml")); }

/// The rules alone, in a protocol that has every reading.
void read_rules(std::string_view bytes) {
  std::string text =
      "title: Rules\nlook: {every: 30 min}\n"
      "readings:\n"
      "  pressure: {reads: mean-pressure, error: 4 mmHg}\n"
      "  heart: {reads: heart-rate}\n"
      "  urine: {every: 1 h, over: 4 h}\n"
      "  temperature: {reads: core-temperature, error: 0.1 K, delay: 5 min}\n"
      "  weight: {every: 6 h}\n"
      "  sodium: {delay: 30 min}\n"
      "orders:\n"
      "  blood: {act: sample-blood, at: 1 h}\n"
      "  line: {act: maintenance, at: 30 min, fluid: glucose-10, rate: 60 mL/kg/d}\n"
      "rules:\n  ";
  for (const char c : bytes) (text += c) += c == '\n' ? "  " : "";
  protocol_of(file_with(text, "protocol.yaml"));
}

void read_review(std::string_view bytes) {
  files::Problems problems;
  files::read_review(file_with(bytes, "review.yaml"), models(), problems);
  (void)problems.text();
}

void read_fit(std::string_view bytes) {
  files::Problems problems;
  files::read_fit(file_with(bytes, "fit.yaml"), SEROSA_MODELS "/fits/first-hours.csv", models(),
                  problems);
  (void)problems.text();
}

/// Measured figures: of a fit, and as the law of an input.
void read_data(std::string_view bytes) {
  const auto path = file_with(bytes, "data.csv");
  files::Problems problems;
  files::read_fit_data(path, problems);
  (void)problems.text();
  files::Problems others;
  files::read_study(
      file_with("title: A\narms: {a: {case: exposed}}\n"
                "vary: {baby.weight: {law: empirical, file: data.csv, column: 'weight [g]'}}\n"
                "design: {kind: random, runs: 8, seed: 1}\noutputs: [urine]\ntimes: [1 h]\n",
                "study.yaml"),
      models(), others);
  (void)others.text();
}

void read_experiment(std::string_view bytes) {
  files::Problems problems;
  files::read_experiment(file_with(bytes, "experiment.yaml"), models(), nullptr, problems);
  (void)problems.text();
}

void read_parameters(std::string_view bytes) {
  std::vector<files::ParameterDeclaration> declared;
  for (const auto& info : baby::parameter_list) declared.push_back({info.name, info.unit});
  files::Problems problems;
  files::read_parameter_file(file_with(bytes, "parameters.yaml"), declared, nullptr, problems);
  for (const auto kind : {files::DataKind::cover, files::DataKind::fluid, files::DataKind::warmer,
                          files::DataKind::room})
    files::read_data_file(kind, file_with(bytes, "data.yaml"), nullptr, problems);
  files::read_bibliography(file_with(bytes, "references.bib"), problems);
  (void)problems.text();
}

/// The first line is the unit, the rest the quantity. What reads must read back to the same bits.
void read_unit(std::string_view bytes) {
  const auto end = bytes.find('\n');
  if (end == std::string_view::npos) return;
  try {
    const double value = units::to_model(bytes.substr(end + 1), bytes.substr(0, end));
    const std::string unit(bytes.substr(0, end));
    if (units::to_model(units::from_model(value, unit), unit) != value) std::abort();
  } catch (const units::Error&) {
  }
}

/// The formula of a reading of a published experiment.
void read_formula(std::string_view bytes) {
  study::Experiment experiment;
  study::Reading one, two;
  one.name = "a";
  one.formula = "1 + 1";
  two.name = "b c";
  two.formula = std::string(bytes);
  experiment.readings = {one, two};
  try {
    study::check_formulas(experiment);
  } catch (const study::FormulaError&) {
  }
}

/// A journal that was damaged: every block it claims can be read or is missing.
void read_journal(std::string_view bytes) {
  static const study::Layout layout = [] {
    study::Study small;
    small.design.runs = 20;
    small.arms.resize(2);
    small.outputs.resize(2);
    small.times = {1, 2};
    return study::Layout(small);
  }();
  try {
    const files::Journal journal(file_with(bytes, "journal"), layout, "fingerprint", {});
    std::vector<double> values(1);
    for (std::uint64_t block = 0; block < 3; ++block)
      if (journal.has(block)) journal.read(block, 0, 0, values);
  } catch (const files::WriteError&) {
  }
}

void read_netcdf(std::string_view bytes) {
  try {
    const files::NetcdfReader reader(file_with(bytes, "series.nc"));
    for (const auto& name : reader.variables()) {
      try {
        std::size_t size = 1;
        for (const std::size_t length : reader.shape(name)) size *= length;
        if (size < (1u << 20)) reader.doubles(name);
        reader.attribute(name, "units");
      } catch (const files::NetcdfError&) {
      }
    }
  } catch (const files::NetcdfError&) {
  }
}

}  // namespace

const std::map<std::string_view, Reader>& readers() {
  static const std::map<std::string_view, Reader> all = {
      {"case", read_case},    {"study", read_study},           {"protocol", read_protocol},
      {"rules", read_rules},  {"review", read_review},         {"fit", read_fit},
      {"data", read_data},    {"experiment", read_experiment}, {"parameters", read_parameters},
      {"unit", read_unit},    {"formula", read_formula},       {"journal", read_journal},
      {"netcdf", read_netcdf}};
  return all;
}

}  // namespace serosa::fuzz
