// SPDX-License-Identifier: Apache-2.0
#include "files/sha256.hpp"

#include <algorithm>
#include <bit>

namespace serosa::files {

namespace {

// FIPS 180-4, section 4.2.2: first 32 bits of the fractional parts of the cube roots of the first
// 64 primes.
constexpr std::array<std::uint32_t, 64> round_constants{
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

using Word = std::uint32_t;

Word choice(Word x, Word y, Word z) { return (x & y) ^ (~x & z); }
Word majority(Word x, Word y, Word z) { return (x & y) ^ (x & z) ^ (y & z); }
Word upper_0(Word x) { return std::rotr(x, 2) ^ std::rotr(x, 13) ^ std::rotr(x, 22); }
Word upper_1(Word x) { return std::rotr(x, 6) ^ std::rotr(x, 11) ^ std::rotr(x, 25); }
Word lower_0(Word x) { return std::rotr(x, 7) ^ std::rotr(x, 18) ^ (x >> 3); }
Word lower_1(Word x) { return std::rotr(x, 17) ^ std::rotr(x, 19) ^ (x >> 10); }

Word big_endian(const unsigned char* b) {
  return Word{b[0]} << 24 | Word{b[1]} << 16 | Word{b[2]} << 8 | Word{b[3]};
}

}  // namespace

void Sha256::take_block(const unsigned char* block) {
  std::array<Word, 64> w;
  for (std::size_t t = 0; t < 16; ++t) w[t] = big_endian(block + 4 * t);
  for (std::size_t t = 16; t < 64; ++t)
    w[t] = lower_1(w[t - 2]) + w[t - 7] + lower_0(w[t - 15]) + w[t - 16];
  auto [a, b, c, d, e, f, g, h] = hash_;
  for (std::size_t t = 0; t < 64; ++t) {
    const Word t1 = h + upper_1(e) + choice(e, f, g) + round_constants[t] + w[t];
    const Word t2 = upper_0(a) + majority(a, b, c);
    h = g;
    g = f;
    f = e;
    e = d + t1;
    d = c;
    c = b;
    b = a;
    a = t1 + t2;
  }
  const std::array<Word, 8> added{a, b, c, d, e, f, g, h};
  for (std::size_t i = 0; i < 8; ++i) hash_[i] += added[i];
}

void Sha256::add(std::string_view bytes) {
  bytes_ += bytes.size();
  while (!bytes.empty()) {
    const std::size_t taken = std::min(bytes.size(), waiting_.size() - waiting_count_);
    std::copy_n(bytes.data(), taken, waiting_.data() + waiting_count_);
    waiting_count_ += taken;
    bytes.remove_prefix(taken);
    if (waiting_count_ == waiting_.size()) {
      take_block(waiting_.data());
      waiting_count_ = 0;
    }
  }
}

std::string Sha256::digest() {
  // Section 5.1.1: a one bit, zeros, and the length in bits as the last eight bytes of a block.
  const std::uint64_t bits = 8 * bytes_;
  const std::size_t zeros = (119 - bytes_ % 64) % 64;
  std::string padding(1 + zeros, '\0');
  padding[0] = static_cast<char>(0x80);
  for (int shift = 56; shift >= 0; shift -= 8)
    padding.push_back(static_cast<char>(static_cast<unsigned char>(bits >> shift)));
  add(padding);
  std::string text;
  for (const Word word : hash_)
    for (int shift = 28; shift >= 0; shift -= 4)
      text.push_back("0123456789abcdef"[word >> shift & 15]);
  return text;
}

std::string sha256(std::string_view bytes) {
  Sha256 hash;
  hash.add(bytes);
  return hash.digest();
}

}  // namespace serosa::files
