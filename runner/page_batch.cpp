// SPDX-License-Identifier: Apache-2.0
#include "runner/page_batch.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>

#include "files/problems.hpp"
#include "runner/page_folder.hpp"
#include "runner/page_words.hpp"
#include "simulate/run.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

namespace {

files::Node read_yaml(const fs::path& path) {
  files::Problems problems;
  auto document = files::read_document(path, problems);
  problems.refuse_if_any();
  return std::move(document->root);
}

std::string text_of(const files::Node& node, const char* key) {
  const auto* found = node.find(key);
  return found && found->is_text() ? found->text : std::string();
}

/// Runs that are read at a time: chunks of the file are as long, or half, a quarter … as long.
constexpr std::size_t most_rows = 4096;
constexpr int finished = static_cast<int>(simulate::RunStatus::finished);

/// The words of CF flag meanings; blanks inside a word were written as underscores.
std::vector<std::string> flag_words(const std::string& meanings) {
  std::vector<std::string> words;
  std::istringstream in(meanings);
  for (std::string word; in >> word;) words.push_back(plain_name(word));
  return words;
}

}  // namespace

BatchData::BatchData(const fs::path& folder) : folder_(folder) {
  std::error_code failure;
  if (!fs::exists(folder / "manifest.json", failure))
    refuse_folder(folder, "holds a batch that is not finished; run the same command again");
  manifest = read_json(folder / "manifest.json");
  try {
    read_study();
    file_ = std::make_unique<files::NetcdfReader>(folder / "runs.nc");
    read_arms();
    read_runs();
    if (fs::exists(folder / "series.nc", failure)) read_series();
  } catch (const files::NetcdfError& fault) {
    refuse_folder(folder, std::string("cannot be read: ") + fault.what());
  } catch (const units::Error& fault) {
    refuse_folder(folder, std::string("holds a quantity that cannot be read: ") + fault.what());
  } catch (const Json::exception& fault) {
    refuse_folder(folder / "manifest.json", std::string("is not as expected: ") + fault.what());
  }
}

void BatchData::read_study() {
  study_ = read_yaml(folder_ / "study.yaml");
  title = text_of(study_, "title");
  if (title.empty()) title = manifest.value("study", "");
  note = text_of(study_, "note");
  if (const auto level = text_of(study_, "confidence"); !level.empty())
    confidence = units::to_model(level, "1");
  design = manifest.at("design").value("kind", "");
  sampled = design != "full-grid";
}

void BatchData::read_arms() {
  const auto names = file_->texts("arm_name");
  times = file_->doubles("time");
  runs = file_->length("run");
  for (std::size_t a = 0; a < names.size(); ++a) {
    Arm arm;
    arm.name = names[a];
    check_plain_name(folder_ / "runs.nc", arm.name);
    arm.label = plain_name(names[a]);
    if (!arm.label.empty())
      arm.label[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(arm.label[0])));
    arm.understood = read_yaml(folder_ / "cases" / (arm.name + ".yaml"));
    const auto* baby = arm.understood.find("baby");
    arm.weight = baby ? units::to_model(text_of(*baby, "weight"), "kg") : 0;
    if (!(arm.weight > 0)) refuse_folder(folder_, "does not tell the weight at birth");
    arms.push_back(std::move(arm));
  }
  for (std::size_t first = 0; first < runs; first += most_rows) {
    const std::size_t rows = std::min(most_rows, runs - first);
    const auto status = file_->doubles("run_status", {first, 0}, {rows, arms.size()});
    for (std::size_t i = 0; i < status.size(); ++i)
      ++arms[i % arms.size()].ends[static_cast<int>(status[i])];
  }
  for (const auto& arm : arms)
    for (const auto& [status, count] : arm.ends) any_failed_ = any_failed_ || status != finished;
  statistics = !any_failed_ || manifest.value("failed_runs", "") == "exclude";
}

