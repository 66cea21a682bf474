// SPDX-License-Identifier: Apache-2.0
// The most double-precision operations that this processor does: independent chains of multiply
// and add that stay in registers. Compiled once per instruction set, with contraction, so that v3
// and v4 fuse the two.
namespace serosa::bench::SEROSA_ISA_NAMESPACE {

#if defined(__AVX512F__)
constexpr int bytes = 64;
#elif defined(__AVX__)
constexpr int bytes = 32;
#else
constexpr int bytes = 16;
#endif

double multiply_and_add(long rounds, long& operations) {
  typedef double Vector __attribute__((vector_size(bytes)));
  constexpr int chains = 12;  // more than latency times units asks for, and they fit 16 registers
  Vector chain[chains];
  const Vector factor = Vector{} + 0.999999, summand = Vector{} + 1e-6;
  for (int c = 0; c < chains; ++c) chain[c] = Vector{} + (1.0 + c);
  for (long n = 0; n < rounds; ++n) {
#pragma GCC unroll 12
    for (int c = 0; c < chains; ++c) chain[c] = chain[c] * factor + summand;
  }
  double sum = 0;
  for (int c = 0; c < chains; ++c) sum += chain[c][0];
  operations = rounds * chains * 2 * (bytes / static_cast<int>(sizeof(double)));
  return sum;
}

}  // namespace serosa::bench::SEROSA_ISA_NAMESPACE
