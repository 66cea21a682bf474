// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "files/key_values.hpp"
#include "files/paths.hpp"
#include "files/study_reading.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

study::Law published_law(const ParameterEntry& p) {
  using study::Law;
  const double low = p.model_range.low, high = p.model_range.high, width = high - low;
  constexpr double two_sided = 2 * 1.9599639845400545;  // 95 % of a normal law
  switch (p.distribution) {
    case Distribution::uniform:
      return Law::uniform(low, high);
    case Distribution::triangular:
      return Law::triangular(low, p.model_value, high);
    case Distribution::normal:
      return Law::normal(0.5 * (low + high), width / two_sided, low - 0.5 * width,
                         high + 0.5 * width);
    case Distribution::lognormal:
      return Law::lognormal(physics::sqrt(low * high), physics::pow(high / low, 1 / two_sided),
                            std::max(0.0, low - 0.5 * width), high + 0.5 * width);
    case Distribution::fixed:
      break;
  }
  throw std::invalid_argument("this parameter is fixed and never drawn");
}

void publish(study::Input& input, const ParameterEntry& p) {
  input.law = published_law(p);
  input.law_text = fmt::format("{}, {} to {} (published)", word_of(p.distribution),
                               units::shortest(p.model_range.low),
                               units::from_model(p.model_range.high, p.model_unit));
  input.source = p.source_key + ", " + std::string(word_of(p.grade));
}

namespace {

/// The values of a column of a CSV file: headings in the first row, plain cells.
std::vector<double> column_of(const Source& table, const std::string& name, Reader& r) {
  const auto cells_of = [](const std::string& line) {
    std::vector<std::string> cells(1);
    bool quoted = false;
    for (const char c : line) {
      if (c == '"')
        quoted = !quoted;
      else if (c == ',' && !quoted)
        cells.emplace_back();
      else if (c != '\r')
        cells.back() += c;
    }
    return cells;
  };
  std::vector<double> values;
  if (table.lines.empty()) return values;
  const auto heads = cells_of(table.lines.front());
  const auto head = std::find(heads.begin(), heads.end(), name);
  if (head == heads.end()) {
    r.error("column", "there is no such column", fmt::format("one of {}", fmt::join(heads, ", ")));
    return values;
  }
  const auto place = static_cast<std::size_t>(head - heads.begin());
  for (std::size_t i = 1; i < table.lines.size(); ++i) {
    if (table.lines[i].find_first_not_of(" \r,") == std::string::npos) continue;
    const auto cells = cells_of(table.lines[i]);
    try {
      values.push_back(units::to_number(place < cells.size() ? cells[place] : std::string()));
    } catch (const units::Error&) {
      r.problems().error({std::make_shared<const Source>(table), static_cast<int>(i + 1), 1}, {},
                         "there is no number in the column " + quote(name));
      break;
    }
  }
  if (values.empty() && !r.problems().refused()) r.error("column", "the column is empty");
  return values;
}

class LawReader {
 public:
  explicit LawReader(StudyReading& all) : all_(all) {}

  void read_words(const Entry& entry, const Key& key, study::Input& input) {
    if (key.kind != KeyKind::word && key.kind != KeyKind::count && key.kind != KeyKind::flag &&
        key.kind != KeyKind::file)
      return all_.problems.error(entry.origin, joined("vary", entry.key),
                                 "this can't vary from run to run");
    const auto v = listed(entry);
    if (!v)
      return all_.problems.error(entry.value.origin, joined("vary", entry.key),
                                 "this input takes words or whole numbers: give a list of them",
                                 "[a, b], or {law: list, values: [a, b], weights: [1, 2]}");
    if (v->texts.size() > 120)
      return all_.problems.error(entry.value.origin, joined("vary", entry.key),
                                 "at most 120 words");
    input.unit = "1";
    std::vector<double> numbers;
    for (const auto& [text, origin] : v->texts) {
      check_value(key, Node::make_text(text, origin), joined("vary", entry.key), all_.problems);
      if (key.kind == KeyKind::file)
        find_data_file(all_.models.folder, key.folder, text, origin, joined("vary", entry.key),
                       all_.problems);
      numbers.push_back(static_cast<double>(input.words.size()));
      input.words.push_back(text);
    }
    input.law_text = list_text(*v);
    note_source(entry, input);
    make_law(input, entry.value.origin, [&] { return study::Law::levels(numbers, v->weights); });
  }

