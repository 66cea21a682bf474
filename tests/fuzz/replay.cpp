// SPDX-License-Identifier: Apache-2.0
// Without libFuzzer: every file of the folders named, and of each some torn and bent copies, goes
// through a reader once. The copies depend on the file alone.
#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "inputs.hpp"
#include "study/random.hpp"

namespace {

namespace fs = std::filesystem;

/// Cut short, a byte changed, a piece doubled, a piece taken out.
std::string bent(std::string bytes, std::uint64_t seed, std::uint64_t copy) {
  if (bytes.empty()) return bytes;
  auto draw = [&, n = std::uint64_t{0}](std::uint64_t below) mutable {
    return static_cast<std::size_t>(serosa::study::random_bits(seed, copy, n++) % below);
  };
  const std::size_t at = draw(bytes.size());
  const std::size_t length = std::min(draw(64) + 1, bytes.size() - at);
  switch (copy % 4) {
    case 0:
      bytes.resize(at);
      break;
    case 1:
      bytes[at] = static_cast<char>(draw(256));
      break;
    case 2:
      bytes.insert(draw(bytes.size()), bytes.substr(at, length));
      break;
    default:
      bytes.erase(at, length);
  }
  return bytes;
}

}  // namespace

/// replay READER COPIES FOLDER... : how many bent copies of each file, and where the files are.
int main(int count, char** arguments) {
  if (count < 4) return 2;
  const auto reader = serosa::fuzz::readers().at(arguments[1]);
  const std::uint64_t copies = std::stoull(arguments[2]);
  std::vector<fs::path> paths;
  for (int i = 3; i < count; ++i)
    if (fs::is_directory(arguments[i]))
      for (const auto& item : fs::recursive_directory_iterator(arguments[i]))
        if (item.is_regular_file()) paths.push_back(item.path());
  std::sort(paths.begin(), paths.end());
  for (const auto& path : paths) {
    std::ifstream file(path, std::ios::binary);
    const std::string bytes{std::istreambuf_iterator<char>(file), {}};
    reader(bytes);
    const auto seed = serosa::study::stream_of(bytes);
    for (std::uint64_t copy = 0; copy < copies; ++copy) reader(bent(bytes, seed, copy));
  }
  std::printf("%zu files, each whole and in %s bent copies\n", paths.size(), arguments[2]);
  return paths.empty() ? 1 : 0;
}
