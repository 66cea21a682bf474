// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include "physics/real/real.hpp"

namespace serosa::physics::test {
namespace {

static_assert(Real<double> && Real<Pack<4>> && Real<Pack<8>> && Real<Dual<1>> && Real<Dual<16>>);
static_assert(lanes<double> == 1 && lanes<Pack<8>> == 8 && lanes<Dual<5>> == 1);
static_assert(std::is_same_v<Scalar<Pack<8>>, double> && std::is_same_v<Scalar<Dual<5>>, Dual<5>>);
static_assert(std::is_trivially_copyable_v<Pack<8>> && std::is_trivially_copyable_v<Mask<8>>);
// Part of what kernels for different instruction sets pass to each other.
static_assert(alignof(Pack<8>) == 64 && sizeof(Pack<8>) == 64 && alignof(Pack<4>) == 32);

TEST_CASE("lanes are read and replaced one by one", "[real]") {
  auto x = broadcast<Pack<8>>(3.0);
  set_lane(x, 5, -1.5);
  for (int l = 0; l < 8; ++l) CHECK(value_of(x, l) == (l == 5 ? -1.5 : 3.0));
  CHECK(lane_of(x, 5) == -1.5);

  Mask<8> mask = x < 0.0;
  CHECK(any(mask));
  CHECK_FALSE(all(mask));
  CHECK(lane_of(mask, 5));
  set_lane(mask, 5, false);
  CHECK_FALSE(any(mask));
  CHECK(all(!mask));
  CHECK(all(Mask<8>(true)));

  double plain = 1.0;
  set_lane(plain, 0, 2.0);
  CHECK(value_of(plain) == 2.0);

  Dual<2> dual(1.0, {3.0, 4.0});
  CHECK(lane_of(dual, 0).slope[1] == 4.0);
  set_lane(dual, 0, Dual<2>(5.0, {6.0, 7.0}));
  CHECK(value_of(dual) == 5.0);
  CHECK(dual.slope[0] == 6.0);
}

}  // namespace
}  // namespace serosa::physics::test
