// SPDX-License-Identifier: Apache-2.0
#include "files/protocol_file.hpp"

#include <algorithm>
#include <cmath>

#include "files/acts.hpp"
#include "files/paths.hpp"
#include "files/reader.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

namespace {

const KeyTable& look_keys() {
  static const KeyTable table{
      "look",
      "When somebody looks at the baby and the chart.",
      {quantity("every", "h", "time between two looks").possible(1.0 / 60, 24).fallback("30 min"),
       quantity("from", "h", "first look").possible(1.0 / 60, 1000).fallback("30 min")}};
  return table;
}

const KeyTable& reading_keys() {
  static const KeyTable table = [] {
    const Key every = quantity("every", "h", "time between two values; every look when left out")
                          .possible(1.0 / 60, 100);
    const Key over = quantity("over", "h", "hours that are added up; since birth when left out")
                         .possible(1.0 / 60, 100);
    std::vector<std::string> words;
    DeedKeys variants;
    for (const auto& sign : care::sign_list) {
      words.emplace_back(sign.word);
      const auto kind = static_cast<care::Sign>(&sign - care::sign_list);
      std::vector<Key> keys;
      if (!care::from_laboratory(kind)) keys.push_back(every);
      if (kind == care::Sign::urine)
        keys.push_back(quantity("over", "h", "hours over which it is measured")
                           .possible(1.0 / 60, 100)
                           .fallback("2 h"));
      else if (care::adds_up(kind))
        keys.push_back(over);
      variants.emplace_back(sign.word, keys);
    }
    return KeyTable{
        "reading",
        "One line of the chart. The entry's name says what is read, or `reads` does.",
        {word("reads", words, "what is read, when the entry's name does not say it"),
         quantity("delay", "h", "until a value is known").possible(0, 24).fallback("0 min"),
         text("error", "standard deviation of a value, in its unit; none when left out")},
        "reads",
        variants};
  }();
  return table;
}

const KeyTable& order_keys() {
  static const KeyTable table =
      act_table("order", "What is done by the clock. The entry's name says what, or `act` does.",
                deed_keys({"maintenance", "change-maintenance", "stop-maintenance", "bolus",
                           "transfuse", "replace-gastric-loss", "sample-blood"}));
  return table;
}

const KeyTable& condition_keys() {
  static const KeyTable table{
      "condition",
      "A reading that lies above or below a level. The entry's name is the reading's.",
      {text("above", "level, with unit"), text("below", "level, with unit"),
       quantity("for", "h", "how long it has, from value to value")
           .possible(0, 100)
           .fallback("0 min")}};
  return table;
}

const KeyTable& do_keys() {
  static const DeedKeys deeds =
      deed_keys({"bolus", "transfuse", "maintenance", "change-maintenance", "stop-maintenance",
                 "sample-blood", "re-wrap", "warmer"});
  static const KeyTable table{
      "do", "What a rule does.", {word("act", deed_words(deeds), "what").required()}, "act", deeds};
  return table;
}

const KeyTable& rule_keys() {
  static const KeyTable table{
      "rule",
      "What is done when.",
      {entries("when", condition_keys(), "all of these must hold; left out, the clock decides")
           .fallback("{}"),
       entries("unless", condition_keys(), "none of these may hold").fallback("{}"),
       map("do", do_keys(), "what is done").required(),
       count("at_most", "how often in all").possible(1, 500).required(),
       quantity("gap", "h", "from one time to the next").possible(0, 1000).fallback("1 h"),
       quantity("from", "h", "not before").possible(0, 1000).fallback("0 min"),
       quantity("until", "h", "not after").possible(0, 1000),
       text("reason", "why, in a few words").required()}};
  return table;
}

/// Reads one protocol.
class ProtocolReader {
 public:
  ProtocolReader(const Models& models, Problems& problems)
      : problems_(problems), deeds_(models, problems) {}

