// SPDX-License-Identifier: Apache-2.0
#include "files/bibliography.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <vector>

#include "units/nearest.hpp"

namespace serosa::files {
namespace {

const std::vector<std::string>& entry_types() {
  static const std::vector<std::string> types = {
      "article",       "book",        "booklet",       "inbook",     "incollection",
      "inproceedings", "manual",      "mastersthesis", "misc",       "online",
      "phdthesis",     "proceedings", "techreport",    "unpublished"};
  return types;
}

bool is_name_character(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' ||
         c == '-' || c == ':' || c == '.' || c == '+';
}

std::string lower(std::string text) {
  for (char& c : text)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return text;
}

/// Ends the reading of the file; the problems say why.
struct Stop {};

class Parser {
 public:
  Parser(std::shared_ptr<const Source> source, Problems& problems)
      : source_(std::move(source)), text_(source_->text), problems_(problems) {}

  Bibliography whole() {
    Bibliography works;
    while (true) {
      blanks_and_comments();
      if (at_ >= text_.size()) return works;
      if (text_[at_] != '@') fail("an entry begins with @, a comment line with %");
      Reference work = entry();
      const auto [place, fresh] = works.emplace(work.key, work);
      if (!fresh)
        problems_.error(work.origin, {},
                        fmt::format("the key {} stands here a second time; the first is in line {}",
                                    quote(work.key), place->second.origin.line));
    }
  }

 private:
  Origin here() const { return place(at_); }

  Origin place(std::size_t offset) const {
    offset = std::min(offset, text_.size());
    // Entries come in order, so counting goes on from the last place asked for.
    if (offset < counted_to_) {
      counted_to_ = 0;
      line_ = 1;
      line_start_ = 0;
    }
    for (; counted_to_ < offset; ++counted_to_)
      if (text_[counted_to_] == '\n') {
        ++line_;
        line_start_ = counted_to_ + 1;
      }
    return {source_, line_, static_cast<int>(offset - line_start_) + 1};
  }

  [[noreturn]] void fail(const std::string& message) {
    problems_.error(here(), {}, message);
    throw Stop{};
  }

  void blanks() {
    while (at_ < text_.size() && std::string_view(" \t\r\n").find(text_[at_]) != std::string::npos)
      ++at_;
  }

  void blanks_and_comments() {
    while (true) {
      blanks();
      if (at_ >= text_.size() || text_[at_] != '%') return;
      at_ = std::min(text_.find('\n', at_), text_.size());
    }
  }

  void take(char c, const std::string& message) {
    blanks();
    if (at_ >= text_.size() || text_[at_] != c) fail(message);
    ++at_;
  }

  std::string name(const std::string& message) {
    blanks();
    const std::size_t start = at_;
    while (at_ < text_.size() && is_name_character(text_[at_])) ++at_;
    if (at_ == start) fail(message);
    return std::string(text_.substr(start, at_ - start));
  }

  Reference entry() {
    Reference work;
    work.origin = here();
    ++at_;
    work.type = lower(name("the type of the entry is missing, such as @article"));
    const auto& types = entry_types();
    if (std::find(types.begin(), types.end(), work.type) == types.end()) {
      const std::string near = units::nearest(work.type, types);
      problems_.error(work.origin, {},
                      fmt::format("entries of the type @{} are not read{}", work.type,
                                  near.empty() ? "" : "; did you mean @" + near + "?"));
      throw Stop{};
    }
    take('{', "a \"{\" is missing behind the type");
    work.key = name("the key of the entry is missing");
    fields(work);
    check(work);
    return work;
  }

  void fields(Reference& work) {
    while (true) {
      blanks();
      if (at_ < text_.size() && text_[at_] == '}') break;
      take(',', fmt::format("a comma or the closing \"}}\" of the entry {} is missing", work.key));
      blanks();
      if (at_ < text_.size() && text_[at_] == '}') break;
      const Origin origin = here();
      const std::string field = lower(name("the name of a field is missing"));
      take('=', fmt::format("a \"=\" is missing behind {}", field));
      if (!work.fields.emplace(field, value()).second)
        problems_.error(origin, work.key, fmt::format("the field {} stands here twice", field));
    }
    ++at_;
  }

  std::string value() {
    blanks();
    if (at_ >= text_.size()) fail("the file ends in the middle of an entry");
    const char opening = text_[at_];
    if (opening != '{' && opening != '"') {
      const std::size_t start = at_;
      while (at_ < text_.size() && text_[at_] >= '0' && text_[at_] <= '9') ++at_;
      if (at_ == start) fail("a value stands in { } or is a whole number");
      return std::string(text_.substr(start, at_ - start));
    }
    const std::size_t start = at_++;
    int depth = 0;
    std::string raw;
    while (true) {
      if (at_ >= text_.size()) {
        at_ = start;
        fail("the value that begins here is not closed");
      }
      const char c = text_[at_];
      if (c == '\\') {
        raw += command();
        continue;
      }
      if (depth == 0 && c == (opening == '{' ? '}' : '"')) break;
      if (c == '{') ++depth;
      if (c == '}' && --depth < 0) fail("there is a \"}\" without \"{\"");
      if (c != '{' && c != '}') raw += c;
      ++at_;
    }
    ++at_;
    return tidy(raw);
  }

  char command() {
    const char c = at_ + 1 < text_.size() ? text_[at_ + 1] : '\0';
    if (c == '\0' || std::string_view("&%_$#").find(c) == std::string_view::npos)
      fail("TeX commands are not read; write the letter itself");
    at_ += 2;
    return c;
  }