  void read_number_law(const Entry& entry, const Key* key, const ParameterEntry* parameter,
                       study::Input& input, StudyFile& f) {
    const std::string here = joined("vary", entry.key);
    const auto number = [&](const std::string& text, const Origin& origin,
                            const std::string& unit) {
      try {
        return units::to_model(text, unit);
      } catch (const units::Error& error) {
        all_.problems.error(origin, here, error.what(), error.expected());
        return std::nan("");
      }
    };
    note_source(entry, input);
    if (const auto v = listed(entry)) {
      std::vector<double> numbers;
      for (const auto& [text, origin] : v->texts) {
        const double x = number(text, origin, input.unit);
        if (x < input.possible_low || x > input.possible_high)
          all_.problems.error(origin, here, quote(text) + " is not possible",
                              range_text({input.possible_low, input.possible_high}, input.unit));
        numbers.push_back(x);
      }
      input.law_text = list_text(*v);
      if (!all_.problems.refused())
        make_law(input, entry.value.origin,
                 [&] { return study::Law::levels(numbers, v->weights); });
      return;
    }
    const Node* const told = entry.value.is_map() ? entry.value.find("law") : nullptr;
    const bool published =
        entry.value.is_text() ? entry.value.text == "published" : told && told->text == "published";
    if (entry.value.is_text() && !published)
      return all_.problems.error(entry.value.origin, here, "a law or a list is expected",
                                 "published, [1 min, 3 min], or {law: uniform, from: …, to: …}");
    if (published) {
      if (parameter && parameter->distribution != Distribution::fixed)
        return publish(input, *parameter);
      if (parameter)
        return all_.problems.error(entry.origin, here, "this parameter is fixed and never drawn");
      if (!std::isfinite(key->published_range.low) || !std::isfinite(key->published_range.high))
        return all_.problems.error(entry.value.origin, here,
                                   "this input has no published range; give a law");
      input.law_text =
          "uniform over the published range, " + range_text(key->published_range, key->unit);
      input.source = key->published_source;
      return make_law(input, entry.value.origin, [&] {
        return study::Law::uniform(key->published_range.low, key->published_range.high);
      });
    }
    Reader r(entry.value, law_keys(), all_.problems, here);
    const std::string law = r.variant();
    if (law.empty()) return;  // reported
    const auto value = [&](const char* name) {
      return number(r.text(name), r.origin(name), input.unit);
    };
    const auto end = [&](const char* name, double otherwise) {
      return r.given(name) ? value(name) : otherwise;
    };
    const std::string spread_unit = input.unit == "degC" ? "K" : input.unit;
    input.law_text = law;
    for (const Entry& part : entry.value.entries)
      if (part.key != "law" && part.key != "source" && part.key != "note" && part.value.is_text())
        input.law_text += (part.key == entry.value.entries.front().key ? " " : ", ") + part.key +
                          " " + part.value.text;
    const double low = input.possible_low, high = input.possible_high;
    const auto make = [&](auto maker) {
      if (!all_.problems.refused()) make_law(input, entry.value.origin, maker);
    };
    using study::Law;
    if (law == "uniform") {
      const double a = value("from"), b = value("to");
      make([&] { return Law::uniform(a, b); });
    } else if (law == "normal") {
      const double mean = value("mean"), sd = number(r.text("sd"), r.origin("sd"), spread_unit);
      const double a = end("from", -std::numeric_limits<double>::infinity());
      const double b = end("to", std::numeric_limits<double>::infinity());
      make([&] { return Law::normal(mean, sd, a, b); });
    } else if (law == "lognormal") {
      const double median = value("median"), factor = r.quantity("factor");
      const double a = end("from", 0), b = end("to", std::numeric_limits<double>::infinity());
      make([&] { return Law::lognormal(median, factor, a, b); });
    } else if (law == "triangular") {
      const double a = value("from"), mode = value("mode"), b = value("to");
      make([&] { return Law::triangular(a, mode, b); });
    } else if (law == "beta") {
      const double p = r.quantity("a"), q = r.quantity("b"), a = value("from"), b = value("to");
      make([&] { return Law::beta(p, q, a, b); });
    } else if (law == "grid") {
      const double a = value("from"), b = value("to");
      const auto points = static_cast<std::size_t>(r.count("points"));
      const bool even = r.word("spacing") != "logarithmic";
      if (!even && !(a > 0 && b > 0))
        return r.error("spacing", "a logarithmic grid needs ends above zero");
      make([&] {
        std::vector<double> levels;
        for (std::size_t i = 0; i < points; ++i) {
          const double share = static_cast<double>(i) / static_cast<double>(points - 1);
          levels.push_back(
              i + 1 == points ? b
              : i == 0        ? a
              : even          ? a + share * (b - a)
                     : physics::exp(physics::log(a) + share * (physics::log(b) - physics::log(a))));
        }
        return Law::levels(levels);
      });
    } else if (law == "empirical") {
      auto values = measured(r, f);
      const std::string unit = unit_of_column(r, input.unit);
      if (all_.problems.refused()) return;
      try {
        for (double& x : values) x = units::convert(x, unit, input.unit);
      } catch (const units::Error& error) {
        return r.error("unit", error.what(), error.expected());
      }
      input.law_text += fmt::format(" ({} values)", values.size());
      make([&] { return Law::empirical(values); });
    }
    if (all_.problems.refused()) return;
    // Grids and lists are exact; a law's far ends may be cut by what is possible run by run.
    if (input.law.level_count() > 0 || law == "uniform" || law == "triangular" || law == "beta")
      if (input.law.lowest() < low || input.law.highest() > high)
        all_.problems.error(entry.value.origin, here, "the law reaches what is not possible",
                            range_text({low, high}, input.unit));
    const Interval known = parameter ? parameter->model_range : key->published_range;
    if (input.law.quantile(0.01) < known.low || input.law.quantile(0.99) > known.high)
      all_.problems.warn(entry.value.origin, here, "the law goes beyond the published range",
                         range_text(known, input.unit));
  }