void BatchData::read_runs() {
  std::error_code failure;
  Json described;
  if (fs::exists(folder_ / "inputs.json", failure)) described = read_json(folder_ / "inputs.json");
  const std::vector<std::size_t> shape{runs, arms.size(), times.size()};
  for (const auto& name : file_->variables()) {
    if (const auto path = file_->attribute(name, "input_path"); !path.empty()) {
      Input input{name,
                  path,
                  file_->attribute(name, "long_name"),
                  file_->attribute(name, "units"),
                  file_->attribute(name, "input_law"),
                  file_->attribute(name, "references"),
                  flag_words(file_->attribute(name, "flag_meanings")),
                  {},
                  path.rfind("baby.", 0) == 0};
      if (const auto colon = input.meaning.find(": "); colon != std::string::npos)
        input.meaning = input.meaning.substr(colon + 2);
      if (described.is_object())
        for (const auto& one : described.at("inputs"))
          if (one.value("path", "") == path) {
            input.described = one;
            input.of_cohort = one.value("of_cohort", input.of_cohort);
          }
      inputs.push_back(std::move(input));
    } else if (file_->shape(name) == shape && name != "run_status") {
      outputs.push_back(
          {name, file_->attribute(name, "long_name"), file_->attribute(name, "units")});
    }
  }
  if (const auto* list = study_.find("bands"))
    for (const auto& entry : list->entries) {
      Band band{entry.key, text_of(entry.value, "output")};
      const auto output = std::find_if(outputs.begin(), outputs.end(),
                                       [&](const auto& o) { return o.name == band.output; });
      if (output == outputs.end()) continue;
      if (const auto x = text_of(entry.value, "above"); !x.empty())
        band.low = units::to_model(x, output->unit);
      if (const auto x = text_of(entry.value, "below"); !x.empty())
        band.high = units::to_model(x, output->unit);
      bands.push_back(band);
    }
}

void BatchData::read_series() {
  const files::NetcdfReader file(folder_ / "series.nc");
  series_times = file.doubles("time");
  series_quantiles = file.doubles("quantile");
  const std::vector<std::size_t> shape{arms.size(), series_times.size(), series_quantiles.size()};
  for (const auto& name : file.variables()) {
    if (file.shape(name) != shape) continue;
    std::string meaning = file.attribute(name, "long_name");
    if (const auto comma = meaning.find(", quantiles over"); comma != std::string::npos)
      meaning = meaning.substr(0, comma);
    series.push_back({{name, meaning, file.attribute(name, "units")}, file.doubles(name)});
  }
}

void BatchData::for_rows(const Output& output, const std::function<void(const Rows&)>& see) const {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  Rows part{0, arms.size(), times.size(), {}, {}};
  std::size_t most = most_rows;
  while (most > 8 && most * part.arms * part.times > (std::size_t{1} << 17)) most /= 2;
  for (std::size_t first = 0; first < runs; first += most) {
    part.runs = std::min(most, runs - first);
    const auto table =
        file_->doubles(output.name, {first, 0, 0}, {part.runs, part.arms, part.times});
    const std::size_t columns = part.arms * part.times;
    part.values.resize(table.size());
    for (std::size_t k = 0; k < columns; ++k)
      for (std::size_t i = 0; i < part.runs; ++i)
        part.values[k * part.runs + i] = table[i * columns + k];
    if (any_failed_) {
      const auto status = file_->doubles("run_status", {first, 0}, {part.runs, part.arms});
      for (std::size_t k = 0; k < columns; ++k)
        for (std::size_t i = 0; i < part.runs; ++i)
          if (status[i * part.arms + k / part.times] != finished)
            part.values[k * part.runs + i] = nan;
    }
    part.weights = weights(first, part.runs);
    see(part);
  }
}

void BatchData::for_pieces(const Input& input,
                           const std::function<void(std::span<const double>)>& see) const {
  for (std::size_t first = 0; first < runs; first += most_rows) {
    const auto piece = file_->doubles(input.variable, {first}, {std::min(most_rows, runs - first)});
    see(piece);
  }
}

std::vector<double> BatchData::weights(std::size_t first, std::size_t rows) const {
  std::vector<double> all;
  for (const auto& input : inputs)
    if (input.path == "baby.weight" && input.words.empty()) {
      auto values = file_->doubles(input.variable, {first}, {rows});
      const double to_kg = units::to_model("1 " + input.unit, "kg");
      for (double& x : values) x *= to_kg;
      for (std::size_t a = 0; a < arms.size(); ++a)
        all.insert(all.end(), values.begin(), values.end());
      return all;
    }
  for (const auto& arm : arms) all.insert(all.end(), rows, arm.weight);
  return all;
}

}  // namespace serosa::runner
