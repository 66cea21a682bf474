// SPDX-License-Identifier: Apache-2.0
#include "files/document.hpp"

#include <fmt/format.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <algorithm>
#include <array>
#include <set>
#include <sstream>
#include <utility>

namespace serosa::files {
namespace {

constexpr std::size_t most_keys = 10000;
constexpr std::size_t most_items = 100000;
constexpr std::size_t most_errors = 100;
constexpr const char* no_aliases =
    "anchors (&), aliases (*) and merge keys (<<) are not read; write the value out, or use "
    "based_on";

/// Thrown through the parser when reading on is of no use; the problems say why.
struct Stop {};

/// Makes a Node tree of the parser's events. Refusing here, on the way down, keeps the parser
/// from ever nesting deeper than the limit.
class TreeBuilder : public YAML::EventHandler {
 public:
  TreeBuilder(std::shared_ptr<const Source> source, Problems& problems, const Limits& limits)
      : source_(std::move(source)), problems_(problems), limits_(limits) {
    line_starts_.push_back(0);
    for (std::size_t i = 0; i < source_->text.size(); ++i)
      if (source_->text[i] == '\n') line_starts_.push_back(i + 1);
  }

  Node take_root() { return std::move(root_); }

  void OnDocumentStart(const YAML::Mark&) override {}
  void OnDocumentEnd() override {}
  void OnAnchor(const YAML::Mark&, const std::string&) override {}

  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    refuse_anchor(mark, anchor);
    if (awaits_key()) return bad_key(mark);
    Node node;
    node.origin = at(mark);
    place(std::move(node));
  }

  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    refuse(mark, no_aliases);
    if (awaits_key()) return begin_value({}, at(mark));
    place({});
  }

  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    refuse_anchor(mark, anchor);
    refuse_tag(mark, tag);
    refuse_open_quote(mark, tag);
    if (awaits_key()) return key(mark, value);
    Node node = Node::make_text(value, at(mark));
    node.in_quotes = tag != "?";
    place(std::move(node));
  }

  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    begin(mark, tag, anchor, Node::Shape::list);
  }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    begin(mark, tag, anchor, Node::Shape::map);
  }
  void OnSequenceEnd() override { end(); }
  void OnMapEnd() override { end(); }

 private:
  /// A map or list that is being read.
  struct Frame {
    Node node;
    std::set<std::string> keys;
    bool awaits_key = true;
    bool drop = false;  // the value of a duplicate or bad key
    std::string key;
    Origin key_origin;
  };

  Origin at(const YAML::Mark& mark) const {
    if (mark.is_null()) return {source_, 0, 0};
    return {source_, mark.line + 1, mark.column + 1};
  }

  void refuse(const YAML::Mark& mark, std::string message) {
    problems_.error(at(mark), {}, std::move(message));
    if (++errors_ >= most_errors) throw Stop{};
  }

  void refuse_anchor(const YAML::Mark& mark, YAML::anchor_t anchor) {
    if (anchor != 0) refuse(mark, no_aliases);
  }

  void refuse_tag(const YAML::Mark& mark, const std::string& tag) {
    if (tag != "?" && tag != "!" && !tag.empty())
      refuse(mark, fmt::format("the tag {} is not read; write the value alone", quote(tag)));
  }

  /// The parser takes a quote that is never closed as closed by the end of the file.
  void refuse_open_quote(const YAML::Mark& mark, const std::string& tag) {
    const auto line = static_cast<std::size_t>(mark.line);
    if (tag == "?" || mark.is_null() || line >= line_starts_.size()) return;
    const std::string& text = source_->text;
    std::size_t i = line_starts_[line] + static_cast<std::size_t>(mark.column);
    const char quote_sign = i < text.size() ? text[i] : '\0';
    if (quote_sign != '"' && quote_sign != '\'') return;
    for (++i; i < text.size(); ++i) {
      const bool escaped = (quote_sign == '"' && text[i] == '\\') ||
                           (quote_sign == '\'' && text.compare(i, 2, "''") == 0);
      if (escaped)
        ++i;
      else if (text[i] == quote_sign)
        return;
    }
    refuse(mark, "a quote begins here and is not closed");
    throw Stop{};
  }

  bool awaits_key() const {
    return !stack_.empty() && stack_.back().node.is_map() && stack_.back().awaits_key;
  }

  void bad_key(const YAML::Mark& mark) {
    refuse(mark, "a key is a single word or text, followed by a colon");
    begin_value({}, at(mark));
    stack_.back().drop = true;
  }

  void key(const YAML::Mark& mark, const std::string& name) {
    Frame& frame = stack_.back();
    const bool fresh = frame.keys.insert(name).second;
    if (frame.keys.size() > most_keys) {
      refuse(mark, fmt::format("this map has more than {} keys", most_keys));
      throw Stop{};
    }
    if (name.empty()) refuse(mark, "a key is empty");
    if (name == "<<") refuse(mark, no_aliases);
    if (!fresh) {
      const auto first = std::find_if(frame.node.entries.begin(), frame.node.entries.end(),
                                      [&](const Entry& entry) { return entry.key == name; });
      refuse(mark, fmt::format("the key {} stands here a second time{}", quote(name),
                               first == frame.node.entries.end()
                                   ? std::string()
                                   : fmt::format("; the first is in line {}", first->origin.line)));
    }
    begin_value(name, at(mark));
    frame.drop = !fresh || name.empty() || name == "<<";
  }

  void begin_value(std::string name, Origin origin) {
    Frame& frame = stack_.back();
    frame.key = std::move(name);
    frame.key_origin = std::move(origin);
    frame.awaits_key = false;
    frame.drop = frame.key.empty();
  }

  void begin(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
             Node::Shape shape) {
    refuse_anchor(mark, anchor);
    refuse_tag(mark, tag);
    if (awaits_key()) {
      refuse(mark, "a key is a single word or text, not a list or map; is a bracket not closed?");
      throw Stop{};
    }
    if (static_cast<int>(stack_.size()) >= limits_.depth) {
      refuse(mark, fmt::format("maps and lists are nested more than {} deep", limits_.depth));
      throw Stop{};
    }
    Frame frame;
    frame.node.shape = shape;
    frame.node.origin = at(mark);
    stack_.push_back(std::move(frame));
  }

  void end() {
    Node node = std::move(stack_.back().node);
    stack_.pop_back();
    place(std::move(node));
  }

  void place(Node node) {
    if (stack_.empty()) {
      root_ = std::move(node);
      return;
    }
    Frame& frame = stack_.back();
    if (frame.node.is_list()) {
      frame.node.items.push_back(std::move(node));
      if (frame.node.items.size() > most_items) {
        problems_.error(frame.node.origin, {},
                        fmt::format("this list has more than {} items", most_items));
        throw Stop{};
      }
      return;
    }
    // The parser places nothing behind the blank lines that follow it.
    if (node.is_nothing() || node.origin.line == 0) node.origin = frame.key_origin;
    if (!frame.drop) frame.node.entries.push_back({frame.key, frame.key_origin, std::move(node)});
    frame.awaits_key = true;
  }

  std::shared_ptr<const Source> source_;
  Problems& problems_;
  const Limits& limits_;
  std::vector<std::size_t> line_starts_;
  std::size_t errors_ = 0;
  std::vector<Frame> stack_;
  Node root_;
};

