// SPDX-License-Identifier: Apache-2.0
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <memory>

#include "files/case_file.hpp"
#include "files/new_case.hpp"
#include "files/results.hpp"
#include "runner/commands.hpp"

namespace serosa::runner {

namespace {

/// Writes a file that must not be there yet; nothing is left of one that can't be finished.
void write_new_file(const std::string& path, const std::string& text) {
  const auto failed = [&] {
    const std::string why = errno == EEXIST ? "there is a file of this name; nothing is overwritten"
                                            : std::strerror(errno);
    return files::WriteError(fmt::format("cannot write {}: {}", files::quote(path), why));
  };
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  if (file < 0) throw failed();
  std::size_t written = 0;
  while (written < text.size()) {
    const ssize_t count = ::write(file, text.data() + written, text.size() - written);
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) {
      const auto failure = failed();
      ::close(file);
      ::unlink(path.c_str());
      throw failure;
    }
    written += static_cast<std::size_t>(count);
  }
  if (::close(file) != 0) {
    const auto failure = failed();
    ::unlink(path.c_str());
    throw failure;
  }
}

}  // namespace

void add_new(CLI::App& app, Command& chosen) {
  const auto path = std::make_shared<std::string>();
  CLI::App* const command =
      app.add_subcommand("new", "Writes a commented case to start from: every key and every act");
  command->add_option("FILE", *path, "The file to write; printed when left out")->type_name("FILE");
  command->footer(
      "Examples:\n"
      "  serosa new our-baby.yaml\n"
      "  serosa run our-baby.yaml\n\n" +
      help_end());
  command->callback([path, &chosen] {
    chosen = [path] {
      const std::string text = files::commented_case(files::case_keys());
      if (path->empty()) {
        print(text);
      } else {
        write_new_file(*path, text);
        print(files::visible(*path, 500) + "\n");
      }
      return files::ExitCode::done;
    };
  });
}

}  // namespace serosa::runner
