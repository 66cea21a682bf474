// SPDX-License-Identifier: Apache-2.0
#include "runner/page_words.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <regex>
#include <sstream>

#include "units/units.hpp"

namespace serosa::runner {

namespace {

std::string text_of(const files::Node& node, const char* key) {
  const auto* found = node.find(key);
  return found && found->is_text() ? found->text : std::string();
}

/// `36 wk` becomes `36 weeks`: units as people say them.
std::string spoken(std::string text) {
  const auto ends_with = [&](std::string_view end) {
    return text.size() > end.size() && text.compare(text.size() - end.size(), end.size(), end) == 0;
  };
  if (ends_with(" wk")) text.replace(text.size() - 2, 2, "weeks");
  if (ends_with(" degC")) text.replace(text.size() - 4, 4, "°C");
  if (ends_with(" 1")) text.erase(text.size() - 2);
  return text;
}

/// A piece of a case in one line.
std::string in_words(const files::Node* node) {
  if (!node || node->is_nothing()) return "none";
  if (node->is_text()) {
    if (node->text == "true") return "yes";
    if (node->text == "false") return "no";
    return spoken(node->text);
  }
  std::string words;
  const auto add = [&](const std::string& piece) { words += (words.empty() ? "" : ", ") + piece; };
  for (const auto& item : node->items) add(in_words(&item));
  for (const auto& entry : node->entries) add(plain_name(entry.key) + " " + in_words(&entry.value));
  return words.empty() ? "none" : words;
}

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z')
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

/// What an act is called, and the sentence of its details. `{key}` is replaced by the value of the
/// key, `{key~}` by it as a plain name.
struct Wording {
  const char* label;
  const char* details;
};
const std::map<std::string, Wording, std::less<>>& wordings() {
  static const std::map<std::string, Wording, std::less<>> table = {
      {"warmer", {"Warmer", "set to {to~}"}},
      {"lay-out-film", {"Film laid out", "on the mattress, ready"}},
      {"clamp-cord", {"Cord clamped", ""}},
      {"dry", {"Dried", "{share} of the fluid on the skin"}},
      {"hat", {"Hat", ""}},
      {"move", {"Moved", "to: {to~}"}},
      {"position", {"Laid", "{lie}"}},
      {"cover",
       {"Bowel covered",
        "with {with~}, layers: {layers}, {seal} of the edge closed, takes {over}"}},
      {"uncover", {"Bowel uncovered", ""}},
      {"re-wrap", {"Wrapped anew", "{seal} of the edge closed, takes {over}"}},
      {"rewet", {"Dressing wetted", "with {with~}"}},
      {"pass-tube", {"Stomach tube passed", ""}},
      {"aspirate", {"Stomach emptied", "by syringe"}},
      {"drain", {"Stomach drains", "freely through the tube"}},
      {"maintenance", {"Maintenance fluid", "{fluid~} at {rate}"}},
      {"change-maintenance", {"Maintenance changed", "by {by}, between {least} and {most}"}},
      {"stop-maintenance", {"Maintenance stopped", ""}},
      {"bolus", {"Bolus", "{volume} of {fluid~} over {over}"}},
      {"transfuse", {"Transfusion", "{volume} of {fluid~} over {over}"}},
      {"replace-gastric-loss", {"Gastric loss replaced", "{share} with {fluid~}, every {every}"}},
      {"sample-blood", {"Blood sampled", "{volume}"}},
      {"bleed", {"Bleeding", "{volume} and {share} of the blood volume over {over}"}},
      {"breathe", {"Breathing", "{by}"}},
      {"activity", {"Activity", "{factor} times lying still"}},
      {"reduce", {"Bowel put back", "{share} of what is outside"}},
      {"close", {"Abdomen closed", ""}},
      {"hold", {"Held fixed", "{control~} at {value}"}},
  };
  return table;
}

/// `glucose-10-saline-0.18` is `glucose 10 % saline 0.18 %`: numbers in these names are per cent.
std::string substance(const std::string& name) {
  std::string words;
  std::istringstream parts(plain_name(name));
  for (std::string part; parts >> part;) {
    const bool number = part.find_first_not_of("0123456789.") == std::string::npos;
    words += (words.empty() ? "" : " ") + part + (number ? " %" : "");
  }
  return words;
}

std::string filled(std::string_view form, const files::Node& act) {
  std::string words;
  while (!form.empty()) {
    const auto open = form.find('{');
    words += form.substr(0, open);
    if (open == std::string_view::npos) break;
    const auto close = form.find('}', open);
    std::string key(form.substr(open + 1, close - open - 1));
    const bool name = key.back() == '~';
    if (name) key.pop_back();
    const auto* value = act.find(key);
    const std::string text = value ? in_words(value) : "as given";
    words += name ? substance(text) : text;
    form.remove_prefix(close + 1);
  }
  return words;
}

/// The details of an act of this kind, without its label.
std::string details_of(const std::string& kind, const Wording& wording, const files::Node& act) {
  std::string details = filled(wording.details, act);
  if (kind == "hat") details = text_of(act, "on") == "false" ? "taken off" : "put on";
  if (kind == "drain" && text_of(act, "on") == "false") details = "no more: tube closed";
  if (kind == "position") {
    if (text_of(act, "lie") == "lateral") details = "on the side of the defect";
    if (text_of(act, "lie") == "supine") details = "on the back";
    if (text_of(act, "supported") == "true") details += ", bowel supported";
    if (text_of(act, "kinked") == "true") details += ", bowel hanging over the edge";
  }
  if (kind == "cover" && text_of(act, "tension") != "0 mmHg" && !text_of(act, "tension").empty())
    details += ", drawn tight (venous pressure + " + text_of(act, "tension") + ")";
  return details;
}

ActInWords act_in_words(const files::Entry& entry) {
  const files::Node& act = entry.value;
  const std::string kind = text_of(act, "act").empty() ? entry.key : text_of(act, "act");
  const std::string at = text_of(act, "at");
  ActInWords w{at.empty() ? 0.0 : units::to_model(at, "h"), capital(plain_name(kind)), {}};
  const auto found = wordings().find(kind);
  if (found == wordings().end()) {
    w.words = w.label;
    return w;
  }
  w.label = found->second.label;
  const std::string details = details_of(kind, found->second, act);
  w.words = w.label + (details.empty() ? "" : ": " + details);
  return w;
}

std::string bowel_fact(const files::Entry& entry) {
  const std::string value = in_words(&entry.value);
  if (entry.key == "thickening")
    return value == "1" ? "wall of normal thickness" : "wall " + value + " times the normal mass";
  if (entry.key == "matting")
    return value == "0" ? "loops not matted" : "matting " + value + " (0 none, 1 fully matted)";
  if (entry.key == "spread") return "loops spread " + value + " (0 packed, 1 all apart)";
  if (entry.key == "lie")
    return value == "lateral" ? "baby on its side at first" : "baby on its back at first";
  return plain_name(entry.key) + " " + value;
}

/// Protocols differ by what they are called; their rules would fill the page.
void collect_titles(const std::vector<const files::Node*>& protocols,
                    std::vector<DifferenceInWords>& found) {
  std::vector<std::string> words;
  for (const auto* p : protocols)
    words.push_back(p && p->is_map() ? text_of(*p, "title") : std::string("none"));
  if (std::any_of(words.begin(), words.end(), [&](const auto& w) { return w != words.front(); }))
    found.push_back({"Protocol", std::move(words)});
}

void collect(const std::vector<const files::Node*>& nodes, const std::string& path,
             std::vector<DifferenceInWords>& found) {
  std::vector<std::string> words;
  for (const auto* node : nodes) words.push_back(in_words(node));
  if (std::all_of(words.begin(), words.end(), [&](const auto& w) { return w == words.front(); }))
    return;
  const bool all_maps = std::all_of(nodes.begin(), nodes.end(),
                                    [](const auto* node) { return node && node->is_map(); });
  if (!all_maps) {
    found.push_back({capital(path), std::move(words)});
    return;
  }
  std::vector<std::string> keys;
  for (const auto* node : nodes)
    for (const auto& entry : node->entries)
      if (std::find(keys.begin(), keys.end(), entry.key) == keys.end()) keys.push_back(entry.key);
  for (const auto& key : keys) {
    if (path.empty() &&
        (key == "title" || key == "note" || key == "report_at" || key == "timeline"))
      continue;
    std::vector<const files::Node*> below;
    for (const auto* node : nodes) below.push_back(node->find(key));
    if (path.empty() && key == "protocol") {
      collect_titles(below, found);
      continue;
    }
    collect(below, path.empty() ? plain_name(key) : path + ", " + plain_name(key), found);
  }
}

std::string time_in_words(const std::string& at) {
  return !at.empty() && at.front() == '-' ? at.substr(1) + " before birth" : "at " + at;
}

/// Acts that are not the same in all cases, one line each.
void collect_acts(const std::vector<const files::Node*>& cases,
                  std::vector<DifferenceInWords>& found) {
  std::vector<std::string> keys;
  for (const auto* c : cases)
    if (const auto* timeline = c->find("timeline"))
      for (const auto& entry : timeline->entries)
        if (std::find(keys.begin(), keys.end(), entry.key) == keys.end()) keys.push_back(entry.key);
  for (const auto& key : keys) {
    std::vector<std::string> words;
    std::string label;
    for (const auto* c : cases) {
      const auto* timeline = c->find("timeline");
      const files::Node* act = timeline ? timeline->find(key) : nullptr;
      if (!act) {
        words.push_back("not done");
        continue;
      }
      const ActInWords w = act_in_words({key, {}, *act});
      label = w.label;
      words.push_back(time_in_words(text_of(*act, "at")) + w.words.substr(w.label.size()));
    }
    if (std::any_of(words.begin(), words.end(), [&](const auto& w) { return w != words.front(); }))
      found.push_back({label, std::move(words)});
  }
}

/// A share, written as a bare number or in per cent, in per cent.
std::string in_per_cent(const std::string& share) {
  char* end = nullptr;
  const double x = std::strtod(share.c_str(), &end);
  if (share.empty() || *end != '\0') return share;
  char figures[32];
  std::snprintf(figures, sizeof figures, "%.3g %%", 100 * x);
  return figures;
}

/// Numbers with more than four digits behind the point, as the middle of a law has them, are cut to
/// three figures; what somebody wrote stays as written.
std::string rounded(const std::string& text) {
  std::string result;
  for (std::size_t at = 0; at < text.size();) {
    std::size_t end = at;
    while (end < text.size() &&
           (std::isdigit(static_cast<unsigned char>(text[end])) || text[end] == '.'))
      ++end;
    const std::string number = text.substr(at, end - at);
    const auto point = number.find('.');
    if (point != std::string::npos && number.size() - point > 5) {
      char figures[32];
      const double x = std::strtod(number.c_str(), nullptr);
      std::snprintf(figures, sizeof figures, x < 1000 ? "%.3g" : "%.0f", x);
      result += figures;
    } else {
      result += end > at ? number : text.substr(at, 1);
    }
    at = std::max(end, at + 1);
  }
  return result;
}

}  // namespace

std::string plain_name(std::string name) {
  // A hyphen between letters joins words; in a number it would be a sign.
  for (std::size_t i = 0; i < name.size(); ++i)
    if (name[i] == '_' || (name[i] == '-' && i > 0)) name[i] = ' ';
  return name;
}

std::string deed_in_words(const files::Node& deed) {
  return act_in_words({text_of(deed, "act"), {}, deed}).words;
}

std::vector<ActInWords> acts_in_words(const files::Node& understood) {
  std::vector<ActInWords> acts;
  if (const auto* timeline = understood.find("timeline"))
    for (const auto& entry : timeline->entries) acts.push_back(act_in_words(entry));
  if (const auto* protocol = understood.find("protocol"))
    if (const auto* orders = protocol->find("orders"))
      for (const auto& entry : orders->entries) acts.push_back(act_in_words(entry));
  std::stable_sort(acts.begin(), acts.end(),
                   [](const auto& a, const auto& b) { return a.time < b.time; });
  return acts;
}

std::vector<std::pair<std::string, std::string>> facts_in_words(const files::Node& understood) {
  std::vector<std::pair<std::string, std::string>> facts;
  if (const auto* baby = understood.find("baby")) {
    std::string words = spoken(text_of(*baby, "weight")) + " at birth, " +
                        spoken(text_of(*baby, "gestation")) + " of gestation";
    if (const auto delivery = text_of(*baby, "delivery"); !delivery.empty())
      words += ", " + plain_name(delivery) + " delivery";
    for (const auto& entry : baby->entries)
      if (entry.key != "weight" && entry.key != "gestation" && entry.key != "delivery" &&
          entry.key != "gastroschisis")
        words += ", " + plain_name(entry.key) + " " + in_words(&entry.value);
    facts.emplace_back("Baby", words);
  }
  if (const auto* bowel = understood.find("bowel")) {
    std::string words = "inside the abdomen";
    if (text_of(*bowel, "outside") != "false") {
      words = in_per_cent(text_of(*bowel, "herniated")) + " outside the abdomen";
      for (const auto& entry : bowel->entries)
        if (entry.key != "outside" && entry.key != "herniated" && entry.value.text != "false")
          words += ", " + bowel_fact(entry);
    }
    facts.emplace_back("Bowel", words);
  }
  std::string room = plain_name(text_of(understood, "room"));
  if (const auto* air = understood.find("air"); air && !air->is_nothing())
    room += ", air: " + in_words(air);
  facts.emplace_back("Room", room);
  if (const auto* set = understood.find("parameters");
      set && set->is_map() && !set->entries.empty()) {
    std::string words;
    for (const auto& entry : set->entries)
      words +=
          (words.empty() ? "" : "; ") + input_in_words(entry.key) + ": " + in_words(&entry.value);
    facts.emplace_back("Set by the case", words);
  }
  for (auto& fact : facts) fact.second = rounded(fact.second);
  return facts;
}

std::vector<DifferenceInWords> differences_in_words(const std::vector<const files::Node*>& cases) {
  std::vector<DifferenceInWords> found;
  collect(cases, {}, found);
  collect_acts(cases, found);
  for (auto& one : found)
    for (auto& words : one.words) words = rounded(words);
  return found;
}

std::string input_in_words(const std::string& name) {
  // Only where the name itself does not say it.
  static const std::map<std::string, const char*, std::less<>> table = {
      {"abdominal_venous_drag", "Filling lost by abdominal pressure"},
      {"amniotic_film", "Amniotic fluid on the skin at birth"},
      {"antidiuretic_birth_stress", "Antidiuretic hormone from the stress of birth"},
      {"antidiuretic_lag", "Lag of antidiuretic hormone"},
      {"antidiuretic_stress_time", "Time in which the stress of birth fades"},
      {"atrial_share", "Right atrial against mean filling pressure"},
      {"body_diameter", "Diameter of trunk and limbs"},
      {"body_filtration_coefficient", "Filtration of body capillaries"},
      {"body_lymph_ceiling", "Largest lymph flow of the body"},
      {"body_lymph_pressure_scale", "Pressure that drives lymph of the body"},
      {"body_reflection_coefficient", "Protein held back by body capillaries"},
      {"body_surface_coefficient", "Body surface for weight and length"},
      {"bowel_capillary_venous_gain", "Venous pressure that reaches bowel capillaries"},
      {"bowel_facing_up_fraction", "Share of the bowel that faces the warmer"},
      {"bowel_filtration_coefficient", "Filtration of bowel capillaries"},
      {"bowel_heat_effectiveness", "Share of the blood's heat that reaches the bowel"},
      {"bowel_lymph_ceiling", "Largest lymph flow of the bowel"},
      {"bowel_lymph_pressure_scale", "Pressure that drives lymph of the bowel"},
      {"bowel_radiating_fraction", "Share of the bowel that sees the room"},
      {"bowel_reflection_coefficient", "Protein held back by bowel capillaries"},
      {"cell_water_time", "Time in which water follows into cells"},
      {"collapse_loss", "Blood loss at which the circulation fails"},
      {"collapse_width", "How suddenly the circulation fails"},
      {"congestion_lateral", "Venous congestion, baby on its side"},
      {"congestion_lateral_supported", "Venous congestion, baby on its side, bowel supported"},
      {"congestion_supine", "Venous congestion of the bowel, baby on its back"},
      {"congestion_supine_kinked", "Venous congestion, baby on its back, bowel kinked"},
      {"congestion_supine_supported", "Venous congestion, baby on its back, bowel supported"},
      {"contact_conductance", "Heat flow from mattress to skin"},
      {"contact_fraction", "Share of the skin on the mattress"},
      {"convecting_fraction", "Share of the skin in moving air"},
      {"core_skin_conductance_high", "Heat flow from core to skin, vessels open"},
      {"core_skin_conductance_low", "Heat flow from core to skin, vessels narrow"},
      {"cover_protection", "Protection of bowel capillaries by a cover"},
      {"diuresis_high", "Sodium excretion in the early diuresis"},
      {"diuresis_low", "Sodium excretion before the early diuresis"},
      {"diuresis_onset", "Time of the early diuresis"},
      {"diuresis_spread", "Length of the early diuresis"},
      {"dried_serosa_resistance", "Resistance of dried serosa to vapour"},
      {"extracellular_water_per_week", "Water outside cells, change per week of gestation"},
      {"extracellular_water_term", "Water outside cells at term"},
      {"exudation_onset", "Wall pressure at which oozing begins"},
      {"facing_up_fraction", "Share of the body that faces the warmer"},
      {"feto_placental_volume", "Blood of baby and placenta together"},
      {"fetal_haematocrit_term", "Fetal haematocrit at term"},
      {"filtration_pressure_exponent", "Kidney filtration against blood pressure"},
      {"filtration_rate_at_birth", "Filtration of the kidneys at birth"},
      {"filtration_rate_per_week", "Kidney filtration, change per week of gestation"},
      {"filtration_rate_rise", "Rise of kidney filtration after birth"},
      {"filtration_rate_rise_time", "Time in which kidney filtration rises"},
      {"free_drainage_rate", "Emptying by a tube on free drainage"},
      {"gas_congestion", "Venous congestion by gas in the bowel"},
      {"gastric_passage", "Passage from stomach to bowel"},
      {"gastric_secretion", "Secretion of the stomach"},
      {"head_share", "Share of skin on the head"},
      {"heart_half_saturation", "Filling at which the heart gives half its output"},
      {"inside_conductance", "Heat flow between bowel inside and core"},
      {"interstitial_compliance", "Give of the space between cells"},
      {"interstitial_pressure_at_rest", "Pressure between cells at rest"},
      {"interstitial_protein_ratio", "Protein between cells against plasma"},
      {"leak_shelter", "Evaporation through the open edge of a wrap"},
      {"length_per_cube_root_of_weight", "Length for weight"},
      {"loop_diameter", "Diameter of a loop of bowel"},
      {"lower_share", "Share of skin on trunk and legs"},
      {"lumen_absorption", "Absorption from the lumen"},
      {"lumen_contents_at_birth", "Contents of the bowel at birth"},
      {"lumen_reflux", "Reflux from bowel to stomach"},
      {"luminal_conductance", "Oozing from the wall into the lumen"},
      {"mattress_base_conductance", "Heat flow from mattress to its base"},
      {"mattress_diameter", "Width of the mattress patch"},
      {"mattress_shade", "Share of the mattress that the baby covers"},
      {"mesenteric_constriction", "Narrowing of bowel vessels when blood is lost"},
      {"mesenteric_flow", "Blood flow to the bowel at rest"},
      {"metabolic_q10", "Metabolism, gain per 10 °C"},
      {"packed_shape", "Bare surface of packed loops"},
      {"plasma_protein_vaginal", "Plasma protein after vaginal birth"},
      {"plasma_protein_caesarean", "Plasma protein after caesarean"},
      {"plasma_protein_no_labour", "Plasma protein after caesarean without labour"},
      {"plasma_protein_per_week", "Plasma protein, change per week of gestation"},
      {"gastroschisis_protein_deficit", "Plasma protein missing in gastroschisis"},
      {"reference_blood_volume", "Blood volume of the reference newborn"},
      {"reference_plasma_protein", "Plasma protein of the reference newborn"},
      {"sodium_excretion_term", "Share of filtered sodium excreted at term"},
      {"placental_share_late", "Blood still in the placenta when the cord is clamped late"},
      {"placental_share_transferable", "Blood that the placenta can still give"},
      {"placental_transfusion_time", "Time in which the placenta gives blood"},
      {"radiating_fraction", "Share of the skin that radiates"},
      {"reflection_loss_by_exposure", "Leakiness of bowel capillaries after exposure"},
      {"reflection_loss_time", "Time in which bowel capillaries become leaky"},
      {"reflex_strength", "Strength of the pressure reflex"},
      {"serosal_conductance", "Oozing from the wall onto the serosa"},
      {"servo_width", "Temperature error that drives the servo warmer"},
      {"skin_loss_air_resistance", "Resistance of air where skin loss was measured"},
      {"skin_loss_early_gain", "Skin loss, excess in the first hours"},
      {"skin_loss_per_week", "Skin loss, change per week of gestation"},
      {"skin_loss_preterm_excess", "Skin loss, excess of preterm skin"},
      {"skin_loss_term", "Skin loss at term"},
      {"skin_loss_vapour_difference", "Vapour pressure at which skin loss was measured"},
      {"small_bowel_length", "Length of the small bowel"},
      {"solute_load", "Urea and other solutes for the urine"},
      {"spread", "How far the loops lie apart"},
      {"stomach_contents_at_birth", "Contents of the stomach at birth"},
      {"stressed_fraction", "Share of blood volume that fills the heart"},
      {"surface_fluid_at_birth", "Fluid on the bowel at birth"},
      {"surface_fluid_held", "Fluid that bare bowel holds before it drips"},
      {"surface_wetness_scale", "Fluid at which the wet bowel becomes patchy"},
      {"sweat_gain", "Strength of sweating"},
      {"sweat_threshold", "Core temperature at which sweating begins"},
      {"total_body_water_per_week", "Body water, change per week of gestation"},
      {"total_body_water_term", "Body water at term"},
      {"upper_share", "Share of skin on arms and chest"},
      {"urine_osmolality_high", "Most concentrated urine"},
      {"urine_osmolality_low", "Most dilute urine"},
      {"vasomotor_centre", "Temperature at which skin vessels open"},
      {"vasomotor_width", "How suddenly skin vessels open"},
      {"ventilation_per_oxygen", "Breathing for the oxygen used"},
      {"wall_hydration_scale", "Swelling at which the bowel wall turns soft"},
      {"wall_mass", "Mass of the bowel wall"},
      {"wall_pressure_at_rest", "Pressure in the bowel wall at rest"},
      {"wall_pressure_scale", "Stiffness of the bowel wall"},
      {"wall_protein_ratio", "Protein of the bowel wall against plasma"},
      {"wall_water_fraction", "Water in the resting bowel wall"},
      {"wetness_scale", "Film at which the wet skin becomes patchy"}};
  const auto found = table.find(name);
  return found != table.end() ? found->second : capital(plain_name(name));
}

std::string varied_in_words(const std::string& path) {
  static const std::map<std::string, const char*, std::less<>> table = {
      {"baby.gestation", "Gestation at birth"},
      {"baby.weight", "Birth weight"},
      {"baby.length", "Length at birth"},
      {"baby.delivery", "Mode of delivery"},
      {"baby.haematocrit", "Haematocrit at birth"},
      {"bowel.herniated", "Share of the small bowel outside"},
      {"bowel.thickening", "Mass of the bowel wall against normal"},
      {"bowel.spread", "How far the loops lie apart (0 packed, 1 all apart)"},
      {"bowel.matting", "Matting of the loops (0 none, 1 fully matted)"},
      {"bowel.kinked", "Bowel hangs over the edge of the defect"},
      {"bowel.lie", "Baby on its back or side"},
      {"air.temperature", "Air temperature"},
      {"air.humidity", "Humidity of the air"},
      {"air.speed", "Air speed"}};
  if (const auto found = table.find(path); found != table.end()) return found->second;
  if (path.rfind("parameters.", 0) == 0) return input_in_words(path.substr(11));
  std::string words;
  std::string rest = path.rfind("timeline.", 0) == 0 ? path.substr(9) : path;
  // The last part says which number of the act it is.
  if (const auto dot = rest.rfind('.'); dot != std::string::npos) {
    const std::string key = rest.substr(dot + 1);
    words = rest.substr(0, dot) + ": " +
            (key == "at"   ? "time"
             : key == "to" ? "setting"
                           : plain_name(key));
  } else {
    words = rest;
  }
  std::replace(words.begin(), words.end(), '.', ' ');
  return capital(plain_name(words));
}

std::string law_in_words(std::string law, bool words) {
  using Change = std::pair<const char*, const char*>;
  for (const auto& [from, to] : {Change{" wk", " weeks"},
                                 {"degC", "°C"},
                                 {"m2", "m²"},
                                 {"-without-", " without "},
                                 {R"((^| )-(\d))", "$1−$2"}})
    law = std::regex_replace(law, std::regex(from), to);
  if (!words) return law;
  // A weight is something else where babies are spoken of.
  for (const auto& [from, to] : {Change{R"(\bfalse\b)", "no"},
                                 {R"(\btrue\b)", "yes"},
                                 {R"(\(weight 1\))", "(1 part)"},
                                 {R"(\(weight ([^)]{1,24})\))", "($1 parts)"}})
    law = std::regex_replace(law, std::regex(from), to);
  return law;
}

std::string shown_unit(std::string unit) {
  if (unit == "1") return {};
  if (unit == "wk" || unit == "week") return "weeks";
  for (const auto& [from, to] :
       {std::pair<std::string, std::string>{"degC", "°C"}, {"m2", "m²"}, {"wk", "week"}})
    for (auto at = unit.find(from); at != std::string::npos; at = unit.find(from, at + to.size()))
      unit.replace(at, from.size(), to);
  if (unit == "1/min") return "per minute";
  if (unit == "1/h") return "per hour";
  return unit;
}

std::string behind_figure(const std::string& unit) {
  const std::string shown = shown_unit(unit);
  return shown.empty() ? shown : " " + shown;
}

OutputInWords output_in_words(const std::string& name, const std::string& meaning,
                              const std::string& unit) {
  struct Entry {
    const char* label;
    const char* phrase;  ///< of what flows; null of what stands
  };
  static const std::map<std::string, Entry, std::less<>> table = {
      {"skin_loss", {"Water lost through the skin", "lost through the skin"}},
      {"bowel_evaporation", {"Evaporated from the bowel", "evaporated from the bowel"}},
      {"airway_loss", {"Water lost with the breath", "lost with the breath"}},
      {"urine", {"Urine", "passed as urine"}},
      {"gastric_drainage", {"Drained from the stomach", "drained from the stomach"}},
      {"bowel_drip", {"Dripped from the bowel", "dripped from the bowel"}},
      {"blood_loss", {"Water of blood lost or sampled", "lost with blood"}},
      {"given_total", {"Water of fluids given", "given"}},
      {"external_deficit", {"External deficit", "lost by all routes together"}},
      {"charted_deficit", {"Charted deficit", nullptr}},
      {"circulating_deficit", {"Circulating deficit", nullptr}},
      {"third_space", {"Third space", nullptr}},
      {"haematocrit", {"Haematocrit", nullptr}},
      {"plasma_sodium", {"Sodium of the plasma", nullptr}},
      {"mesenteric_flow", {"Blood flow to the bowel", nullptr}}};
  OutputInWords words;
  const auto found = table.find(name);
  words.label = capital(found != table.end() ? found->second.label : meaning);
  words.flows = found != table.end() && found->second.phrase;
  if (words.flows) words.phrase = found->second.phrase;
  words.unit = shown_unit(unit);
  words.per_kg = unit == "g" || unit == "mL";
  if (words.per_kg) words.unit = "mL/kg";
  if (name == "haematocrit") words.factor = 100, words.unit = "%";
  if (name == "mesenteric_flow" || name == "relative_output")
    words.factor = 100, words.unit = "% of rest";
  const bool amount = words.per_kg || unit == "J";
  words.more = words.flows ? "more" : amount ? "larger" : "higher";
  words.less = words.flows ? "less" : amount ? "smaller" : "lower";
  return words;
}

}  // namespace serosa::runner
