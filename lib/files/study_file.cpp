// SPDX-License-Identifier: Apache-2.0
#include "files/study_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numeric>
#include <optional>

#include "files/key_values.hpp"
#include "files/paths.hpp"
#include "files/sha256.hpp"
#include "files/study_reading.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

namespace {

/// Room for endings and a mark in the 255 bytes that a file's name may have.
constexpr std::size_t longest_arm_name = 200;

/// Reads one study.
class StudyReader {
 public:
  StudyReader(const fs::path& path, const Models& models, Problems& problems)
      : all_{path, models, problems, {}, {}} {}

  StudyFile read(std::optional<Document> document) {
    StudyFile f;
    f.study.name = all_.path.stem().string();
    if (!document) return f;
    f.sources = document->sources;
    Reader r(document->root, study_keys(), all_.problems);
    study::Study& s = f.study;
    s.title = r.text("title");
    s.note = r.text("note");
    read_times(r, s);
    read_arms(r, f);
    if (!all_.problems.refused()) read_inputs(all_, r, f);
    auto sensitivity = r.maybe_map("sensitivity");
    Reader design = r.map("design");
    if (sensitivity)
      read_seed(design, s);
    else
      read_design(design, s);
    read_outputs(r, s);
    if (sensitivity && !all_.problems.refused())
      f.sensitivity =
          read_sensitivity(*sensitivity, design, s.design.kind, all_.models, all_.correlated, s);
    if (all_.problems.refused()) return f;
    r.finish();
    if (s.inputs.empty() && s.runs() > 1)
      r.warn("", "nothing varies in this study: all its runs are alike");
    bind_inputs(all_, r, f);
    if (all_.problems.refused()) return f;
    understand(document->root, f);
    return f;
  }

 private:
  // ---- Arms --------------------------------------------------------------------------------

  void read_times(Reader& r, study::Study& s) {
    s.times = r.quantities("times");
    if (all_.problems.refused()) return;
    std::sort(s.times.begin(), s.times.end());
    s.times.erase(std::unique(s.times.begin(), s.times.end()), s.times.end());
    if (s.times.back() <= 0) r.error("times", "the last time must lie after the birth");
  }

  fs::path case_path(const std::string& name, const Origin& origin, const std::string& key_path) {
    if (const auto beside = file_beside(name, origin, key_path, all_.problems)) return *beside;
    const std::string stem =
        fs::path(name).extension() == ".yaml" ? fs::path(name).stem().string() : name;
    return find_data_file(all_.models.folder, "cases", stem, origin, key_path, all_.problems)
        .value_or(fs::path());
  }

  void read_arm(const std::string& name, const std::string& file, const Origin& origin,
                const std::string& key_path, const Node* changes, StudyFile& f) {
    if (all_.problems.refused()) return;
    const fs::path path = case_path(file, origin, key_path);
    if (path.empty()) return;
    auto document = read_based_document(path, all_.models.folder, all_.problems);
    if (!document) return;
    for (const auto& source : document->sources) add_source(f, source);
    if (changes && !changes->is_map())
      return all_.problems.error(changes->origin, joined(key_path, "set"), "a map is expected",
                                 "timeline.wrap.at: 20 min");
    if (changes)
      for (const Entry& change : changes->entries) {
        if (!change.value.is_text()) {
          all_.problems.error(change.value.origin, change.key, "a single value is expected");
          continue;
        }
        std::vector<std::shared_ptr<const Source>> protocols;
        change_case(document->root, change.key + "=" + change.value.text, all_.models,
                    all_.problems, protocols);
        for (const auto& source : protocols) add_source(f, source);
        // A file beside the study is meant, as everywhere in it.
        if (Node* named = document->root.find("protocol"); named && change.key == "protocol")
          named->origin = change.value.origin;
      }
    const auto& times = f.study.times;
    set_value(document->root, "until=" + units::from_model(times.back(), "h"), all_.problems);
    std::string list;
    for (const double t : times) list += (list.empty() ? "" : ", ") + units::from_model(t, "h");
    set_value(document->root, "report_at=[" + list + "]", all_.problems);
    if (all_.problems.refused()) return;
    CaseFile c = read_case(std::move(document->root), name, all_.models, all_.problems);
    if (all_.problems.refused()) return;
    all_.arms.push_back({std::move(c.understood), origin});
    std::string title = c.c.title;
    if (changes)
      for (const Entry& change : changes->entries)
        title += (&change == &changes->entries.front() ? "; " : ", ") + change.key + " " +
                 change.value.text;
    f.study.arms.push_back({name, title, {}});
  }

