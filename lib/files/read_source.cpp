// SPDX-License-Identifier: Apache-2.0
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "files/document.hpp"
#include "files/paths.hpp"
#include "files/utf8.hpp"
#include "units/nearest.hpp"

namespace serosa::files {
namespace {

namespace fs = std::filesystem;

struct Descriptor {
  int number;
  explicit Descriptor(int n) : number(n) {}
  ~Descriptor() {
    if (number >= 0) ::close(number);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
};

std::string size_text(std::size_t bytes) {
  return bytes >= (1u << 20) ? fmt::format("{:.1f} MiB", static_cast<double>(bytes) / (1 << 20))
                             : fmt::format("{} bytes", bytes);
}

std::string missing_file(const fs::path& path) {
  std::error_code ignored;
  const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path(".");
  if (!fs::is_directory(folder, ignored))
    return fmt::format("there is no folder {}", quote(folder.string()));
  std::vector<std::string> names;
  for (fs::directory_iterator item(folder, ignored), end; item != end && names.size() < 1000;
       item.increment(ignored))
    names.push_back(item->path().filename().string());
  const std::string near = units::nearest(path.filename().string(), names);
  return "there is no such file" + (near.empty() ? "" : "; did you mean " + near + "?");
}

std::string open_failure(const fs::path& path, int code) {
  if (code == ENOENT || code == ENOTDIR) return missing_file(path);
  if (code == EACCES || code == EPERM) return "the file may not be read (no permission)";
  if (code == ENXIO) return "this is no ordinary file";
  return fmt::format("the file cannot be opened: {}", std::strerror(code));
}

/// The bytes of the file, or what is wrong with it.
bool read_bytes(const fs::path& path, std::size_t limit, std::string& bytes, std::string& why) {
  // Without O_NONBLOCK a pipe that nobody writes to would hold the program for ever.
  const Descriptor file(::open(path.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY));
  if (file.number < 0) {
    why = open_failure(path, errno);
    return false;
  }
  struct stat about = {};
  if (::fstat(file.number, &about) != 0) {
    why = fmt::format("the file cannot be looked at: {}", std::strerror(errno));
    return false;
  }
  if (S_ISDIR(about.st_mode)) {
    why = "this is a folder; name a file in it";
    return false;
  }
  if (!S_ISREG(about.st_mode)) {
    why = "this is no ordinary file (a pipe, socket or device)";
    return false;
  }
  const std::string too_large = fmt::format("the file is larger than {}", size_text(limit));
  if (about.st_size > 0 && static_cast<std::size_t>(about.st_size) > limit) {
    why = too_large;
    return false;
  }
  char block[65536];
  while (true) {
    const ssize_t count = ::read(file.number, block, sizeof block);
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) {
      why = fmt::format("the file cannot be read: {}", std::strerror(errno));
      return false;
    }
    if (count == 0) return true;
    bytes.append(block, static_cast<std::size_t>(count));
    if (bytes.size() > limit) {
      why = too_large;
      return false;
    }
  }
}

Origin place_of(const std::shared_ptr<const Source>& source, std::size_t offset) {
  const std::string_view before = std::string_view(source->text).substr(0, offset);
  int line = 1;
  for (const char c : before) line += c == '\n';
  const std::size_t last = before.rfind('\n');
  const std::size_t start = last == std::string_view::npos ? 0 : last + 1;
  return {source, line, static_cast<int>(offset - start) + 1};
}

}  // namespace

bool check_text(const std::shared_ptr<const Source>& source, Problems& problems) {
  const std::string_view text = source->text;
  if (const std::size_t bad = first_bad_byte(text); bad != std::string_view::npos) {
    problems.error(place_of(source, bad), {},
                   fmt::format("this is not text in UTF-8 (byte 0x{:02x}); save the file as UTF-8",
                               static_cast<unsigned char>(text[bad])));
    return false;
  }
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    const bool line_end = c == '\n' || (c == '\r' && i + 1 < text.size() && text[i + 1] == '\n');
    if ((c < 0x20 && c != '\t' && !line_end) || c == 0x7F) {
      problems.error(place_of(source, i), {},
                     fmt::format("there is a control character (0x{:02x}) here; is this a text "
                                 "file?",
                                 c));
      return false;
    }
  }
  return true;
}

std::shared_ptr<const Source> read_source(const fs::path& path, Problems& problems,
                                          const Limits& limits, const Origin& asked_from) {
  std::string bytes;
  std::string why;
  if (!read_bytes(path, limits.bytes, bytes, why)) {
    if (asked_from.source)
      problems.error(asked_from, {}, fmt::format("{}: {}", quote(path.string()), why));
    else
      problems.error({make_source(path.string(), path, {}), 0, 0}, {}, why);
    return nullptr;
  }
  if (bytes.rfind("\xEF\xBB\xBF", 0) == 0) bytes.erase(0, 3);
  auto source = make_source(path.string(), path, std::move(bytes));
  return check_text(source, problems) ? source : nullptr;
}

}  // namespace serosa::files