  void read(Reader r, bool timeline_samples, ProtocolFile& f) {
    auto p = std::make_shared<care::Protocol>();
    p->name = r.text("name");
    p->title = r.text("title");
    p->note = r.text("note");
    f.stands_for = r.text("stands_for");
    f.source = r.text("source");
    f.source_origin = r.origin("source");
    Reader look = r.map("look");
    p->look_every = look.quantity("every");
    p->look_from = look.quantity("from");
    look.finish();
    for (auto& [name, reading] : r.entries("readings")) read_reading(name, reading, *p);
    for (auto& [name, order] : r.entries("orders")) {
      if (order.variant().empty()) continue;  // reported
      f.orders.emplace_back(deeds_.act(name, order), order.node().origin);
    }
    for (auto& [name, rule] : r.entries("rules")) read_rule(name, rule, *p);
    r.finish();
    if (!problems_.refused()) refuse_faults(*p, timeline_samples, f);
    f.protocol = p;
  }

 private:
  double level(Reader& r, std::string_view key, const std::string& unit, double otherwise) {
    if (!r.given(key)) {
      r.text(key);
      return otherwise;
    }
    try {
      return units::to_model(r.text(key), unit);
    } catch (const units::Error& error) {
      r.error(key, error.what(), error.expected());
      return otherwise;
    }
  }

  void read_reading(const std::string& name, Reader& r, care::Protocol& p) {
    if (r.variant().empty()) return;  // reported
    care::Reading reading{name, care::Sign::heart_rate};
    for (const auto& sign : care::sign_list)
      if (sign.word == r.variant()) reading.sign = static_cast<care::Sign>(&sign - care::sign_list);
    r.word("reads");
    if (!care::from_laboratory(reading.sign))
      reading.every = r.maybe_quantity("every").value_or(0.0);
    if (reading.sign == care::Sign::urine)
      reading.over = r.quantity("over");
    else if (care::adds_up(reading.sign))
      reading.over = r.maybe_quantity("over").value_or(0.0);
    reading.delay = r.quantity("delay");
    const std::string unit(care::info(reading.sign).unit);
    reading.error = level(r, "error", unit == "degC" ? "K" : unit, 0.0);
    if (reading.error < 0) r.error("error", "a spread is not negative");
    r.finish();
    reading_origins_.push_back(r.node().origin);
    p.readings.push_back(reading);
  }

  std::vector<care::Condition> conditions(Reader& rule, std::string_view key,
                                          const care::Protocol& p) {
    constexpr double infinity = std::numeric_limits<double>::infinity();
    std::vector<care::Condition> all;
    for (auto& [name, c] : rule.entries(key)) {
      const auto found = std::find_if(p.readings.begin(), p.readings.end(),
                                      [&, &name = name](const auto& r) { return r.name == name; });
      if (found == p.readings.end()) {
        std::vector<std::string> names;
        for (const auto& r : p.readings) names.push_back(r.name);
        const std::string near = units::nearest(name, names);
        c.error("", "the protocol has no reading of this name" +
                        (near.empty() ? std::string() : "; did you mean " + near + "?"));
        continue;
      }
      const std::string unit(care::info(found->sign).unit);
      care::Condition condition{static_cast<std::size_t>(found - p.readings.begin())};
      condition.above = level(c, "above", unit, -infinity);
      condition.below = level(c, "below", unit, infinity);
      condition.lasting = c.quantity("for");
      if (!c.given("above") && !c.given("below"))
        c.error("", "a level is missing", "above: or below: with a value");
      c.finish();
      all.push_back(condition);
    }
    if (all.size() > care::Rule::most_conditions) rule.error(key, "at most four conditions");
    return all;
  }

