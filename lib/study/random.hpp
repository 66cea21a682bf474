// SPDX-License-Identifier: Apache-2.0
// Random numbers by counting, and random orders made of them.
#pragma once
#include <bit>
#include <cstdint>

#include "physics/real/random.hpp"

namespace serosa::study {

using physics::open_fraction;
using physics::philox;
using physics::random_bits;
using physics::stream_of;

/// Where `index` goes in a random order of 0 … size − 1: a Feistel network of six rounds over the
/// next even power of two, walked until it falls inside (Black and Rogaway, Ciphers with arbitrary
/// finite domains, CT-RSA 2002, section 3).
constexpr std::uint64_t permuted(std::uint64_t index, std::uint64_t size, std::uint64_t seed,
                                 std::uint64_t stream) {
  if (size < 2) return 0;
  const int half = (static_cast<int>(std::bit_width(size - 1)) + 1) / 2;
  const std::uint64_t mask = (std::uint64_t{1} << half) - 1;
  do {
    std::uint64_t left = index >> half, right = index & mask;
    for (std::uint64_t round = 0; round < 6; ++round) {
      const std::uint64_t next = left ^ (random_bits(seed, stream, right | (round << 58)) & mask);
      left = right;
      right = next;
    }
    index = (left << half) | right;
  } while (index >= size);
  return index;
}

}  // namespace serosa::study
