// SPDX-License-Identifier: Apache-2.0
#include "files/parameter_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "files/paths.hpp"
#include "files/reader.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();
constexpr std::string_view no_source = "none";

constexpr std::string_view distribution_words[] = {
#define SEROSA_ITEM(name, word, meaning) word,
    SEROSA_DISTRIBUTIONS(SEROSA_ITEM)
#undef SEROSA_ITEM
};

constexpr std::string_view grade_words[] = {
#define SEROSA_ITEM(name, word, meaning) word,
    SEROSA_GRADES(SEROSA_ITEM)
#undef SEROSA_ITEM
};

template <std::size_t N>
std::vector<std::string> list(const std::string_view (&words)[N]) {
  return {std::begin(words), std::end(words)};
}

/// One parameter: reads, converts and checks it, field by field.
class EntryReader {
 public:
  EntryReader(const Entry& entry, const ParameterDeclaration& declaration,
              const Bibliography* bibliography, Problems& problems)
      : reader_(entry.value, parameter_keys(), problems, entry.key),
        problems_(problems),
        bibliography_(bibliography) {
    result_.name = entry.key;
    result_.origin = entry.origin;
    result_.model_unit = declaration.unit;
  }

  ParameterEntry read() {
    read_numbers();
    result_.distribution = static_cast<Distribution>(reader_.which("distribution"));
    result_.grade = static_cast<Grade>(reader_.which("grade"));
    result_.note = reader_.text("note");
    read_source_key();
    convert();
    check_range();
    return result_;
  }

 private:
  double number(const std::string& text, const Origin& origin, const std::string& path) {
    try {
      return units::to_number(text);
    } catch (const units::Error& error) {
      problems_.error(origin, path,
                      std::string(error.what()) + "; the unit stands beside it, under unit",
                      error.expected());
      return none;
    }
  }

  void read_numbers() {
    const std::string path = reader_.path();
    result_.unit = reader_.text("unit");
    if (const std::string text = reader_.text("value"); !text.empty())
      result_.value = number(text, reader_.origin("value"), joined(path, "value"));
    else
      result_.value = none;
    const auto ends = reader_.texts("range");
    if (ends.size() != 2) {
      result_.range = {none, none};
      return;
    }
    result_.range.low = number(ends[0], reader_.origin("range"), joined(path, "range"));
    result_.range.high = number(ends[1], reader_.origin("range"), joined(path, "range"));
  }

  void read_source_key() {
    const std::string source = reader_.text("source");
    if (source.empty()) return;
    const std::size_t comma = source.find(',');
    result_.source_key = source.substr(0, comma);
    if (comma != std::string::npos) {
      const std::size_t start = source.find_first_not_of(' ', comma + 1);
      if (start != std::string::npos) result_.source_where = source.substr(start);
    }
    if (result_.source_key == no_source) return check_no_source();
    if (!bibliography_ || bibliography_->contains(result_.source_key)) return;
    std::vector<std::string> known;
    for (const auto& work : *bibliography_) known.push_back(work.first);
    const std::string near = units::nearest(result_.source_key, known);
    reader_.error("source",
                  fmt::format("{} is not in the bibliography{}", quote(result_.source_key),
                              near.empty() ? "" : "; did you mean " + near + "?"));
  }

  void check_no_source() {
    const bool may = result_.grade == Grade::common_practice ||
                     result_.grade == Grade::assumption || result_.grade == Grade::from_memory;
    if (!may)
      reader_.error("source", fmt::format("the grade {} needs a source", word_of(result_.grade)));
    else if (result_.note.empty())
      reader_.error("source", "without a source, a note must say why this value");
  }

  void convert() {
    result_.model_value = none;
    result_.model_range = {none, none};
    if (result_.unit.empty() || !std::isfinite(result_.value) ||
        !std::isfinite(result_.range.low) || !std::isfinite(result_.range.high))
      return;
    try {
      const auto to_model = [&](double x) {
        return units::convert(x, result_.unit, result_.model_unit);
      };
      result_.model_value = to_model(result_.value);
      result_.model_range = {to_model(result_.range.low), to_model(result_.range.high)};
    } catch (const units::Error& error) {
      reader_.error("unit", error.what(), "the model keeps it in " + result_.model_unit);
    }
  }

