// SPDX-License-Identifier: Apache-2.0
// The journal of a batch: what is kept, what is told from damage.
#include "files/journal.hpp"

#include <catch2/catch.hpp>
#include <fstream>
#include <numeric>

#include "files/results_folder.hpp"
#include "temporary_folder.hpp"

namespace serosa::files {
namespace {

using Catch::Matchers::Contains;
namespace fs = std::filesystem;

/// 100 runs of one arm, one output at one time: 13 blocks of 8, the last with 4.
study::Layout layout() {
  study::Study s;
  s.design.runs = 100;
  s.arms.resize(1);
  s.outputs = {simulate::output::blood_volume};
  s.times = {1};
  return study::Layout(s);
}

/// A table whose numbers tell block, column and row.
std::vector<double> table_of(std::uint64_t block) {
  const auto l = layout();
  std::vector<double> table(l.numbers());
  for (std::size_t c = 0; c < l.columns(); ++c)
    for (std::size_t r = 0; r < l.block; ++r)
      table[c * l.block + r] = static_cast<double>(block * l.block + r) + 0.001 * double(c);
  return table;
}

struct Fixture {
  TemporaryFolder folder;
  fs::path path = folder / "journal";

  void write(std::initializer_list<std::uint64_t> blocks) const {
    Journal journal(path, layout(), "study a", {});
    for (const auto b : blocks) journal.append(b, table_of(b));
    journal.to_disk();
  }
  std::string bytes() const {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }
  void put(const std::string& all) const { std::ofstream(path, std::ios::binary) << all; }
};

std::size_t record_size() { return 24 + layout().numbers() * 8; }

std::vector<double> column(const Journal& journal, std::uint64_t block, std::size_t c) {
  std::vector<double> values(layout().runs_of(block));
  journal.read(block, c, 0, values);
  return values;
}

TEST_CASE("the checksum is CRC-64 as xz uses it") {
  // The check value of the catalogue of parametrised CRC algorithms for CRC-64/XZ.
  CHECK(crc64("123456789") == 0x995dc9bbdf1939fa);
  CHECK(crc64("") == 0);
  // Piece by piece, whatever the pieces.
  const std::string text = "a text of more than eight bytes, in pieces";
  for (std::size_t cut = 0; cut <= text.size(); ++cut)
    CHECK(crc64(text.substr(cut), crc64(text.substr(0, cut))) == crc64(text));
}

TEST_CASE("blocks come back from the journal as they went in") {
  const Fixture f;
  f.write({3, 0, 12});
  Journal journal(f.path, layout(), "study a", {});
  CHECK(journal.remarks().empty());
  for (std::uint64_t b = 0; b < layout().blocks; ++b)
    CHECK(journal.has(b) == (b == 0 || b == 3 || b == 12));
  CHECK(column(journal, 3, 2) ==
        std::vector<double>{24.002, 25.002, 26.002, 27.002, 28.002, 29.002, 30.002, 31.002});
  CHECK(column(journal, 12, 0) == std::vector<double>{96, 97, 98, 99});
  // A block that is there is not added again.
  const auto size = fs::file_size(f.path);
  journal.append(3, table_of(3));
  CHECK(fs::file_size(f.path) == size);
  CHECK(size == 4096 + 3 * record_size());
}

TEST_CASE("a journal cut anywhere loses at most the block in hand") {
  const Fixture f;
  f.write({3, 0, 12});
  const std::string whole = f.bytes();
  for (const std::size_t length :
       {whole.size() - 1, whole.size() - record_size() + 1, whole.size() - record_size(),
        std::size_t{4096} + record_size() + 17, std::size_t{4097}, std::size_t{4096},
        std::size_t{4095}, std::size_t{20}, std::size_t{0}}) {
    CAPTURE(length);
    f.put(whole.substr(0, length));
    const std::size_t kept = length < 4096 ? 0 : (length - 4096) / record_size();
    const std::uint64_t order[] = {3, 0, 12};
    {
      Journal journal(f.path, layout(), "study a", {});
      for (std::size_t i = 0; i < 3; ++i) CHECK(journal.has(order[i]) == (i < kept));
      CHECK(journal.remarks().empty() == (length <= 4096 || (length - 4096) % record_size() == 0));
      for (const auto b : order) journal.append(b, table_of(b));
    }
    // It ends as if nothing had happened.
    CHECK(f.bytes() == whole);
  }
}

TEST_CASE("a damaged block is told and counts as missing") {
  const Fixture f;
  f.write({3, 0, 12});
  for (const std::size_t place : {std::size_t{4096}, std::size_t{4096 + 8}, std::size_t{4096 + 200},
                                  std::size_t{4096} + record_size() - 1}) {
    CAPTURE(place);
    std::string bytes = f.bytes();
    const std::string good = bytes;
    bytes[place] = static_cast<char>(bytes[place] ^ 0x10);
    f.put(bytes);
    {
      Journal journal(f.path, layout(), "study a", {});
      CHECK_FALSE(journal.has(3));
      CHECK(journal.has(0));
      CHECK(journal.has(12));
      REQUIRE(journal.remarks().size() == 1);
      CHECK_THAT(journal.remarks()[0], Contains("damaged: 1 of its blocks"));
      CHECK(column(journal, 0, 1) ==
            std::vector<double>{0.001, 1.001, 2.001, 3.001, 4.001, 5.001, 6.001, 7.001});
    }
    f.put(good);
  }
}

TEST_CASE("another study's journal, a damaged head and a file of something else are refused") {
  const Fixture f;
  f.write({1});
  const auto open = [&](const std::string& study, Part part) {
    const Journal journal(f.path, layout(), study, part);
  };
  CHECK_THROWS_WITH(open("study b", {}), Contains("belongs to another study"));
  CHECK_THROWS_WITH(open("study a", (Part{1, 2})), Contains("another part"));
  const std::string good = f.bytes();
  std::string bytes = good;
  bytes[100] = 'x';
  f.put(bytes);
  CHECK_THROWS_WITH(open("study a", {}), Contains("damaged at its head"));
  CHECK(f.bytes() == bytes);  // nothing was done to it
  f.put("Somebody's notes.\n");
  CHECK_THROWS_WITH(open("study a", {}), Contains("damaged at its head"));
  CHECK(f.bytes() == "Somebody's notes.\n");
}

TEST_CASE("a journal in use is refused") {
  const Fixture f;
  const Journal first(f.path, layout(), "study a", {});
  CHECK_THROWS_WITH(Journal(f.path, layout(), "study a", {}),
                    Contains("another serosa is at work in this folder"));
}

TEST_CASE("a journal that can't be written says so") {
  CHECK_THROWS_AS(Journal("/proc/nowhere/journal", layout(), "study a", {}), WriteError);
}

TEST_CASE("parts share the blocks out, each once") {
  for (const std::uint32_t parts : {1u, 3u, 20u})
    for (std::uint64_t b = 0; b < 40; ++b) {
      int holders = 0;
      for (std::uint32_t n = 1; n <= parts; ++n) holders += Part{n, parts}.has(b);
      CHECK(holders == 1);
    }
}

TEST_CASE("journals of parts are one table") {
  const TemporaryFolder folder;
  std::vector<std::unique_ptr<Journal>> journals;
  for (std::uint32_t n = 1; n <= 3; ++n) {
    const Part part{n, 3};
    journals.push_back(std::make_unique<Journal>(folder / ("journal-" + std::to_string(n)),
                                                 layout(), "study a", part));
    for (std::uint64_t b = 0; b < layout().blocks; ++b)
      if (part.has(b) && b != 7) journals.back()->append(b, table_of(b));
  }
  Blocks blocks(layout(), std::move(journals));
  CHECK(blocks.missing() == std::vector<std::uint64_t>{7});
  CHECK(blocks.missing({1, 3}).empty());
  CHECK(blocks.missing({2, 3}) == std::vector<std::uint64_t>{7});
  blocks.journals()[1]->append(7, table_of(7));
  CHECK(blocks.missing().empty());
  // A column across all blocks, from a run in the middle of one.
  std::vector<double> values(97), expected(97);
  std::iota(expected.begin(), expected.end(), 3.0);
  blocks.read(0, 3, values);
  CHECK(values == expected);
}

}  // namespace
}  // namespace serosa::files
