// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>

#include "files/document.hpp"
#include "files/paths.hpp"
#include "units/nearest.hpp"

namespace serosa::files {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view based_on_key = "based_on";
constexpr std::string_view remove_word = "remove";

bool says_remove(const Node& node) {
  return node.is_text() && !node.in_quotes && node.text == remove_word;
}

std::vector<std::string> names_of(const Node& map) {
  std::vector<std::string> names;
  for (const Entry& entry : map.entries) names.push_back(entry.key);
  return names;
}

void remove_entry(Node& base, const Entry& change, Problems& problems, const std::string& path) {
  const auto found = std::find_if(base.entries.begin(), base.entries.end(),
                                  [&](const Entry& entry) { return entry.key == change.key; });
  if (found != base.entries.end()) {
    base.entries.erase(found);
    return;
  }
  const std::string near = units::nearest(change.key, names_of(base));
  problems.error(change.value.origin, path,
                 "there is no inherited entry of this name to remove" +
                     (near.empty() ? std::string() : "; did you mean " + near + "?"));
}

/// Reads a file and, first, what it is based on.
class ChainReader {
 public:
  ChainReader(const fs::path& models, Problems& problems, const Limits& limits)
      : models_(models), problems_(problems), limits_(limits) {}

  std::optional<Node> read(const fs::path& path, const Origin& asked_from) {
    const auto source = read_source(path, problems_, limits_, asked_from);
    return source ? read(source, path) : std::nullopt;
  }

  std::optional<Node> read(const std::shared_ptr<const Source>& source, const fs::path& path) {
    sources.push_back(source);
    auto own = parse_document(source, problems_, limits_);
    if (!own) return std::nullopt;
    if (!own->is_map()) return own;
    Node base = Node::make_map(own->origin);
    const Node* named = own->find(based_on_key);
    if (named) {
      std::error_code ignored;
      chain_.push_back({path.filename().string(), fs::weakly_canonical(path, ignored)});
      auto inherited = read_base(*named, path);
      chain_.pop_back();
      if (!inherited) return std::nullopt;
      base = std::move(*inherited);
      base.origin = own->origin;
      own->entries.erase(
          std::find_if(own->entries.begin(), own->entries.end(),
                       [](const Entry& entry) { return entry.key == based_on_key; }));
    }
    merge(base, *own, problems_);
    return base;
  }

  std::vector<std::shared_ptr<const Source>> sources;

 private:
  struct Link {
    std::string name;
    fs::path path;
  };

  void refuse(const Node& named, const std::string& message) {
    problems_.error(named.origin, std::string(based_on_key), message,
                    "a file in the same folder, or in the folder of the models");
  }

  std::optional<Node> read_base(const Node& named, const fs::path& from) {
    if (!named.is_text() || named.text.empty()) {
      refuse(named, "the name of one file is expected");
      return std::nullopt;
    }
    const auto path = resolve(named, from);
    if (!path) return std::nullopt;
    std::error_code ignored;
    const fs::path real = fs::weakly_canonical(*path, ignored);
    const auto again = std::find_if(chain_.begin(), chain_.end(),
                                    [&](const Link& link) { return link.path == real; });
    if (again != chain_.end()) {
      refuse(named,
             fmt::format("the files are based on each other in a circle: {}", circle(again, real)));
      return std::nullopt;
    }
    if (static_cast<int>(chain_.size()) > limits_.bases) {
      refuse(named, fmt::format("more than {} files are based on each other", limits_.bases));
      return std::nullopt;
    }
    auto base = read(*path, named.origin);
    if (base && !base->is_map()) {
      refuse(named, fmt::format("{} holds {}, not a map", quote(named.text), base->shape_name()));
      return std::nullopt;
    }
    return base;
  }

  std::string circle(std::vector<Link>::const_iterator first, const fs::path& last) const {
    std::string text;
    for (auto link = first; link != chain_.end(); ++link) text += link->name + " → ";
    return text + last.filename().string();
  }

