// SPDX-License-Identifier: Apache-2.0
#include "files/journal.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>

#include "files/problems.hpp"
#include "files/results_folder.hpp"

namespace serosa::files {

namespace {

// Eight tables, so that eight bytes are taken at a time.
using Tables = std::array<std::array<std::uint64_t, 256>, 8>;

constexpr Tables crc_tables() {
  Tables t{};
  for (std::size_t i = 0; i < 256; ++i) {
    std::uint64_t c = i;
    for (int k = 0; k < 8; ++k) c = (c >> 1) ^ ((c & 1) ? 0xC96C5795D7870F42 : 0);
    t[0][i] = c;
  }
  for (std::size_t j = 1; j < 8; ++j)
    for (std::size_t i = 0; i < 256; ++i) t[j][i] = (t[j - 1][i] >> 8) ^ t[0][t[j - 1][i] & 0xff];
  return t;
}
constexpr Tables tables = crc_tables();

constexpr std::size_t head_size = 4096;
constexpr std::uint64_t record_mark = 0x6b636f6c42736572;  // begins every record
constexpr std::size_t record_head = 2 * sizeof(std::uint64_t);

std::size_t record_size(const study::Layout& layout) {
  return record_head + layout.numbers() * sizeof(double) + sizeof(std::uint64_t);
}

std::string head_of(const study::Layout& layout, const std::string& fingerprint, Part part) {
  std::string head =
      fmt::format("serosa journal 1\nstudy {}\nruns {}\nblock {}\ncolumns {}\npart {} of {}\n",
                  fingerprint, layout.runs, layout.block, layout.columns(), part.part, part.parts);
  head.resize(head_size - 17, ' ');
  return head + fmt::format("{:016x}\n", crc64(head));
}

}  // namespace

std::uint64_t crc64(std::string_view bytes, std::uint64_t before) {
  std::uint64_t c = ~before;
  const char* p = bytes.data();
  std::size_t left = bytes.size();
  for (; left >= 8; left -= 8, p += 8) {
    std::uint64_t word;
    std::memcpy(&word, p, 8);
    c ^= word;
    std::uint64_t next = 0;
    for (std::size_t j = 0; j < 8; ++j) next ^= tables[7 - j][(c >> (8 * j)) & 0xff];
    c = next;
  }
  for (; left > 0; --left, ++p)
    c = (c >> 8) ^ tables[0][(c ^ static_cast<unsigned char>(*p)) & 0xff];
  return ~c;
}

void Journal::fail(const std::string& what) const {
  throw WriteError("the journal " + quote(path_.string()) + " " + what);
}

Journal::Journal(const std::filesystem::path& path, const study::Layout& layout,
                 const std::string& fingerprint, Part part)
    : path_(path), layout_(layout), part_(part) {
  file_ = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (file_ < 0) fail(std::string("can't be opened: ") + std::strerror(errno));
  try {
    if (::flock(file_, LOCK_EX | LOCK_NB) != 0) {
      if (errno == EWOULDBLOCK)
        fail(
            "is in use: another serosa is at work in this folder; wait for it, or name another "
            "folder with --out");
      fail(std::string("can't be locked: ") + std::strerror(errno));
    }
    place_.assign(layout.blocks, -1);
    record_.resize(record_size(layout));
    begin(head_of(layout, fingerprint, part));
    scan();
  } catch (...) {
    ::close(file_);
    throw;
  }
}

Journal::~Journal() { ::close(file_); }

void Journal::begin(const std::string& head) {
  std::string there(head_size, '\0');
  std::size_t got = 0;
  while (got < head_size) {
    const ssize_t n = ::pread(file_, there.data() + got, head_size - got, static_cast<off_t>(got));
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) fail(std::string("can't be read: ") + std::strerror(errno));
    if (n == 0) break;
    got += static_cast<std::size_t>(n);
  }
  there.resize(got);
  if (got == head_size) {
    if (there == head) return;
    const std::string body = there.substr(0, head_size - 17);
    if (!there.starts_with("serosa journal ") ||
        there.substr(head_size - 17) != fmt::format("{:016x}\n", crc64(body)))
      fail("is damaged at its head, so its runs can't be told; remove it to begin anew");
    fail(
        "belongs to another study, another part or another version of the program; name another "
        "folder with --out");
  }
  if (!head.starts_with(there))
    fail("is damaged at its head, so its runs can't be told; remove it to begin anew");
  write_all(head, 0);
  if (::fsync(file_) != 0 && errno != EINVAL)
    fail(std::string("can't be written: ") + std::strerror(errno));
}

bool Journal::good_record(std::uint64_t place, std::vector<char>& bytes,
                          std::uint64_t& block) const {
  std::size_t got = 0;
  while (got < bytes.size()) {
    const ssize_t n =
        ::pread(file_, bytes.data() + got, bytes.size() - got, static_cast<off_t>(place + got));
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) fail(std::string("can't be read: ") + std::strerror(errno));
    if (n == 0) return false;
    got += static_cast<std::size_t>(n);
  }
  std::uint64_t mark = 0, sum = 0;
  std::memcpy(&mark, bytes.data(), 8);
  std::memcpy(&block, bytes.data() + 8, 8);
  std::memcpy(&sum, bytes.data() + bytes.size() - 8, 8);
  return mark == record_mark && block < layout_.blocks && part_.has(block) &&
         sum == crc64({bytes.data(), bytes.size() - 8});
}