/// Counts brackets before the parser sees them, so that no amount of them can cost it its stack.
/// Brackets in texts and comments count too, hence the allowance; the exact limit is TreeBuilder's.
bool refuse_brackets(const std::shared_ptr<const Source>& source, Problems& problems,
                     const Limits& limits) {
  constexpr int allowance = 32;
  int open = 0;
  int line = 1;
  for (const char c : source->text) {
    if (c == '\n') ++line;
    if (c == '[' || c == '{') ++open;
    if ((c == ']' || c == '}') && open > 0) --open;
    if (open <= limits.depth + allowance) continue;
    problems.error({source, line, 1}, {},
                   fmt::format("maps and lists are nested more than {} deep", limits.depth));
    return true;
  }
  return false;
}

/// Whatever follows the first document.
class SecondDocument : public YAML::EventHandler {
 public:
  YAML::Mark mark = YAML::Mark::null_mark();
  void OnDocumentStart(const YAML::Mark& start) override {
    mark = start;
    throw Stop{};
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark&, YAML::anchor_t) override {}
  void OnAlias(const YAML::Mark&, YAML::anchor_t) override {}
  void OnScalar(const YAML::Mark&, const std::string&, YAML::anchor_t,
                const std::string&) override {}
  void OnSequenceStart(const YAML::Mark&, const std::string&, YAML::anchor_t,
                       YAML::EmitterStyle::value) override {}
  void OnSequenceEnd() override {}
  void OnMapStart(const YAML::Mark&, const std::string&, YAML::anchor_t,
                  YAML::EmitterStyle::value) override {}
  void OnMapEnd() override {}
};

