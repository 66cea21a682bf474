// SPDX-License-Identifier: Apache-2.0
#include "runner/acts_log.hpp"

#include <algorithm>

#include "files/csv.hpp"
#include "runner/page_words.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner {

namespace {

constexpr std::size_t most_lines = 40;

std::string value_in_words(double value, std::string_view unit) {
  if (unit == "1") return percent(value) + " %";
  return figure(value) + " " + (unit == "degC" ? "°C" : std::string(unit));
}

const files::Node* rule_node(const Computed& c, const std::string& rule) {
  const files::Node* node = c.file.understood.find("protocol");
  if (node) node = node->find("rules");
  if (node) node = node->find(rule);
  return node ? node->find("do") : nullptr;
}

bool any_protocol(const Computation& all) {
  return std::any_of(all.cases.begin(), all.cases.end(),
                     [](const Computed& c) { return c.file.c.protocol != nullptr; });
}

}  // namespace

std::vector<LoggedAct> logged_acts(const Computed& c) {
  std::vector<LoggedAct> acts;
  const care::Protocol* const p = c.file.c.protocol.get();
  if (!p) return acts;
  for (const care::Done& done : c.result.done) {
    const care::Rule& rule = p->rules[done.rule];
    LoggedAct act{done.at, rule.name, rule.name, {}, rule.reason};
    if (const files::Node* deed = rule_node(c, rule.name)) act.what = deed_in_words(*deed);
    for (std::size_t i = 0; i < rule.when.size(); ++i) {
      const care::Reading& reading = p->readings[rule.when[i].reading];
      act.seen += (act.seen.empty() ? "" : ", ") + plain_name(reading.name) + " " +
                  value_in_words(done.seen[i], care::info(reading.sign).unit);
    }
    if (act.seen.empty()) act.seen = "by the clock";
    acts.push_back(std::move(act));
  }
  return acts;
}

std::string acts_csv(const Computation& all) {
  if (!any_protocol(all)) return {};
  files::CsvWriter csv;
  for (const char* head : {"case", "time [h]", "rule", "what", "seen", "reason"}) csv.text(head);
  csv.end_row();
  for (const auto& c : all.cases)
    for (const auto& act : logged_acts(c)) {
      csv.text(c.name).number(act.time).text(act.rule).text(act.what);
      csv.text(act.seen).text(act.reason).end_row();
    }
  return csv.bytes();
}

std::string acts_text(const Computation& all) {
  std::string text;
  for (const auto& c : all.cases) {
    const care::Protocol* const p = c.file.c.protocol.get();
    if (!p) continue;
    const std::string title =
        (all.cases.size() > 1 ? c.letter + ": " : std::string()) + files::visible(p->title, 200);
    text += "WHAT THE RULES DID (acts.csv)\n" + wrapped(title, 2, 2);
    const auto acts = logged_acts(c);
    if (acts.empty()) text += "  no rule acted\n";
    for (std::size_t i = 0; i < acts.size() && i < most_lines; ++i)
      text += wrapped(files::visible(files::time_label(acts[i].time) + "  " + acts[i].what + " (" +
                                         acts[i].seen + "; " + acts[i].reason + ")",
                                     1000),
                      2, 6);
    if (acts.size() > most_lines)
      text += "  … and " + std::to_string(acts.size() - most_lines) + " more\n";
    text += "\n";
  }
  return text;
}

}  // namespace serosa::runner
