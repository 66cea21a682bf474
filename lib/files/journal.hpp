// SPDX-License-Identifier: Apache-2.0
// The journal of a batch: blocks of runs as they finish, so that nothing computed is lost.
#pragma once
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "study/batch.hpp"

namespace serosa::files {

/// CRC-64 as the xz format uses it (ECMA-182, reflected; its check value, of "123456789", is
/// 995dc9bbdf1939fa).
std::uint64_t crc64(std::string_view bytes, std::uint64_t before = 0);

/// One part of a job array: blocks b with b mod parts = part − 1. 1 of 1 is all.
struct Part {
  std::uint32_t part = 1, parts = 1;
  bool has(std::uint64_t block) const { return block % parts == part - 1; }
};

/// A file of finished blocks. It is only ever appended to; every record carries its checksum, so
/// that a record torn by a kill, a crash or a full disk is told from a finished one. Open, it is
/// locked against every other process.
class Journal {
 public:
  /// Opens the journal of a study, or makes it. Throws WriteError when another process has it, when
  /// it belongs to another study, when its head is damaged, or when it can't be written.
  Journal(const std::filesystem::path& path, const study::Layout& layout,
          const std::string& fingerprint, Part part);
  ~Journal();
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;

  const std::filesystem::path& path() const { return path_; }
  Part part() const { return part_; }
  /// What was found damaged or unfinished, in sentences; those blocks count as missing.
  const std::vector<std::string>& remarks() const { return remarks_; }
  bool has(std::uint64_t block) const { return place_[block] >= 0; }

  /// Adds a block. Throws WriteError; what was there before stays.
  void append(std::uint64_t block, std::span<const double> table);
  /// Brings what was appended to the disk.
  void to_disk();
  /// Some rows of one column of a block.
  void read(std::uint64_t block, std::size_t column, std::size_t row,
            std::span<double> values) const;

 private:
  void begin(const std::string& head);
  void scan();
  bool good_record(std::uint64_t place, std::vector<char>& bytes, std::uint64_t& block) const;
  void write_all(std::string_view bytes, std::uint64_t place) const;
  [[noreturn]] void fail(const std::string& what) const;

  std::filesystem::path path_;
  study::Layout layout_;
  Part part_;
  int file_ = -1;
  std::uint64_t size_ = 0;           ///< of the good part
  std::vector<std::int64_t> place_;  ///< of each block's record, −1: none
  std::vector<std::string> remarks_;
  std::vector<char> record_;
};

/// The blocks of one or several journals of a study as one table.
class Blocks {
 public:
  Blocks(const study::Layout& layout, std::vector<std::unique_ptr<Journal>> journals);

  const study::Layout& layout() const { return layout_; }
  std::vector<std::unique_ptr<Journal>>& journals() { return journals_; }
  bool has(std::uint64_t block) const { return holder(block) != nullptr; }
  /// Blocks that no journal has.
  std::vector<std::uint64_t> missing(Part part = {}) const;
  /// One column of runs `first` … All of them must be there.
  void read(std::size_t column, std::uint64_t first, std::span<double> values) const;

 private:
  const Journal* holder(std::uint64_t block) const;

  study::Layout layout_;
  std::vector<std::unique_ptr<Journal>> journals_;
  std::vector<const Journal*> holders_;  ///< of the blocks that were there at the start
};

}  // namespace serosa::files
