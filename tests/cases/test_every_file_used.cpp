// SPDX-License-Identifier: Apache-2.0
// Nothing is shipped that no case uses: every act, cover, fluid, warmer and room.
#include <catch2/catch.hpp>
#include <set>

#include "cases/shipped_cases.hpp"

namespace serosa::cases {
namespace {

/// The key table of a timeline's entries.
const files::KeyTable& acts() {
  for (const auto& key : files::case_keys().keys)
    if (key.name == "timeline") return *key.table;
  throw std::runtime_error("the case has no timeline");
}

/// The word that says what an entry of a timeline does.
std::string word_of(const files::Entry& entry) {
  return files::chosen_variant(entry.value, acts(), entry.key);
}

}  // namespace

TEST_CASE("Every act of the vocabulary is used by a shipped case", "[cases]") {
  std::set<std::string> used;
  for (const auto& [name, file] : shipped())
    if (const auto* timeline = file.understood.find("timeline"))
      for (const auto& entry : timeline->entries) used.insert(word_of(entry));
  for (const auto& [word, keys] : acts().variants) {
    INFO("act " << word);
    CHECK(used.count(word) == 1);
  }
}

TEST_CASE("Every cover, fluid, warmer and room is used by a shipped case", "[cases]") {
  std::map<files::DataKind, std::set<std::string>> used;
  using files::DataKind;
  const auto fluid = [&](const std::string& name) { used[DataKind::fluid].insert(name); };
  for (const auto& [name, file] : shipped()) {
    used[DataKind::room].insert(file.c.room.name);
    for (const auto& act : file.c.timeline) {
      if (const auto* d = std::get_if<care::SetWarmer>(&act.deed))
        used[DataKind::warmer].insert(d->warmer.name);
      if (const auto* d = std::get_if<care::MoveTo>(&act.deed))
        used[DataKind::room].insert(d->room.name);
      if (const auto* d = std::get_if<care::CoverBowel>(&act.deed)) {
        used[DataKind::cover].insert(d->cover.name);
        if (d->cover.dressing) fluid(d->wetting.name);
      }
      if (const auto* d = std::get_if<care::Rewet>(&act.deed)) fluid(d->fluid.name);
      if (const auto* d = std::get_if<care::Infuse>(&act.deed)) fluid(d->fluid.name);
      if (const auto* d = std::get_if<care::Bolus>(&act.deed)) fluid(d->fluid.name);
      if (const auto* d = std::get_if<care::ReplaceGastricLoss>(&act.deed)) fluid(d->fluid.name);
    }
  }
  for (const auto kind : {DataKind::cover, DataKind::fluid, DataKind::warmer, DataKind::room})
    for (const auto& name : files::data_names(SEROSA_MODELS, kind)) {
      INFO(files::folder_of(kind) << "/" << name);
      CHECK(used[kind].count(name) == 1);
    }
}

}  // namespace serosa::cases
