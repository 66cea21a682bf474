// SPDX-License-Identifier: Apache-2.0
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <fstream>

#include "files/batch_results.hpp"
#include "files/paths.hpp"
#include "files/sha256.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail(const fs::path& path, const std::string& reason) {
  throw WriteError("cannot write " + quote(path.string()) + ": " + reason);
}

void to_disk(const fs::path& path, int flags) {
  const int file = ::open(path.c_str(), flags | O_CLOEXEC);
  if (file < 0) fail(path, std::strerror(errno));
  const bool bad = ::fsync(file) != 0 && errno != EINVAL;
  const int reason = errno;
  ::close(file);
  if (bad) fail(path, std::strerror(reason));
}

/// Digest and size, read piece by piece.
std::pair<std::string, std::size_t> digest_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  Sha256 hash;
  std::size_t size = 0;
  std::vector<char> piece(1 << 16);
  while (in.read(piece.data(), static_cast<std::streamsize>(piece.size())), in.gcount() > 0) {
    hash.add({piece.data(), static_cast<std::size_t>(in.gcount())});
    size += static_cast<std::size_t>(in.gcount());
  }
  if (!in.eof()) throw WriteError("cannot read back " + quote(path.string()));
  return {hash.digest(), size};
}

bool is_journal(const std::string& name) { return name.starts_with("journal"); }

/// True for the remains of a batch that was stopped while it wrote its results.
bool is_ours(const std::string& name) {
  static const char* const names[] = {
      "cases",          "tables",          "study.yaml",     "runs.nc",         "series.nc",
      "summary.csv",    "differences.csv", "bands.csv",      "failed.csv",      "failed_runs.csv",
      "cohort.csv",     "report.html",     "inputs.json",    "log.txt",         "review.nc",
      "review.txt",     "review.yaml",     "page.json",      "review.csv",      "ranking.csv",
      "chart.csv",      "corridor.csv",    "sensitivity.nc", "sensitivity.csv", "second_order.csv",
      "convergence.csv"};
  return is_journal(name) || (name.starts_with(".") && name.ends_with(".part")) ||
         std::find(std::begin(names), std::end(names), name) != std::end(names);
}

long number_after(const std::string& name, const std::string& begin) {
  if (!name.starts_with(begin + "-")) return 0;
  long n = 0;
  const char* const first = name.data() + begin.size() + 1;
  const auto read = std::from_chars(first, name.data() + name.size(), n);
  return read.ec == std::errc() && read.ptr == name.data() + name.size() ? n : 0;
}

}  // namespace

BatchFolder::BatchFolder(const fs::path& path) : path_(path) {
  std::error_code failed;
  fs::create_directories(path, failed);
  if (failed || !fs::is_directory(path)) fail(path, failed ? failed.message() : "it is no folder");
  const auto names = file_names(path);
  if (std::find(names.begin(), names.end(), manifest) != names.end())
    throw WriteError(quote(path.string()) +
                     " holds a finished batch; name a new folder, nothing there is overwritten");
  const bool begun = std::any_of(names.begin(), names.end(), is_journal);
  for (const auto& name : names)
    if (!begun || !is_ours(name))
      throw WriteError(quote(path.string()) + " is not an empty folder (it holds " + quote(name) +
                       "); name a new one, nothing there is overwritten");
}

fs::path BatchFolder::choose(const fs::path& base, const std::string& name,
                             const std::string& fingerprint) {
  std::vector<std::pair<long, fs::path>> there;
  for (const auto& folder : file_names(base))
    if (const long n = number_after(folder, name)) there.emplace_back(n, base / folder);
  std::sort(there.begin(), there.end());
  for (auto it = there.rbegin(); it != there.rend(); ++it) {
    std::error_code ignored;
    if (fs::exists(it->second / manifest, ignored)) continue;
    std::ifstream in(it->second / "journal", std::ios::binary);
    std::string head(4096, '\0');
    in.read(head.data(), static_cast<std::streamsize>(head.size()));
    if (head.find("\nstudy " + fingerprint + "\n") != std::string::npos) return it->second;
  }
  return base / fmt::format("{}-{}", name, there.empty() ? 1 : there.back().first + 1);
}

fs::path BatchFolder::journal(Part part) const {
  return path_ / (part.parts == 1 ? std::string("journal")
                                  : fmt::format("journal-{}-of-{}", part.part, part.parts));
}

std::vector<Part> BatchFolder::parts() const {
  std::vector<Part> parts;
  for (const auto& name : file_names(path_)) {
    Part p;
    if (name == "journal") {
      parts.push_back(p);
      continue;
    }
    int end = 0;
    if (std::sscanf(name.c_str(), "journal-%u-of-%u%n", &p.part, &p.parts, &end) == 2 &&
        static_cast<std::size_t>(end) == name.size() && p.part >= 1 && p.part <= p.parts)
      parts.push_back(p);
  }
  std::sort(parts.begin(), parts.end(), [](const Part& a, const Part& b) {
    return std::pair(a.parts, a.part) < std::pair(b.parts, b.part);
  });
  return parts;
}

void BatchFolder::write(const std::string& name, const std::string& bytes) {
  write(name, [&](const fs::path& path) {
    const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (file < 0) fail(path, std::strerror(errno));
    std::string_view left = bytes;
    while (!left.empty()) {
      const ssize_t n = ::write(file, left.data(), left.size());
      if (n < 0 && errno == EINTR) continue;
      if (n < 0) {
        const int reason = errno;
        ::close(file);
        fail(path, std::strerror(reason));
      }
      left.remove_prefix(static_cast<std::size_t>(n));
    }
    ::close(file);
  });
}

void BatchFolder::write(const std::string& name, const std::function<void(const fs::path&)>& make) {
  const fs::path target = path_ / name;
  const fs::path temporary = target.parent_path() / ("." + target.filename().string() + ".part");
  std::error_code failed;
  fs::create_directories(target.parent_path(), failed);
  fs::remove(temporary, failed);
  try {
    make(temporary);
    to_disk(temporary, O_RDONLY);
    if (std::rename(temporary.c_str(), target.c_str()) != 0) fail(target, std::strerror(errno));
  } catch (...) {
    fs::remove(temporary, failed);
    throw;
  }
  to_disk(target.parent_path(), O_RDONLY | O_DIRECTORY);
  const auto [digest, size] = digest_of(target);
  written_.push_back({name, digest, size});
}

}  // namespace serosa::files
