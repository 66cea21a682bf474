// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

namespace serosa::files {

/// SHA-256 (FIPS 180-4, sections 4.1.2, 5.1.1, 5.3.3, 6.2), fed piece by piece.
class Sha256 {
 public:
  void add(std::string_view bytes);
  /// The digest in 64 hexadecimal digits. Ends the feeding.
  std::string digest();

 private:
  void take_block(const unsigned char* block);

  std::array<std::uint32_t, 8> hash_{0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                     0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::array<unsigned char, 64> waiting_{};
  std::size_t waiting_count_ = 0;
  std::uint64_t bytes_ = 0;
};

/// Digest of a text, in hexadecimal digits.
std::string sha256(std::string_view bytes);

}  // namespace serosa::files
