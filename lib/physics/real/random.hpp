// SPDX-License-Identifier: Apache-2.0
// Random numbers by counting: each is a function of a seed and of what it is for, so that any run
// can be drawn by itself, on any machine, in any order.
#pragma once
#include <array>
#include <cstdint>
#include <string_view>

namespace serosa::physics {

/// Philox 4x32-10: 128 random bits of a counter and a key (Salmon, Moraes, Dror and Shaw, Parallel
/// random numbers: as easy as 1, 2, 3, SC11, 2011, section 4.3).
constexpr std::array<std::uint32_t, 4> philox(std::array<std::uint32_t, 4> counter,
                                              std::array<std::uint32_t, 2> key) {
  for (int round = 0; round < 10; ++round) {
    const std::uint64_t a = std::uint64_t{0xD2511F53} * counter[0];
    const std::uint64_t b = std::uint64_t{0xCD9E8D57} * counter[2];
    counter = {
        static_cast<std::uint32_t>(b >> 32) ^ counter[1] ^ key[0], static_cast<std::uint32_t>(b),
        static_cast<std::uint32_t>(a >> 32) ^ counter[3] ^ key[1], static_cast<std::uint32_t>(a)};
    key[0] += 0x9E3779B9;
    key[1] += 0xBB67AE85;
  }
  return counter;
}

/// 64 random bits for the item `index` of one stream.
constexpr std::uint64_t random_bits(std::uint64_t seed, std::uint64_t stream, std::uint64_t index) {
  const auto low = [](std::uint64_t x) { return static_cast<std::uint32_t>(x); };
  const auto high = [](std::uint64_t x) { return static_cast<std::uint32_t>(x >> 32); };
  const auto bits =
      philox({low(index), high(index), low(stream), high(stream)}, {low(seed), high(seed)});
  return (std::uint64_t{bits[1]} << 32) | bits[0];
}

/// Strictly between 0 and 1, in steps of 2^-52.
constexpr double open_fraction(std::uint64_t bits) {
  return (static_cast<double>(bits >> 12) + 0.5) * 0x1p-52;
}

/// The stream of a name (FNV-1a, 64 bits): an input keeps its numbers when others come or go.
constexpr std::uint64_t stream_of(std::string_view name) {
  std::uint64_t hash = 0xcbf29ce484222325;
  for (const char c : name)
    hash = (hash ^ static_cast<unsigned char>(c)) * std::uint64_t{0x100000001b3};
  return hash;
}

}  // namespace serosa::physics
