// SPDX-License-Identifier: Apache-2.0
// A case as Python holds it: read once, never changed; a change makes another.
#pragma once
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "files/case_file.hpp"
#include "python/module.hpp"

namespace serosa::python {

class Case {
 public:
  /// Reads a file, or, with `text`, a text as if it stood in the file `path`. Throws
  /// files::InputError with the text that the program prints.
  /// @param changes  `path=value`, as after --set
  Case(std::shared_ptr<const Library> library, const std::filesystem::path& path,
       const std::optional<std::string>& text, const std::vector<std::string>& changes);

  /// The same case with changes.
  std::shared_ptr<Case> with(const std::vector<std::string>& changes) const;

  const files::CaseFile& file() const { return file_; }
  const std::string& name() const { return name_; }
  /// The case as understood, every default filled in: YAML that reads back to it.
  std::string yaml() const { return files::write_document(file_.understood); }
  /// Warnings about the input, as the program prints them.
  const std::vector<std::string>& warnings() const { return warnings_; }
  /// The same baby under ordinary care; read when first asked for. Throws files::InputError.
  const files::CaseFile& twin() const;

 private:
  Case(std::shared_ptr<const Library> library, std::string name, files::Document document,
       const std::vector<std::string>& changes, files::Problems problems);
  void read(const std::vector<std::string>& changes, files::Problems& problems);

  std::shared_ptr<const Library> library_;
  std::string name_;
  files::Document document_;
  files::CaseFile file_;
  std::vector<std::string> warnings_;
  mutable std::once_flag twin_read_;
  mutable files::CaseFile twin_;
};

}  // namespace serosa::python