  void check_range() {
    const Interval& range = result_.range;
    if (!std::isfinite(range.low) || !std::isfinite(range.high)) return;
    if (range.low > range.high)
      return reader_.error("range", "the range ends before it begins", "[low, high]");
    if (std::isfinite(result_.value) && !range.contains(result_.value))
      reader_.error("value", "the value lies outside its range",
                    fmt::format("between {} and {}", units::shortest(range.low),
                                units::shortest(range.high)));
    if (result_.distribution != Distribution::fixed && range.low == range.high)
      reader_.error("range", "the range is empty; only the distribution fixed may have that");
    if (result_.distribution == Distribution::lognormal && !(range.low > 0))
      reader_.error("range", "a lognormal distribution lies above zero");
  }

  Reader reader_;
  Problems& problems_;
  const Bibliography* bibliography_;
  ParameterEntry result_;
};

const ParameterDeclaration* find(const std::vector<ParameterDeclaration>& declared,
                                 std::string_view name) {
  for (const ParameterDeclaration& declaration : declared)
    if (declaration.name == name) return &declaration;
  return nullptr;
}

void report_undeclared(const Entry& entry, const std::vector<ParameterDeclaration>& declared,
                       Problems& problems) {
  std::vector<std::string> names;
  for (const ParameterDeclaration& declaration : declared) names.emplace_back(declaration.name);
  const std::string near = units::nearest(entry.key, names);
  problems.error(entry.origin, entry.key,
                 "the model has no parameter of this name" +
                     (near.empty() ? std::string() : "; did you mean " + near + "?"));
}

}  // namespace

std::string_view word_of(Distribution distribution) {
  return distribution_words[static_cast<std::size_t>(distribution)];
}

std::string_view word_of(Grade grade) { return grade_words[static_cast<std::size_t>(grade)]; }

const KeyTable& parameter_keys() {
  static const KeyTable table{
      "parameter",
      "A number of the model, with where it comes from and how well it is known.",
      {text("value", "the number, in the unit beside it").required(),
       text("unit", "the unit of value and range").required(),
       texts("range", "lowest and highest plausible value, in the same unit")
           .length(2, 2)
           .required(),
       word("distribution", list(distribution_words), "how it is drawn from the range").required(),
       text("source", "a key of the bibliography, optionally a comma and where in it").required(),
       word("grade", list(grade_words), "how well it is known").required(),
       text("note", "conditions, reasons, doubts")}};
  return table;
}

ParameterEntry read_parameter(const Entry& entry, const ParameterDeclaration& declaration,
                              const Bibliography* bibliography, Problems& problems) {
  return EntryReader(entry, declaration, bibliography, problems).read();
}

std::vector<ParameterEntry> read_parameter_file(const std::filesystem::path& path,
                                                const std::vector<ParameterDeclaration>& declared,
                                                const Bibliography* bibliography,
                                                Problems& problems) {
  std::vector<ParameterEntry> entries;
  const auto document = read_document(path, problems);
  if (!document) return entries;
  if (!document->root.is_map()) {
    problems.error(document->root.origin, {}, "a map from names to parameters is expected");
    return entries;
  }
  for (const Entry& entry : document->root.entries) {
    if (const ParameterDeclaration* declaration = find(declared, entry.key))
      entries.push_back(read_parameter(entry, *declaration, bibliography, problems));
    else
      report_undeclared(entry, declared, problems);
  }
  return entries;
}

std::vector<ParameterEntry> read_parameters(const std::filesystem::path& folder,
                                            const std::vector<ParameterDeclaration>& declared,
                                            const Bibliography* bibliography, Problems& problems) {
  std::map<std::string, ParameterEntry> found;
  const std::size_t errors_before = problems.errors();
  for (const std::string& name : file_names(folder)) {
    if (std::filesystem::path(name).extension() != ".yaml") continue;
    for (ParameterEntry& entry :
         read_parameter_file(folder / name, declared, bibliography, problems)) {
      const auto [place, fresh] = found.emplace(entry.name, entry);
      if (!fresh)
        problems.error(entry.origin, entry.name,
                       fmt::format("this parameter stands in two files; the other is {}:{}",
                                   place->second.origin.source->name, place->second.origin.line));
    }
  }
  std::vector<ParameterEntry> ordered;
  std::vector<std::string> missing;
  for (const ParameterDeclaration& declaration : declared) {
    const auto place = found.find(std::string(declaration.name));
    if (place == found.end())
      missing.emplace_back(declaration.name);
    else
      ordered.push_back(place->second);
  }
  // A file that could not be read makes its parameters look missing; its own fault is the news.
  if (!missing.empty() && problems.errors() == errors_before)
    problems.error({make_source(folder.string(), folder, {}), 0, 0}, {},
                   fmt::format("these parameters are in no file of this folder: {}",
                               fmt::join(missing, ", ")));
  return ordered;
}

}  // namespace serosa::files
