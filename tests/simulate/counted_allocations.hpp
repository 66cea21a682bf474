// SPDX-License-Identifier: Apache-2.0
// Counts every allocation of the program that includes it, in one of its files.
#pragma once
#include <atomic>
#include <cstddef>
#include <cstdlib>
#include <new>

namespace {
std::atomic<long> allocations{0};

void* counted(std::size_t size, std::size_t alignment) {
  ++allocations;
  const std::size_t rounded = (size + alignment - 1) / alignment * alignment;
  if (void* p = std::aligned_alloc(alignment, rounded == 0 ? alignment : rounded)) return p;
  throw std::bad_alloc();
}
}  // namespace

// Every form, so that none of the run-time library's (or a sanitizer's) meets memory of ours.
constexpr std::size_t usual = alignof(std::max_align_t);
using Alignment = std::align_val_t;
using NoThrow = std::nothrow_t;
void* operator new(std::size_t n) { return counted(n, usual); }
void* operator new[](std::size_t n) { return counted(n, usual); }
void* operator new(std::size_t n, const NoThrow&) noexcept { return counted(n, usual); }
void* operator new[](std::size_t n, const NoThrow&) noexcept { return counted(n, usual); }
void* operator new(std::size_t n, Alignment a) { return counted(n, std::size_t(a)); }
void* operator new[](std::size_t n, Alignment a) { return counted(n, std::size_t(a)); }
void operator delete(void* p) noexcept { std::free(p); }
void operator delete[](void* p) noexcept { std::free(p); }
void operator delete(void* p, std::size_t) noexcept { std::free(p); }
void operator delete[](void* p, std::size_t) noexcept { std::free(p); }
void operator delete(void* p, const NoThrow&) noexcept { std::free(p); }
void operator delete[](void* p, const NoThrow&) noexcept { std::free(p); }
void operator delete(void* p, Alignment) noexcept { std::free(p); }
void operator delete[](void* p, Alignment) noexcept { std::free(p); }
void operator delete(void* p, std::size_t, Alignment) noexcept { std::free(p); }
void operator delete[](void* p, std::size_t, Alignment) noexcept { std::free(p); }
