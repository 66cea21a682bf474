// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace serosa::files {

/// A result could not be written. `what()` names the file and the reason.
class WriteError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// The folder of one run of the program, claimed for it alone.
///
/// Files are written under a temporary name, brought to the disk and renamed; none is ever written
/// twice. Until `keep()` the folder holds a file `UNFINISHED`, and when the object goes without
/// `keep()` everything it made is removed; so a folder with `UNFINISHED` in it was left by a
/// program that was killed.
class ResultsFolder {
 public:
  /// Claims `base/NAME-n` with the smallest n that is larger than every n there is.
  static ResultsFolder claim_next(const std::filesystem::path& base, std::string_view name);
  /// Claims a folder that is new or empty. Throws WriteError for any other.
  static ResultsFolder claim(const std::filesystem::path& folder);

  ResultsFolder(ResultsFolder&& other) noexcept;
  ResultsFolder& operator=(ResultsFolder&&) = delete;
  ~ResultsFolder();

  const std::filesystem::path& path() const { return path_; }

  /// Writes a file; `name` may lead through folders, which are made.
  void write(const std::string& name, std::string_view bytes);
  /// For writers that want a path: where to write. `put_in_place` brings it to the disk and gives
  /// it its name.
  std::filesystem::path temporary(const std::string& name);
  void put_in_place(const std::string& name);

  /// A file that was written, with its digest.
  struct Written {
    std::string name;
    std::string sha256;
    std::size_t bytes;
  };
  /// All files that are in place, in the order of writing.
  const std::vector<Written>& written() const { return written_; }

  /// All is written: the folder stays.
  void keep();

 private:
  ResultsFolder(std::filesystem::path path, std::vector<std::filesystem::path> made);
  void discard() noexcept;

  std::filesystem::path path_;
  std::vector<std::filesystem::path> made_;   ///< folders this object made, outermost first
  std::vector<std::filesystem::path> files_;  ///< files this object made
  std::vector<Written> written_;
  bool open_ = true;
};

}  // namespace serosa::files
