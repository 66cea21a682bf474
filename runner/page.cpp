// SPDX-License-Identifier: Apache-2.0
#include "runner/page.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <system_error>

#include "files/netcdf.hpp"
#include "files/problems.hpp"
#include "files/results.hpp"
#include "files/results_folder.hpp"
#include "files/sha256.hpp"
#include "runner/page_parts.hpp"
#include "runner/page_spread.hpp"
#include "runner/page_text.hpp"

namespace serosa::runner {

namespace fs = std::filesystem;

std::string embedded(const PageData& data) {
  const std::string json = data.dump(-1, ' ', false, PageData::error_handler_t::replace);
  std::string text;
  text.reserve(json.size());
  for (std::size_t i = 0; i < json.size(); ++i) {
    if (json[i] == '<') {
      text += "\\u003c";
    } else if (json.compare(i, 3, "\xE2\x80\xA8") == 0 || json.compare(i, 3, "\xE2\x80\xA9") == 0) {
      text += json[i + 2] == '\xA8' ? "\\u2028" : "\\u2029";
      i += 2;
    } else {
      text += json[i];
    }
  }
  return text;
}

std::string escaped(const std::string& plain) {
  std::string text;
  for (const char c : plain) {
    switch (c) {
      case '&':
        text += "&amp;";
        break;
      case '<':
        text += "&lt;";
        break;
      case '>':
        text += "&gt;";
        break;
      case '"':
        text += "&quot;";
        break;
      default:
        text += c;
    }
  }
  return text;
}

std::string policy_hash(std::string_view content) {
  constexpr char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  const std::string hex = files::sha256(content);
  std::vector<unsigned> bytes;
  for (std::size_t i = 0; i < hex.size(); i += 2)
    bytes.push_back(static_cast<unsigned>(std::stoul(hex.substr(i, 2), nullptr, 16)));
  std::string text = "'sha256-";
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t left = std::min<std::size_t>(3, bytes.size() - i);
    const unsigned three =
        bytes[i] << 16 | (left > 1 ? bytes[i + 1] << 8 : 0) | (left > 2 ? bytes[i + 2] : 0);
    for (std::size_t k = 0; k < 4; ++k)
      text += k <= left ? digits[three >> (18 - 6 * k) & 63] : '=';
  }
  return text + "'";
}

std::string filled(std::string_view form,
                   const std::vector<std::pair<std::string_view, std::string>>& values) {
  std::string text;
  while (!form.empty()) {
    std::size_t at = std::string_view::npos, which = 0;
    for (std::size_t i = 0; i < values.size(); ++i)
      if (const auto found = form.find(values[i].first); found < at) at = found, which = i;
    text += form.substr(0, at);
    if (at == std::string_view::npos) break;
    text += values[which].second;
    form.remove_prefix(at + values[which].first.size());
  }
  return text;
}

namespace {

[[noreturn]] void fail(const fs::path& path) {
  throw files::WriteError("cannot write " + files::quote(path.string()) + ": " +
                          std::strerror(errno));
}

}  // namespace

void write_whole(const fs::path& path, std::string_view bytes) {
  const fs::path beside = path.string() + ".new";
  const int file = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (file < 0) fail(path);
  while (!bytes.empty()) {
    const auto count = ::write(file, bytes.data(), bytes.size());
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) {
      const int reason = errno;
      ::close(file);
      ::unlink(beside.c_str());
      errno = reason;
      fail(path);
    }
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  if (::close(file) != 0 || ::rename(beside.c_str(), path.c_str()) != 0) {
    const int reason = errno;
    ::unlink(beside.c_str());
    errno = reason;
    fail(path);
  }
}

std::string page_html(const PageData& data) {
  const std::string script(page_parts::bundle), style(page_parts::style);
  const std::string policy = "default-src 'none'; script-src " + policy_hash(script) +
                             "; style-src " + policy_hash(style) +
                             "; img-src blob: data:; base-uri 'none'; form-action 'none'";
  return filled(page_parts::form, {{"@TITLE@", escaped(data.value("title", ""))},
                                   {"@CAUTION@", escaped(data.value("caution", ""))},
                                   {"@POLICY@", policy},
                                   {"@STYLE@", style},
                                   {"@DATA@", embedded(data)},
                                   {"@SCRIPT@", script}});
}

PageData page_of_folder(const fs::path& folder) {
  std::error_code failure;
  if (fs::exists(folder / "page.json", failure) && !fs::exists(folder / "UNFINISHED", failure)) {
    PageData page = read_json(folder / "page.json");
    if (!page.is_object() || page.value("format", 0) != 1 || !page.contains("sections"))
      refuse_folder(folder / "page.json", "is not the data of a page of this program");
    page["caution"] = files::caution;
    return page;
  }
  try {
    if (fs::exists(folder / "runs.nc", failure)) return page_of_batch(folder);
    PageData page = page_of_runs(read_run_folder(folder));
    add_spread(page, folder);
    return page;
  } catch (const files::NetcdfError& fault) {
    // Numbers are read while the page is made, so damage may show late.
    refuse_folder(folder, std::string("cannot be read: ") + fault.what());
  }
}

void write_page(const fs::path& folder) {
  write_whole(folder / "report.html", page_html(page_of_folder(folder)));
}

}  // namespace serosa::runner