void Journal::scan() {
  struct stat info {};
  if (::fstat(file_, &info) != 0) fail(std::string("can't be read: ") + std::strerror(errno));
  const auto size = static_cast<std::uint64_t>(info.st_size);
  std::uint64_t damaged = 0, damaged_now = 0;
  size_ = head_size;
  for (std::uint64_t place = head_size; place + record_.size() <= size; place += record_.size()) {
    std::uint64_t block = 0;
    if (!good_record(place, record_, block)) {
      ++damaged_now;
      continue;
    }
    damaged += damaged_now;
    damaged_now = 0;
    place_[block] = static_cast<std::int64_t>(place);
    size_ = place + record_.size();
  }
  if (damaged > 0)
    remarks_.push_back(fmt::format(
        "the journal {} is damaged: {} of its blocks do not agree with their checksum and are "
        "computed again",
        quote(path_.string()), damaged));
  if (size_ < size) {
    remarks_.push_back(
        fmt::format("the journal {} ends with {} bytes of unfinished or damaged blocks; they are "
                    "computed again",
                    quote(path_.string()), size - size_));
    if (::ftruncate(file_, static_cast<off_t>(size_)) != 0)
      fail(std::string("can't be written: ") + std::strerror(errno));
  }
}

void Journal::write_all(std::string_view bytes, std::uint64_t place) const {
  while (!bytes.empty()) {
    const ssize_t n = ::pwrite(file_, bytes.data(), bytes.size(), static_cast<off_t>(place));
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) fail(std::string("can't be written: ") + std::strerror(errno));
    bytes.remove_prefix(static_cast<std::size_t>(n));
    place += static_cast<std::uint64_t>(n);
  }
}

void Journal::append(std::uint64_t block, std::span<const double> table) {
  if (table.size() != layout_.numbers()) throw std::logic_error("a block of another size");
  if (has(block)) return;
  std::memcpy(record_.data(), &record_mark, 8);
  std::memcpy(record_.data() + 8, &block, 8);
  std::memcpy(record_.data() + record_head, table.data(), table.size_bytes());
  const std::uint64_t sum = crc64({record_.data(), record_.size() - 8});
  std::memcpy(record_.data() + record_.size() - 8, &sum, 8);
  write_all({record_.data(), record_.size()}, size_);
  place_[block] = static_cast<std::int64_t>(size_);
  size_ += record_.size();
}

void Journal::to_disk() {
  if (::fdatasync(file_) != 0 && errno != EINVAL)
    fail(std::string("can't be written: ") + std::strerror(errno));
}

void Journal::read(std::uint64_t block, std::size_t column, std::size_t row,
                   std::span<double> values) const {
  const std::uint64_t place = static_cast<std::uint64_t>(place_[block]) + record_head +
                              (column * layout_.block + row) * sizeof(double);
  auto* const to = reinterpret_cast<char*>(values.data());
  for (std::size_t got = 0; got < values.size_bytes();) {
    const ssize_t n =
        ::pread(file_, to + got, values.size_bytes() - got, static_cast<off_t>(place + got));
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) fail("can't be read back");
    got += static_cast<std::size_t>(n);
  }
}

Blocks::Blocks(const study::Layout& layout, std::vector<std::unique_ptr<Journal>> journals)
    : layout_(layout), journals_(std::move(journals)), holders_(layout.blocks, nullptr) {
  for (const auto& journal : journals_)
    for (std::uint64_t b = 0; b < layout.blocks; ++b)
      if (journal->has(b)) holders_[b] = journal.get();
}

const Journal* Blocks::holder(std::uint64_t block) const {
  if (holders_[block]) return holders_[block];
  // Blocks come while a batch runs, into its only journal.
  for (const auto& journal : journals_)
    if (journal->has(block)) return journal.get();
  return nullptr;
}

std::vector<std::uint64_t> Blocks::missing(Part part) const {
  std::vector<std::uint64_t> blocks;
  for (std::uint64_t b = 0; b < layout_.blocks; ++b)
    if (part.has(b) && !has(b)) blocks.push_back(b);
  return blocks;
}

void Blocks::read(std::size_t column, std::uint64_t first, std::span<double> values) const {
  while (!values.empty()) {
    const std::uint64_t block = first / layout_.block;
    const auto row = static_cast<std::size_t>(first % layout_.block);
    const std::size_t count = std::min(values.size(), layout_.block - row);
    const Journal* const journal = holder(block);
    if (!journal) throw std::logic_error("a block is missing");
    journal->read(block, column, row, values.first(count));
    values = values.subspan(count);
    first += count;
  }
}

}  // namespace serosa::files
