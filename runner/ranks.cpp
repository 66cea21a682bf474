// SPDX-License-Identifier: Apache-2.0
#include "runner/ranks.hpp"

#include <dlfcn.h>

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

namespace serosa::runner {

namespace fs = std::filesystem;

namespace {

/// Where the part may stand: beside the program, or in the installation.
std::vector<fs::path> places_of_part() {
  std::error_code ignored;
  const fs::path program = fs::read_symlink("/proc/self/exe", ignored).parent_path();
  return {program / "serosa_mpi.so", program / "../lib/serosa/serosa_mpi.so"};
}

}  // namespace

std::string ranks_part() {
  std::error_code ignored;
  for (const fs::path& path : places_of_part())
    if (fs::exists(path, ignored)) return fs::weakly_canonical(path, ignored).string();
  return {};
}

std::unique_ptr<study::Messages> ranks_of_this_job() {
  // What Open MPI's mpirun tells its children.
  const char* const size = std::getenv("OMPI_COMM_WORLD_SIZE");
  if (!size || std::atoi(size) < 2) return nullptr;
  std::string tried;
  for (const fs::path& path : places_of_part()) {
    // Open MPI's own plug-ins look for its symbols among the global ones.
    void* const part = ::dlopen(path.c_str(), RTLD_NOW | RTLD_GLOBAL);
    if (!part) {
      tried += std::string("\n  ") + ::dlerror();
      continue;
    }
    using Start = study::Messages* (*)();
    const auto start = reinterpret_cast<Start>(::dlsym(part, "serosa_start_messages"));
    if (start) return std::unique_ptr<study::Messages>(start());
    tried += "\n  " + path.string() + ": not a part of serosa";
  }
  throw std::runtime_error(
      "this was started by mpirun, but the part that speaks MPI can't be loaded; build serosa "
      "where "
      "MPI's development files are installed, or start it without mpirun. Tried:" +
      tried);
}

}  // namespace serosa::runner