 private:
  /// Texts of a list of values, with weights; nothing when it is something
  /// else.
  struct Values {
    std::vector<std::pair<std::string, Origin>> texts;
    std::vector<double> weights;
  };
  std::optional<Values> listed(const Entry& entry) {
    Values v;
    const auto take = [&](const Node& list) {
      for (const Node& item : list.items) {
        if (!item.is_text())
          all_.problems.error(item.origin, entry.key, "a single value is expected");
        v.texts.emplace_back(item.text, item.origin);
      }
    };
    if (entry.value.is_list()) {
      take(entry.value);
      return v;
    }
    const Node* const law = entry.value.find("law");
    if (!law || law->text != "list") return std::nullopt;
    Reader r(entry.value, law_keys(), all_.problems, joined("vary", entry.key));
    r.texts("values");
    if (const Node* list = entry.value.find("values"); list && list->is_list()) take(*list);
    v.weights = r.quantities("weights");
    return v;
  }

  static std::string list_text(const Values& v) {
    std::string text = "one of ";
    for (std::size_t i = 0; i < v.texts.size() && i < 12; ++i) {
      text += (i ? ", " : "") + v.texts[i].first;
      if (!v.weights.empty()) text += fmt::format(" (weight {})", units::shortest(v.weights[i]));
    }
    if (v.texts.size() > 12) text += fmt::format(" … {}", v.texts.back().first);
    return text;
  }

  template <class Make>
  void make_law(study::Input& input, const Origin& origin, Make make) {
    try {
      input.law = make();
    } catch (const std::invalid_argument& refusal) {
      all_.problems.error(origin, joined("vary", input.path), refusal.what());
    }
  }

  static void note_source(const Entry& entry, study::Input& input) {
    if (!entry.value.is_map()) return;
    if (const Node* source = entry.value.find("source")) input.source = source->text;
  }

  /// The unit of a column: told by the law, or by a heading such as `weight [g]`.
  static std::string unit_of_column(Reader& r, const std::string& otherwise) {
    if (r.given("unit")) return r.text("unit");
    const std::string heading = r.text("column");
    const auto open = heading.rfind('[');
    if (open != std::string::npos && heading.ends_with(']'))
      return heading.substr(open + 1, heading.size() - open - 2);
    if (otherwise != "1")
      r.error("column", "the unit of its numbers is missing; add `unit`",
              "a heading such as weight [g], or unit: g");
    return otherwise;
  }

  /// The values of a CSV file beside the file in which the law stands.
  std::vector<double> measured(Reader& r, StudyFile& f) {
    const std::string name = r.text("file");
    const fs::path relative(name);
    const Origin law = r.origin("file");
    const auto beside = file_beside(name, law, "file", all_.problems);
    if (beside && beside->empty()) return {};
    auto source = read_source(beside.value_or(law.source->path.parent_path() / relative),
                              all_.problems, {64u << 20}, law);
    if (!source) return {};
    const auto same = [&](const StudyFile::Table& table) {
      return table.source->path == source->path;
    };
    if (std::none_of(f.tables.begin(), f.tables.end(), same)) {
      const bool of_study = law.source->path == all_.path;
      f.tables.push_back({source, of_study ? place_of_table(relative, f) : std::string()});
      f.sources.push_back(source);
    }
    return column_of(*source, r.text("column"), r);
  }

  /// `tables/NAME` for a file of the study, each name once.
  static std::string place_of_table(const fs::path& relative, const StudyFile& f) {
    std::string name = relative.generic_string();
    std::replace(name.begin(), name.end(), '/', '-');
    const auto taken = [&](const StudyFile::Table& t) { return t.name == "tables/" + name; };
    while (std::any_of(f.tables.begin(), f.tables.end(), taken)) name = "more-" + name;
    return "tables/" + name;
  }

  StudyReading& all_;
};

}  // namespace

void read_number_law(StudyReading& all, const Entry& entry, const Key* key,
                     const ParameterEntry* parameter, study::Input& input, StudyFile& file) {
  LawReader(all).read_number_law(entry, key, parameter, input, file);
}

void read_words(StudyReading& all, const Entry& entry, const Key& key, study::Input& input) {
  LawReader(all).read_words(entry, key, input);
}

}  // namespace serosa::files