  void read_arms(Reader& r, StudyFile& f) {
    const std::string single = r.text("case");
    auto arms = r.entries("arms");
    if (all_.problems.refused()) return;
    if (single.empty() == arms.empty())
      return r.error(single.empty() ? "" : "case", "a study names one `case`, or several `arms`",
                     "case: exposed.yaml");
    if (!single.empty())
      return read_arm(fs::path(single).stem().string(), single, r.origin("case"), "case", nullptr,
                      f);
    for (auto& [name, arm] : arms) {
      if (name.find_first_of("/\\\n\t\",;=") != std::string::npos || name.starts_with('.')) {
        arm.error("", "an arm's name becomes a file's: letters, digits, blanks and - only");
        continue;
      }
      if (name.size() > longest_arm_name) {
        arm.error("", fmt::format("an arm's name is longer than {} bytes", longest_arm_name));
        continue;
      }
      const std::string file = arm.text("case");
      const Node* const changes = arm.anything("set");
      arm.finish();
      read_arm(name, file, arm.origin("case"), joined("arms", name), changes, f);
    }
  }

  // ---- Design, outputs ---------------------------------------------------------------------

  /// Kind and seed; how many runs there are follows from something else.
  void read_seed(Reader& d, study::Study& s) {
    static constexpr study::DesignKind kinds[] = {
        study::DesignKind::random, study::DesignKind::latin_hypercube, study::DesignKind::sobol,
        study::DesignKind::full_grid};
    s.design.kind = kinds[d.which("kind")];
    s.design.seed = static_cast<std::uint64_t>(d.count("seed"));
    for (const auto& input : s.inputs) s.design.names.push_back(input.path);
  }

  void read_design(Reader& d, study::Study& s) {
    read_seed(d, s);
    const bool given = d.given("runs");
    const long runs = given ? d.count("runs") : 0;
    if (all_.problems.refused()) return;
    if (s.design.kind == study::DesignKind::full_grid) {
      full_grid(d, s);
      if (!all_.problems.refused() && given && s.design.runs != static_cast<std::uint64_t>(runs))
        d.error("runs",
                fmt::format("this full grid has {} combinations; leave `runs` out", s.design.runs));
      return;
    }
    if (!given) return d.error("runs", "the number of runs is missing", "runs: 1000");
    s.design.runs = static_cast<std::uint64_t>(runs);
    if (s.design.kind == study::DesignKind::sobol && s.inputs.size() > study::most_sobol_inputs)
      d.error("kind",
              fmt::format("a Sobol' sequence takes at most {} inputs", study::most_sobol_inputs));
  }

  void full_grid(Reader& d, study::Study& s) {
    double runs = 1;
    for (const auto& input : s.inputs) {
      if (input.law.level_count() == 0)
        return d.error("kind",
                       "a full grid needs lists or grids; " + quote(input.path) + " has a law");
      s.design.levels.push_back(input.law.level_count());
      runs *= static_cast<double>(input.law.level_count());
    }
    if (!s.copula.empty()) return d.error("kind", "a full grid takes no correlations");
    if (runs > 1e9)
      return d.error("kind",
                     fmt::format("this full grid has {:.3g} combinations: at most 1e9", runs));
    s.design.runs = static_cast<std::uint64_t>(runs);
  }

  static simulate::output::Index output_of(const std::string& name) {
    std::size_t i = 0;
    while (i + 1 < simulate::output::count && simulate::output_list[i].name != name) ++i;
    return static_cast<simulate::output::Index>(i);
  }

  std::vector<simulate::output::Index> outputs_of(const std::vector<std::string>& names) {
    std::vector<simulate::output::Index> outputs;
    for (const auto& name : names) {
      const auto output = output_of(name);
      if (std::find(outputs.begin(), outputs.end(), output) == outputs.end())
        outputs.push_back(output);
    }
    return outputs;
  }

  static void in_order(std::vector<double>& quantiles) {
    std::sort(quantiles.begin(), quantiles.end());
    quantiles.erase(std::unique(quantiles.begin(), quantiles.end()), quantiles.end());
  }