  /// One blank between words, and a dash for `--`.
  static std::string tidy(const std::string& raw) {
    std::string result;
    for (const char c : raw) {
      const bool blank = c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '~';
      if (blank && (result.empty() || result.back() == ' ')) continue;
      result += blank ? ' ' : c;
    }
    while (!result.empty() && result.back() == ' ') result.pop_back();
    for (std::size_t at = 0; (at = result.find("--", at)) != std::string::npos;)
      result.replace(at, 2, "–");
    return result;
  }

  void check(const Reference& work) {
    const auto require = [&](std::initializer_list<const char*> any, const char* message) {
      const bool there = std::any_of(any.begin(), any.end(),
                                     [&](const char* f) { return !work.field(f).empty(); });
      if (!there) problems_.error(work.origin, work.key, message);
    };
    require({"title"}, "the field title is missing or empty");
    require({"author", "editor", "organization", "institution"},
            "the field author (or editor, organization, institution) is missing or empty");
    const std::string year = work.field("year");
    const bool digits = year.size() == 4 && std::all_of(year.begin(), year.end(), [](char c) {
                          return c >= '0' && c <= '9';
                        });
    if (!digits) problems_.error(work.origin, work.key, "the field year is missing or no year");
  }

  std::shared_ptr<const Source> source_;
  std::string_view text_;
  Problems& problems_;
  std::size_t at_ = 0;
  mutable std::size_t counted_to_ = 0;
  mutable int line_ = 1;
  mutable std::size_t line_start_ = 0;
};

std::vector<std::string> people(const std::string& field) {
  std::vector<std::string> names;
  std::size_t start = 0;
  constexpr std::string_view separator = " and ";
  while (true) {
    const std::size_t end = field.find(separator, start);
    names.push_back(field.substr(start, end - start));
    if (end == std::string::npos) return names;
    start = end + separator.size();
  }
}

/// Of `Lamke, L. O.` or `L. O. Lamke`: Lamke.
std::string family_name(const std::string& name) {
  if (const std::size_t comma = name.find(','); comma != std::string::npos)
    return name.substr(0, comma);
  const std::size_t blank = name.rfind(' ');
  return blank == std::string::npos ? name : name.substr(blank + 1);
}

/// How the bibliography says that a work's authors are not known.
constexpr const char* unnamed = "(not stated)";

/// The year, or that it is not known; the bibliography then says so where the work appeared, and
/// its year is that of consultation.
std::string year_of(const Reference& work) {
  for (const char* name : {"howpublished", "booktitle"})
    if (const std::string where = work.field(name);
        where.ends_with("not known") && where.find("year") != std::string::npos)
      return "year not known";
  return work.field("year");
}

/// A title that only names the subject stands in brackets.
std::string without_brackets(std::string title) {
  if (title.size() > 2 && title.front() == '[' && title.back() == ']')
    title = title.substr(1, title.size() - 2);
  return title;
}

}  // namespace

std::string Reference::field(std::string_view name) const {
  const auto found = fields.find(std::string(name));
  return found == fields.end() ? std::string() : found->second;
}

std::string Reference::short_citation() const {
  std::string who;
  for (const char* name : {"author", "editor"}) {
    if (!who.empty() || field(name).empty()) continue;
    if (field(name) == unnamed) {
      // What people would look for instead of a name.
      who = field("journal").empty() ? without_brackets(field("title")) + "," : field("journal");
      return who + " " + year_of(*this) + " (authors not stated)";
    }
    const auto names = people(field(name));
    who = family_name(names[0]);
    const bool others = names.size() > 2 || (names.size() == 2 && names[1] == "others");
    if (others)
      who += " et al.";
    else if (names.size() == 2)
      who += " & " + family_name(names[1]);
  }
  if (who.empty()) who = field("organization");
  if (who.empty()) who = field("institution");
  return who + " " + year_of(*this);
}

std::string Reference::full_citation() const {
  std::string who;
  for (const char* name : {"author", "editor"}) {
    if (!who.empty()) break;
    if (field(name) == unnamed) {
      who = "Authors not stated";
    } else if (!field(name).empty()) {
      // Only people are told apart by "and"; the name of an organization may hold one.
      for (const auto& person : people(field(name)))
        who += (who.empty() ? "" : "; ") + (person == "others" ? "et al." : person);
    }
  }
  for (const char* other : {"organization", "institution"})
    if (who.empty()) who = field(other);
  std::string text = fmt::format("{} ({}). {}.", who, year_of(*this), field("title"));
  for (const char* name : {"journal", "booktitle", "publisher", "howpublished"})
    if (!field(name).empty()) text += " " + field(name);
  if (!field("volume").empty()) text += " " + field("volume");
  if (!field("number").empty()) text += "(" + field("number") + ")";
  if (!field("pages").empty()) text += ":" + field("pages");
  if (!field("doi").empty())
    text += " doi:" + field("doi");
  else if (!field("url").empty())
    text += " " + field("url");
  return text;
}

std::optional<Bibliography> parse_bibliography(std::shared_ptr<const Source> source,
                                               Problems& problems) {
  const std::size_t errors_before = problems.errors();
  try {
    Bibliography works = Parser(std::move(source), problems).whole();
    if (problems.errors() == errors_before) return works;
  } catch (const Stop&) {
  }
  return std::nullopt;
}

std::optional<Bibliography> read_bibliography(const std::filesystem::path& path, Problems& problems,
                                              const Limits& limits) {
  auto source = read_source(path, problems, limits);
  if (!source) return std::nullopt;
  return parse_bibliography(std::move(source), problems);
}

}  // namespace serosa::files