  /// The first place where the file stands and may be read.
  std::optional<fs::path> resolve(const Node& named, const fs::path& from) {
    const fs::path own_folder = from.has_parent_path() ? from.parent_path() : fs::path(".");
    std::error_code ignored;
    std::vector<fs::path> roots = {fs::weakly_canonical(own_folder, ignored)};
    std::vector<fs::path> candidates = {from.has_parent_path() ? own_folder / named.text
                                                               : fs::path(named.text)};
    if (!models_.empty()) {
      roots.push_back(fs::weakly_canonical(models_, ignored));
      candidates.push_back(models_ / named.text);
    }
    bool outside = false;
    for (const fs::path& candidate : candidates) {
      std::error_code fault;
      const fs::path real = fs::canonical(candidate, fault);
      if (fault) continue;
      if (std::any_of(roots.begin(), roots.end(),
                      [&](const fs::path& root) { return is_inside(real, root); }))
        return candidate.lexically_normal();
      outside = true;
    }
    if (outside) {
      refuse(named, fmt::format("{} lies outside the folder of this file and of the models; copy "
                                "it beside this file",
                                quote(named.text)));
      return std::nullopt;
    }
    if (candidates.size() > 1 && named.text.find("..") == std::string::npos)
      refuse(named, fmt::format("there is no file {} beside this file or in the folder of the "
                                "models{}",
                                quote(named.text), near_name(candidates)));
    else
      refuse(named, fmt::format("there is no file {}{}", quote(named.text), near_name(candidates)));
    return std::nullopt;
  }

  static std::string near_name(const std::vector<fs::path>& candidates) {
    for (const fs::path& candidate : candidates) {
      const std::string near =
          units::nearest(candidate.filename().string(), file_names(candidate.parent_path()));
      if (!near.empty()) return "; did you mean " + near + "?";
    }
    return {};
  }