  void read_outputs(Reader& r, study::Study& s) {
    s.outputs = outputs_of(r.words("outputs"));
    s.quantiles = r.quantities("quantiles");
    in_order(s.quantiles);
    s.confidence = r.quantity("confidence");
    s.exclude_failed = r.word("failed_runs") == "exclude";
    for (auto& entry : r.entries("bands")) {
      auto& band = entry.second;  // clang 14 cannot capture a structured binding
      study::Band b{entry.first, output_of(band.word("output")),
                    -std::numeric_limits<double>::infinity(),
                    std::numeric_limits<double>::infinity()};
      const std::string unit(simulate::output_list[b.output].unit);
      const auto end = [&](const char* key, double& value) {
        if (!band.given(key)) return;
        try {
          value = units::to_model(band.text(key), unit);
        } catch (const units::Error& error) {
          band.error(key, error.what(), error.expected());
        }
      };
      end("above", b.low);
      end("below", b.high);
      if (!(b.low < b.high)) band.error("", "the band is empty");
      if (std::find(s.outputs.begin(), s.outputs.end(), b.output) == s.outputs.end())
        band.error("output", "the study does not keep this output; add it to `outputs`");
      s.bands.push_back(b);
    }
    if (auto series = r.maybe_map("series")) {
      const double every = series->quantity("every");
      s.series_outputs =
          series->given("outputs") ? outputs_of(series->words("outputs")) : s.outputs;
      s.series_quantiles = series->quantities("quantiles");
      in_order(s.series_quantiles);
      s.series_of_all_runs = series->flag("all_runs");
      if (all_.problems.refused()) return;
      s.series_times = simulate::grid(0, s.times.back(), every);
      if (s.series_times.size() > 5000) series->error("every", "at most 5000 times");
    }
  }

  void understand(const Node& root, StudyFile& f) {
    f.understood = with_defaults(root, study_keys());
    std::erase_if(f.understood.entries, [](const Entry& e) { return e.key == "case"; });
    Node arms = Node::make_map();
    for (const auto& arm : f.study.arms) {
      Node one = Node::make_map();
      one.entries.push_back({"case", {}, Node::make_text("cases/" + arm.name + ".yaml")});
      arms.entries.push_back({arm.name, {}, std::move(one)});
    }
    if (Node* there = f.understood.find("arms"))
      *there = std::move(arms);
    else
      f.understood.entries.push_back({"arms", {}, std::move(arms)});
    point_to_tables(root, f);
  }

  /// A table is found where the batch keeps its copy of it.
  void point_to_tables(const Node& root, StudyFile& f) {
    const Node* const theirs = root.find("vary");
    Node* const ours = f.understood.find("vary");
    if (!ours || !ours->is_map()) return;
    for (Entry& input : ours->entries)
      if (Node* const file = input.value.is_map() ? input.value.find("file") : nullptr) {
        const fs::path path = all_.path.parent_path() / theirs->find(input.key)->find("file")->text;
        for (const auto& table : f.tables)
          if (!table.name.empty() && table.source->path == path)
            *file = Node::make_text(table.name);
      }
  }

  StudyReading all_;
};

}  // namespace

void add_source(StudyFile& f, const std::shared_ptr<const Source>& source) {
  for (const auto& known : f.sources)
    if (known->path == source->path) return;
  f.sources.push_back(source);
}

StudyFile read_study(const fs::path& path, const Models& models, Problems& problems) {
  return StudyReader(path, models, problems).read(read_document(path, problems));
}

StudyFile read_study(Document document, const fs::path& path, const Models& models,
                     Problems& problems) {
  return StudyReader(path, models, problems).read(std::move(document));
}

Node case_of_run(const StudyFile& file, std::size_t arm, const std::vector<double>& values,
                 std::uint64_t run) {
  Node root = file.arms.at(arm);
  Problems problems;
  set_value(root, "chart_errors.seed=" + std::to_string(file.study.design.seed), problems);
  set_value(root, "chart_errors.run=" + std::to_string(run), problems);
  for (std::size_t j = 0; j < values.size(); ++j) {
    const auto& input = file.study.inputs[j];
    if (!input.parameter && !place_in_case(root, input.path).key) continue;
    const std::string value = input.is_number() ? units::from_model(values[j], input.unit)
                                                : input.words[static_cast<std::size_t>(values[j])];
    set_value(root, input.path + "=" + value, problems);
  }
  problems.refuse_if_any();
  return root;
}

std::string fingerprint(const StudyFile& file, const std::string& build) {
  Sha256 hash;
  hash.add(build + "\n");
  hash.add(write_document(file.understood));
  for (const Node& arm : file.arms) hash.add(write_document(arm));
  for (const auto& table : file.tables) hash.add(table.source->text);
  for (const auto& input : file.study.inputs) {
    hash.add(input.path + "\n" + input.law_text + "\n");
    for (int i = 1; i < 16; ++i) {
      const double x = input.law.quantile(i / 16.0);
      hash.add({reinterpret_cast<const char*>(&x), sizeof x});
    }
  }
  hash.add(file.parameters_text);
  return hash.digest();
}

std::vector<std::string> cohort_names(const fs::path& models) {
  std::vector<std::string> names;
  for (const auto& file : file_names(models / "cohorts"))
    if (fs::path(file).extension() == ".yaml") names.push_back(fs::path(file).stem().string());
  return names;
}

}  // namespace serosa::files