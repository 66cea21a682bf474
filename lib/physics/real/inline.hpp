// SPDX-License-Identifier: Apache-2.0
#pragma once

/// Number types live in registers only when every call between them disappears; a call that stays
/// would also be a weak symbol compiled for one instruction set and shared with another.
#define SEROSA_INLINE __attribute__((always_inline)) inline

/// Lane loops are vectorised as they stand. Without the directive g++ unrolls them first and then
/// finds only scalar code.
#define SEROSA_LANES _Pragma("omp simd")
