// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <memory>
#include <set>
#include <stdexcept>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

namespace serosa::files {

/// A text that was read: a file, or one `--set` of the command line.
struct Source {
  std::string name;                ///< as shown to the reader
  std::filesystem::path path;      ///< empty for the command line
  std::string text;                ///< the bytes as read
  std::vector<std::string> lines;  ///< without line ends
  bool command_line = false;
};

/// A source with its lines split.
std::shared_ptr<const Source> make_source(std::string name, std::filesystem::path path,
                                          std::string text);

/// Where something stands. Lines and columns count from 1, columns in bytes; 0 means the source as
/// a whole.
struct Origin {
  std::shared_ptr<const Source> source;
  int line = 0;
  int column = 0;
};

struct Problem {
  enum class Weight { warning, error };
  Weight weight = Weight::error;
  Origin origin;
  std::string path;     ///< key path such as `timeline.wrap.at`; may be empty
  std::string message;  ///< what is wrong and what to do
  std::string remark;   ///< what was expected, beside the caret; may be empty

  /// ```text
  /// wrapped.yaml:14:12  cover.leak: cannot read "15" as a fraction; did you mean 15 % or 0.15?
  ///     14 |     leak: 15
  ///        |           ^ between 0 and 1
  /// ```
  std::string text() const;
};

/// Collects what is wrong in all files, so that a person sees everything at once.
class Problems {
 public:
  void error(Origin origin, std::string path, std::string message, std::string remark = {});
  void warn(Origin origin, std::string path, std::string message, std::string remark = {});

  bool refused() const { return errors_ > 0; }
  std::size_t errors() const { return errors_; }
  std::size_t warnings() const { return all_.size() - errors_; }
  const std::vector<Problem>& all() const { return all_; }

  /// All problems, file by file in order of lines, errors and warnings together.
  std::string text() const;
  /// Only the warnings.
  std::string warnings_text() const;
  /// Throws InputError when there is an error.
  void refuse_if_any() const;

 private:
  void add(Problem::Weight weight, Origin origin, std::string path, std::string message,
           std::string remark);
  std::vector<Problem> all_;
  std::set<std::tuple<const Source*, int, int, std::string, std::string>> known_;
  std::size_t errors_ = 0;
};

/// Input was refused. `what()` is Problems::text().
class InputError : public std::runtime_error {
 public:
  explicit InputError(Problems problems)
      : std::runtime_error(problems.text()), problems_(std::move(problems)) {}
  const Problems& problems() const { return problems_; }

 private:
  Problems problems_;
};

/// The text with control characters, bad bytes and signs that turn the writing direction made
/// visible (`\x1b`), cut to `longest` characters with … when longer.
std::string visible(std::string_view text, std::size_t longest = 80);

/// `visible` in double quotes.
std::string quote(std::string_view text);

}  // namespace serosa::files