/// The parser's words and what a person can do about it.
std::string syntax_message(const std::string& words, const Origin& origin) {
  const auto line = static_cast<std::size_t>(origin.line);
  if (line > 0 && line <= origin.source->lines.size()) {
    const std::string& text = origin.source->lines[line - 1];
    const std::size_t first = text.find_first_not_of(' ');
    if (first != std::string::npos && text[first] == '\t')
      return "this cannot be read as YAML: indent with blanks, not tabs";
  }
  static constexpr std::array<std::pair<std::string_view, std::string_view>, 8> advice = {{
      {"end of map not found", "check the indentation, and the blank after each colon"},
      {"end of sequence not found", "check the indentation of the list"},
      {"end of map flow", "a \"}\" or a comma is missing"},
      {"end of sequence flow", "a \"]\" or a comma is missing"},
      {"illegal map value", "a text with \": \" in it stands in quotes; check the indentation"},
      {"illegal EOF in scalar", "a quote is not closed"},
      {"anchor", no_aliases},
      {"alias", no_aliases},
  }};
  for (const auto& [pattern, remedy] : advice)
    if (words.find(pattern) != std::string::npos)
      return fmt::format("this cannot be read as YAML ({}): {}", words, remedy);
  return fmt::format("this cannot be read as YAML: {}", words);
}

Origin within(const std::shared_ptr<const Source>& source, const YAML::Mark& mark) {
  if (mark.is_null() || source->lines.empty()) return {source, 0, 0};
  const int lines = static_cast<int>(source->lines.size());
  if (mark.line < lines) return {source, mark.line + 1, mark.column + 1};
  // The end of the file: point behind the last line.
  return {source, lines, static_cast<int>(source->lines.back().size()) + 1};
}

bool refuse_second_document(YAML::Parser& parser, const std::shared_ptr<const Source>& source,
                            Problems& problems) {
  SecondDocument second;
  try {
    if (!parser.HandleNextDocument(second)) return false;
  } catch (const Stop&) {
  }
  const Origin origin = within(source, second.mark);
  const bool marked = origin.line > 0 &&
                      source->lines[static_cast<std::size_t>(origin.line - 1)].rfind("---", 0) == 0;
  problems.error(origin, {},
                 marked ? "a second document begins here; one file holds one document"
                        : "this does not belong to what stands above it; check the indentation, "
                          "quotes and brackets");
  return true;
}

}  // namespace

const Node* Node::find(std::string_view key) const {
  for (const Entry& entry : entries)
    if (entry.key == key) return &entry.value;
  return nullptr;
}

Node* Node::find(std::string_view key) { return const_cast<Node*>(std::as_const(*this).find(key)); }

std::string_view Node::shape_name() const {
  switch (shape) {
    case Shape::text:
      return "text";
    case Shape::list:
      return "a list";
    case Shape::map:
      return "a map";
    case Shape::nothing:
      break;
  }
  return "nothing";
}

Node Node::make_text(std::string text, Origin origin) {
  Node node;
  node.shape = Shape::text;
  node.text = std::move(text);
  node.origin = std::move(origin);
  return node;
}

Node Node::make_map(Origin origin) {
  Node node;
  node.shape = Shape::map;
  node.origin = std::move(origin);
  return node;
}

std::optional<Node> parse_document(std::shared_ptr<const Source> source, Problems& problems,
                                   const Limits& limits) {
  const std::size_t errors_before = problems.errors();
  if (refuse_brackets(source, problems, limits)) return std::nullopt;
  TreeBuilder builder(source, problems, limits);
  try {
    std::istringstream stream(source->text);
    YAML::Parser parser(stream);
    if (!parser.HandleNextDocument(builder)) {
      problems.error({source, 0, 0}, {}, "there is nothing in this file");
      return std::nullopt;
    }
    if (refuse_second_document(parser, source, problems)) return std::nullopt;
  } catch (const Stop&) {
    return std::nullopt;
  } catch (const YAML::Exception& fault) {
    const Origin origin = within(source, fault.mark);
    problems.error(origin, {}, syntax_message(fault.msg, origin));
    return std::nullopt;
  }
  if (problems.errors() != errors_before) return std::nullopt;
  Node root = builder.take_root();
  if (root.is_nothing()) {
    problems.error({source, 0, 0}, {}, "there is nothing in this file");
    return std::nullopt;
  }
  return root;
}

std::optional<Document> read_document(const std::filesystem::path& path, Problems& problems,
                                      const Limits& limits) {
  const auto source = read_source(path, problems, limits);
  if (!source) return std::nullopt;
  auto root = parse_document(source, problems, limits);
  if (!root) return std::nullopt;
  return Document{std::move(*root), {source}};
}

}  // namespace serosa::files