  const fs::path& models_;
  Problems& problems_;
  const Limits& limits_;
  std::vector<Link> chain_;
};

/// `a.b.c` as one map inside the other; nothing when a part is empty or there are too many.
std::optional<std::vector<std::string>> path_parts(std::string_view path, int most) {
  std::vector<std::string> parts;
  while (true) {
    const std::size_t dot = path.find('.');
    parts.emplace_back(path.substr(0, dot));
    if (parts.back().empty() || static_cast<int>(parts.size()) > most) return std::nullopt;
    if (dot == std::string_view::npos) return parts;
    path.remove_prefix(dot + 1);
  }
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

}  // namespace

void merge(Node& base, const Node& changes, Problems& problems, const std::string& path) {
  for (const Entry& change : changes.entries) {
    const std::string here = joined(path, change.key);
    if (says_remove(change.value)) {
      remove_entry(base, change, problems, here);
      continue;
    }
    Node* existing = base.find(change.key);
    Node value = change.value;
    if (value.is_map()) {
      // Also a new map is merged, so that a `remove` without effect is noticed inside it.
      Node into = existing && existing->is_map() ? *existing : Node::make_map();
      into.origin = value.origin;
      merge(into, value, problems, here);
      value = std::move(into);
    }
    if (!existing) {
      base.entries.push_back({change.key, change.origin, std::move(value)});
      continue;
    }
    *existing = std::move(value);
    for (Entry& entry : base.entries)
      if (entry.key == change.key) entry.origin = change.origin;
  }
}

std::optional<Document> read_based_document(const fs::path& path, const fs::path& models,
                                            Problems& problems, const Limits& limits) {
  const std::size_t errors_before = problems.errors();
  ChainReader reader(models, problems, limits);
  auto root = reader.read(path, {});
  if (!root || problems.errors() != errors_before) return std::nullopt;
  return Document{std::move(*root), std::move(reader.sources)};
}

std::optional<Document> read_based_document(std::shared_ptr<const Source> source,
                                            const fs::path& models, Problems& problems,
                                            const Limits& limits) {
  const std::size_t errors_before = problems.errors();
  ChainReader reader(models, problems, limits);
  if (source->text.size() > limits.bytes) {
    problems.error({source, 0, 0}, {}, "the text is too long");
    return std::nullopt;
  }
  if (!check_text(source, problems)) return std::nullopt;
  auto root = reader.read(source, source->path);
  if (!root || problems.errors() != errors_before) return std::nullopt;
  return Document{std::move(*root), std::move(reader.sources)};
}

bool set_value(Node& root, std::string_view assignment, Problems& problems) {
  constexpr std::string_view option = "--set ";
  const Limits limits;
  auto source = std::make_shared<Source>(*make_source("--set", {}, std::string(assignment)));
  source->command_line = true;
  source->lines = {std::string(option) + std::string(assignment)};
  const auto refuse = [&](std::size_t offset, const std::string& path, const std::string& message) {
    problems.error({source, 1, static_cast<int>(option.size() + offset) + 1}, path, message,
                   "path=value, such as room.air=26 degC");
    return false;
  };
  const std::size_t errors_before = problems.errors();
  if (assignment.size() > limits.bytes || !check_text(source, problems) ||
      assignment.find('\n') != std::string_view::npos)
    return problems.errors() != errors_before ? false
                                              : refuse(0, {}, "this is not one line of text");
  const std::size_t equals = assignment.find('=');
  if (equals == std::string_view::npos) return refuse(0, {}, "there is no \"=\" in it");
  const std::string path(trimmed(assignment.substr(0, equals)));
  const auto parts = path_parts(path, limits.depth - 1);
  if (!parts) return refuse(0, {}, "the path has an empty part, or too many parts");
  const std::string_view raw = assignment.substr(equals + 1);
  const std::string_view value = trimmed(raw);
  const std::size_t offset = equals + 1 + std::min(raw.find_first_not_of(' '), raw.size());
  if (value.empty()) return refuse(equals + 1, path, "there is no value after the \"=\"");

  const Origin value_origin{source, 1, static_cast<int>(option.size() + offset) + 1};
  Node change = Node::make_text(std::string(value), value_origin);
  if (value.front() == '[' || value.front() == '{') {
    // Blanks in front keep the columns those of the command line.
    auto padded = std::make_shared<Source>(*source);
    padded->text = std::string(option.size() + offset, ' ') + std::string(value);
    auto parsed = parse_document(padded, problems, limits);
    if (!parsed) return false;
    change = std::move(*parsed);
  }
  const Node* inside = &root;
  for (std::size_t i = 0; i < parts->size() && inside; ++i) {
    if (inside->is_list())
      return refuse(0, path, "this leads into a list; give the whole list, such as path=[1, 2]");
    inside = inside->find((*parts)[i]);
  }
  for (std::size_t i = parts->size(); i-- > 0;) {
    const Origin key_origin{source, 1, static_cast<int>(option.size()) + 1};
    Node outer = Node::make_map(value_origin);
    outer.entries.push_back({(*parts)[i], key_origin, std::move(change)});
    change = std::move(outer);
  }
  merge(root, change, problems);
  return problems.errors() == errors_before;
}

std::optional<fs::path> find_data_file(const fs::path& models, std::string_view folder,
                                       std::string_view name, const Origin& asked_from,
                                       const std::string& key_path, Problems& problems) {
  constexpr std::string_view allowed =
      "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.";
  const fs::path place = models / folder;
  const bool plain = !name.empty() && name.front() != '.' &&
                     name.find_first_not_of(allowed) == std::string_view::npos;
  std::error_code ignored;
  if (plain) {
    const fs::path path = place / (std::string(name) + ".yaml");
    if (fs::is_regular_file(path, ignored)) return path;
  }
  std::vector<std::string> names;
  for (const std::string& file : file_names(place))
    if (fs::path(file).extension() == ".yaml") names.push_back(fs::path(file).stem().string());
  const std::string near = units::nearest(name, names);
  problems.error(asked_from, key_path,
                 fmt::format("there is no {} among the {}{}", quote(name), folder,
                             near.empty() ? "" : "; did you mean " + near + "?"),
                 names.empty() ? std::string() : fmt::format("one of {}", fmt::join(names, ", ")));
  return std::nullopt;
}

}  // namespace serosa::files
