// SPDX-License-Identifier: Apache-2.0
#include "files/results_folder.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <fstream>
#include <system_error>
#include <utility>

#include "files/problems.hpp"
#include "files/sha256.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

namespace {

constexpr std::string_view marker = "UNFINISHED";
constexpr std::string_view marker_text = "This folder was not finished. It is safe to delete.\n";

[[noreturn]] void fail(const fs::path& path, int reason) {
  throw WriteError("cannot write " + quote(path.string()) + ": " + std::strerror(reason));
}

/// Owns an open file or folder.
class Descriptor {
 public:
  Descriptor(const fs::path& path, int flags, mode_t mode = 0666)
      : path_(path), number_(::open(path.c_str(), flags | O_CLOEXEC, mode)) {
    if (number_ < 0) fail(path, errno);
  }
  ~Descriptor() { ::close(number_); }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;

  void write(std::string_view bytes) const {
    while (!bytes.empty()) {
      const ssize_t count = ::write(number_, bytes.data(), bytes.size());
      if (count < 0 && errno == EINTR) continue;
      if (count < 0) fail(path_, errno);
      bytes.remove_prefix(static_cast<std::size_t>(count));
    }
  }
  void to_disk() const {
    // Some file systems can't, and say so by EINVAL.
    if (::fsync(number_) != 0 && errno != EINVAL) fail(path_, errno);
  }

 private:
  fs::path path_;
  int number_;
};

void folder_to_disk(const fs::path& folder) {
  Descriptor(folder, O_RDONLY | O_DIRECTORY).to_disk();
}

/// Makes the folders that are missing above `path`; returns those it made, outermost first.
std::vector<fs::path> make_parents(const fs::path& path) {
  std::vector<fs::path> missing;
  std::error_code ignored;
  for (fs::path p = path.parent_path(); !p.empty() && !fs::exists(p, ignored); p = p.parent_path())
    missing.push_back(p);
  std::reverse(missing.begin(), missing.end());
  std::vector<fs::path> made;
  for (const auto& p : missing) {
    if (::mkdir(p.c_str(), 0777) == 0)
      made.push_back(p);
    else if (errno != EEXIST)
      fail(p, errno);
  }
  return made;
}

long largest_number(const fs::path& base, std::string_view name) {
  long largest = 0;
  std::error_code failure;
  for (fs::directory_iterator entry(base, failure), end; !failure && entry != end;
       entry.increment(failure)) {
    const std::string found = entry->path().filename().string();
    if (found.size() <= name.size() + 1 || found.compare(0, name.size(), name) != 0 ||
        found[name.size()] != '-')
      continue;
    long number = 0;
    const char* const first = found.data() + name.size() + 1;
    const char* const last = found.data() + found.size();
    const auto read = std::from_chars(first, last, number);
    if (read.ec == std::errc() && read.ptr == last) largest = std::max(largest, number);
  }
  return largest;
}

std::string read_bytes(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::string bytes((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  if (!in) throw WriteError("cannot read back " + quote(path.string()));
  return bytes;
}

}  // namespace

ResultsFolder::ResultsFolder(fs::path path, std::vector<fs::path> made)
    : path_(std::move(path)), made_(std::move(made)) {
  try {
    // Two programs may find the same folder empty; only one makes the marker.
    const fs::path mark = path_ / marker;
    const Descriptor file(mark, O_WRONLY | O_CREAT | O_EXCL);
    files_.push_back(mark);
    file.write(marker_text);
  } catch (...) {
    discard();
    throw;
  }
}

ResultsFolder ResultsFolder::claim_next(const fs::path& base, std::string_view name) {
  auto made = make_parents(base / "x");
  // mkdir either makes the folder or says that someone else has: a number is claimed once.
  for (long n = largest_number(base, name) + 1;; ++n) {
    fs::path folder = base / (std::string(name) + "-" + std::to_string(n));
    if (::mkdir(folder.c_str(), 0777) == 0) {
      made.push_back(folder);
      return ResultsFolder(std::move(folder), std::move(made));
    }
    if (errno == EEXIST) continue;
    const int reason = errno;
    for (auto p = made.rbegin(); p != made.rend(); ++p) ::rmdir(p->c_str());
    fail(folder, reason);
  }
}

ResultsFolder ResultsFolder::claim(const fs::path& asked) {
  // Without a last slash, so that the parent is the parent.
  const fs::path folder = asked.has_filename() ? asked : asked.parent_path();
  auto made = make_parents(folder);
  if (::mkdir(folder.c_str(), 0777) == 0) {
    made.push_back(folder);
  } else if (errno == EEXIST) {
    std::error_code failure;
    const bool free = fs::is_directory(folder, failure) && fs::is_empty(folder, failure);
    if (failure || !free)
      throw WriteError(quote(folder.string()) +
                       " is not an empty folder; name a new one, nothing there is overwritten");
  } else {
    const int reason = errno;
    for (auto p = made.rbegin(); p != made.rend(); ++p) ::rmdir(p->c_str());
    fail(folder, reason);
  }
  return ResultsFolder(folder, std::move(made));
}

ResultsFolder::ResultsFolder(ResultsFolder&& other) noexcept
    : path_(std::move(other.path_)),
      made_(std::move(other.made_)),
      files_(std::move(other.files_)),
      written_(std::move(other.written_)),
      open_(std::exchange(other.open_, false)) {}

ResultsFolder::~ResultsFolder() {
  if (open_) discard();
}

void ResultsFolder::discard() noexcept {
  for (auto f = files_.rbegin(); f != files_.rend(); ++f) ::unlink(f->c_str());
  // Only what is empty goes: what others put there stays.
  for (auto p = made_.rbegin(); p != made_.rend(); ++p) ::rmdir(p->c_str());
  open_ = false;
}

fs::path ResultsFolder::temporary(const std::string& name) {
  const fs::path target = path_ / name;
  for (auto& folder : make_parents(target)) made_.push_back(std::move(folder));
  const fs::path temporary = target.parent_path() / ("." + target.filename().string() + ".part");
  files_.push_back(temporary);
  return temporary;
}

void ResultsFolder::put_in_place(const std::string& name) {
  const fs::path target = path_ / name;
  const fs::path temporary = target.parent_path() / ("." + target.filename().string() + ".part");
  Descriptor(temporary, O_RDONLY).to_disk();
  const std::string bytes = read_bytes(temporary);
  if (::link(temporary.c_str(), target.c_str()) == 0) {
    // A link never replaces a file that is there.
    ::unlink(temporary.c_str());
  } else if (errno == EEXIST) {
    fail(target, EEXIST);
  } else if (::rename(temporary.c_str(), target.c_str()) != 0) {
    // File systems without links.
    fail(target, errno);
  }
  files_.push_back(target);
  written_.push_back({name, sha256(bytes), bytes.size()});
}

void ResultsFolder::write(const std::string& name, std::string_view bytes) {
  Descriptor(temporary(name), O_WRONLY | O_CREAT | O_EXCL).write(bytes);
  put_in_place(name);
}

void ResultsFolder::keep() {
  folder_to_disk(path_);
  const fs::path mark = path_ / marker;
  if (::unlink(mark.c_str()) != 0) fail(mark, errno);
  open_ = false;
}

}  // namespace serosa::files
