// SPDX-License-Identifier: Apache-2.0
// One reader, SEROSA_FUZZ, under clang's libFuzzer.
#include <cstddef>
#include <cstdint>

#include "inputs.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const serosa::fuzz::Reader reader = serosa::fuzz::readers().at(SEROSA_FUZZ);
  reader({reinterpret_cast<const char*>(data), size});
  return 0;
}