  void read_rule(const std::string& name, Reader& r, care::Protocol& p) {
    care::Rule rule;
    rule.name = name;
    rule.reason = r.text("reason");
    rule.when = conditions(r, "when", p);
    rule.unless = conditions(r, "unless", p);
    if (auto what = r.maybe_map("do"); what && !what->variant().empty()) {
      rule.deed = deeds_.deed(what->variant(), *what);
      what->word("act");
      what->finish();
    }
    rule.at_most = static_cast<int>(r.count("at_most"));
    rule.gap = r.quantity("gap");
    rule.from = r.quantity("from");
    rule.until = r.maybe_quantity("until").value_or(rule.until);
    r.finish();
    rule_origins_.push_back(r.node().origin);
    p.rules.push_back(std::move(rule));
  }

  void refuse_faults(const care::Protocol& p, bool timeline_samples, const ProtocolFile& f) {
    const auto samples = [](const auto& order) {
      const auto* const d = std::get_if<care::LoseBlood>(&order.first.deed);
      return d && d->to_laboratory;
    };
    const bool sampled = timeline_samples || std::any_of(f.orders.begin(), f.orders.end(), samples);
    for (const auto& fault : care::faults(p, sampled)) {
      const bool rule = fault.part == care::ProtocolFault::Part::rule;
      std::string message = fault.message;
      if (fault.other_rule != care::ProtocolFault::npos) {
        const Origin& other = rule_origins_[fault.other_rule];
        message += " (\"" + p.rules[fault.other_rule].name + "\", " +
                   (other.source ? other.source->name : std::string("default")) + ":" +
                   std::to_string(other.line) + ")";
      }
      problems_.error(
          rule ? rule_origins_[fault.index] : reading_origins_[fault.index],
          rule ? "rules." + p.rules[fault.index].name : "readings." + p.readings[fault.index].name,
          message);
    }
  }

  Problems& problems_;
  DeedReader deeds_;
  std::vector<Origin> reading_origins_, rule_origins_;
};

}  // namespace

const KeyTable& protocol_keys() {
  static const KeyTable table{
      "protocol",
      "A bedside protocol: what is read, what is ordered by the clock, what is done by rule.",
      {text("name", "what it is called; the file's name when left out"),
       text("title", "a few words for tables and pages").required(), text("note", "what it does"),
       text("stands_for", "the published practice that it stands for, in a few words"),
       text("source", "of that practice: a key of the bibliography, perhaps a comma and where"),
       map("look", look_keys(), "when somebody looks").fallback("{}"),
       entries("readings", reading_keys(), "the lines of the chart, by name").fallback("{}"),
       entries("orders", order_keys(), "what is done by the clock").fallback("{}"),
       entries("rules", rule_keys(), "what is done when").fallback("{}")}};
  return table;
}

ProtocolFile read_protocol(const Node& root, const Models& models, Problems& problems,
                           const std::string& place, bool timeline_samples) {
  ProtocolFile f;
  ProtocolReader(models, problems)
      .read(Reader(root, protocol_keys(), problems, place), timeline_samples, f);
  return f;
}

std::optional<Document> find_protocol(const std::string& name, const Origin& origin,
                                      const Models& models, const std::string& key_path,
                                      Problems& problems) {
  fs::path path;
  if (const auto beside = file_beside(name, origin, key_path, problems)) {
    if (beside->empty()) return std::nullopt;
    path = *beside;
  } else {
    const std::string stem =
        fs::path(name).extension() == ".yaml" ? fs::path(name).stem().string() : name;
    const auto found = find_data_file(models.folder, "protocols", stem, origin, key_path, problems);
    if (!found) return std::nullopt;
    path = *found;
  }
  auto document = read_document(path, problems);
  if (!document) return std::nullopt;
  if (document->root.is_map() && !document->root.find("name"))
    document->root.entries.insert(
        document->root.entries.begin(),
        Entry{"name", document->root.origin,
              Node::make_text(path.stem().string(), document->root.origin)});
  return document;
}

std::vector<std::string> protocol_names(const fs::path& models) {
  std::vector<std::string> names;
  for (const auto& file : file_names(models / "protocols"))
    if (fs::path(file).extension() == ".yaml") names.push_back(fs::path(file).stem().string());
  return names;
}

}  // namespace serosa::files
