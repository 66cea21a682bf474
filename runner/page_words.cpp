// SPDX-License-Identifier: Apache-2.0
#include "runner/page_words.hpp"

#include <algorithm>
#include <map>

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
      {"cover", {"Bowel covered", "with {with~}, layers of film {layers}, {seal} of the edge closed, over {over}"}},
      {"uncover", {"Bowel uncovered", ""}},
      {"rewet", {"Dressing wetted", "with {with~}"}},
      {"pass-tube", {"Stomach tube passed", ""}},
      {"aspirate", {"Stomach emptied", "by syringe"}},
      {"drain", {"Stomach drains", "freely through the tube"}},
      {"maintenance", {"Maintenance fluid", "{fluid~} at {rate}"}},
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
    words += name ? plain_name(text) : text;
    form.remove_prefix(close + 1);
  }
  return words;
}

ActInWords act_in_words(const files::Entry& entry) {
  const files::Node& act = entry.value;
  const std::string kind = text_of(act, "act").empty() ? entry.key : text_of(act, "act");
  ActInWords w{units::to_model(text_of(act, "at"), "h"), capital(plain_name(kind)), {}};
  const auto found = wordings().find(kind);
  if (found == wordings().end()) {
    w.words = w.label;
    return w;
  }
  w.label = found->second.label;
  std::string details = filled(found->second.details, act);
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
  w.words = w.label + (details.empty() ? "" : ": " + details);
  return w;
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
    if (path.empty() && (key == "title" || key == "note" || key == "report_at" || key == "timeline"))
      continue;
    std::vector<const files::Node*> below;
    for (const auto* node : nodes) below.push_back(node->find(key));
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

}  // namespace

std::string plain_name(std::string name) {
  // A hyphen between letters joins words; in a number it would be a sign.
  for (std::size_t i = 0; i < name.size(); ++i)
    if (name[i] == '_' || (name[i] == '-' && i > 0)) name[i] = ' ';
  return name;
}

std::vector<ActInWords> acts_in_words(const files::Node& understood) {
  std::vector<ActInWords> acts;
  if (const auto* timeline = understood.find("timeline"))
    for (const auto& entry : timeline->entries) acts.push_back(act_in_words(entry));
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
      words = text_of(*bowel, "herniated") + " outside the abdomen";
      for (const auto& entry : bowel->entries)
        if (entry.key != "outside" && entry.key != "herniated" && entry.value.text != "false")
          words += ", " + plain_name(entry.key) + " " + in_words(&entry.value);
    }
    facts.emplace_back("Bowel", words);
  }
  std::string room = plain_name(text_of(understood, "room"));
  if (const auto* air = understood.find("air"); air && !air->is_nothing())
    room += ", air: " + in_words(air);
  facts.emplace_back("Room", room);
  if (const auto* set = understood.find("parameters"); set && set->is_map() && !set->entries.empty())
    facts.emplace_back("Set by the case", in_words(set));
  return facts;
}

std::vector<DifferenceInWords> differences_in_words(const std::vector<const files::Node*>& cases) {
  std::vector<DifferenceInWords> found;
  collect(cases, {}, found);
  collect_acts(cases, found);
  return found;
}

}  // namespace serosa::runner
