// SPDX-License-Identifier: Apache-2.0
#include "runner/page_common.hpp"

namespace serosa::runner {

using Json = PageData;

PageData limits_section(const std::vector<std::string>& more) {
  Json s = page_section("limits", "list", "Limits", "What this page cannot tell");
  Json items = Json::array(
      {"No evaporation of human bowel in gastroschisis has ever been measured. What is shown rests "
       "on physics, on animal and adult data, and on assumptions that are named.",
       "Blood glucose, potassium, lactate, infection and diseases of the heart are not modelled."});
  for (const auto& item : more) items.push_back(item);
  s["data"] = {{"items", items}};
  return s;
}

PageData words_section(const std::vector<std::pair<std::string, std::string>>& more) {
  std::vector<std::pair<std::string, std::string>> list{
      {"mL/kg", "millilitres per kilogram of birth weight; 1 mL of water is counted as 1 g"},
      {"mmol/L, mmol/kg", "millimoles per litre, and per kilogram of birth weight"},
      {"mmHg", "millimetres of mercury"},
      {"d, h, min, s", "days, hours, minutes, seconds"},
      {"Haematocrit", "share of the blood's volume that is red cells"},
      {"Clamping", "the clamping of the umbilical cord, which fixes the blood volume at the start"},
      {"External deficit", "water lost by every route less water gained"},
      {"Charted deficit",
       "urine, drainage and blood out, less fluids in: what a fluid chart can see"},
      {"Circulating deficit", "blood volume missing against the volume when the cord was clamped"},
      {"Third space",
       "water gained by the bowel's wall, its lumen (the inside of the gut) and its surface"},
      {"Ordinary care",
       "the same baby with its bowel inside, dried, under a warmer, nothing given"},
      {"PVC, pvc", "polyvinyl chloride, a soft film"},
      {"WHO", "World Health Organization"}};
  list.insert(list.end(), more.begin(), more.end());
  Json s = page_section("words", "table", "Words and units", "What the words and units mean");
  Json rows = Json::array();
  for (const auto& [word, meaning] : list) rows.push_back({{"cells", {word, meaning}}});
  s["data"] = {{"head", {"Word", "Meaning"}}, {"rows", rows}, {"text", true}};
  return s;
}

}  // namespace serosa::runner
