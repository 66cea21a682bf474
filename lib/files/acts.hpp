// SPDX-License-Identifier: Apache-2.0
// Acts as they stand in files: in the timeline of a case, in the orders and rules of a protocol.
#pragma once
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "baby/controls.hpp"
#include "care/case.hpp"
#include "files/keys.hpp"
#include "files/models.hpp"
#include "files/reader.hpp"

namespace serosa::files {

/// What differs from a named room.
const KeyTable& air_keys();

/// Every deed by the word that files use, with its keys.
using DeedKeys = std::vector<std::pair<std::string, std::vector<Key>>>;
const DeedKeys& deed_keys();
/// Those of them with these words.
DeedKeys deed_keys(const std::vector<std::string>& words);
/// The words of deeds.
std::vector<std::string> deed_words(const DeedKeys& deeds);

/// Acts by name, each with its hour: `at`, and what these deeds take.
KeyTable act_table(std::string name, std::string help, const DeedKeys& deeds);

/// The bowel's lie, from `lie`, `supported` and `kinked`.
care::Position read_position(Reader& r);

/// Reads deeds and the data files that they name.
class DeedReader {
 public:
  DeedReader(const Models& models, Problems& problems) : models_(models), problems_(problems) {}

  /// @param word  one of `deed_words`
  care::Deed deed(const std::string& word, Reader& r);
  /// A named room with what `air` changes of it.
  care::Room room(Reader& r, std::string_view key);
  /// A dated deed; its name is the entry's.
  care::Act act(const std::string& name, Reader& r);

 private:
  template <class Value>
  using FromFile = Value (*)(const std::filesystem::path&, Problems&);
  template <class Value>
  Value data(Reader& r, std::string_view key, FromFile<Value> from);
  care::Deed hold(Reader& r);

  const Models& models_;
  Problems& problems_;
};

}  // namespace serosa::files
