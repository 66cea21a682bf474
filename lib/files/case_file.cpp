// SPDX-License-Identifier: Apache-2.0
#include "files/case_file.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include "care/carer.hpp"
#include "files/acts.hpp"
#include "files/protocol_file.hpp"
#include "files/reader.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

const KeyTable& baby_keys() {
  static const KeyTable table{
      "baby",
      "The newborn.",
      {quantity("weight", "g", "birth weight")
           .possible(50, 120000)
           .published(1000, 4500)
           .fallback("2.56 kg"),
       quantity("gestation", "wk", "gestation at birth")
           .possible(22, 44)
           .published(28, 42)
           .fallback("36 wk"),
       quantity("length", "m", "crown to heel; from the weight when left out")
           .possible(0.05, 2.2)
           .published(0.3, 0.6),
       quantity("blood_volume", "mL/kg",
                "at the start; from the clamping of the cord when left out")
           .possible(20, 200)
           .published(60, 120),
       word("delivery", {"vaginal", "caesarean", "caesarean-without-labour"},
            "decides the protein at birth")
           .fallback("vaginal"),
       flag("gastroschisis", "lowers the protein at birth").fallback("true"),
       quantity("protein", "g/L", "plasma protein at birth").possible(15, 90).published(25, 75),
       quantity("haematocrit", "1", "at birth").possible(0.15, 0.8).published(0.3, 0.7),
       quantity("sodium", "mmol/L", "plasma sodium at birth")
           .possible(110, 170)
           .published(128, 150),
       quantity("temperature", "degC", "core temperature at birth")
           .possible(10, 42)
           .published(35, 39),
       quantity("skin_temperature", "degC", "at birth; that of the core when left out")
           .possible(10, 42)
           .published(30, 38),
       quantity("bowel_temperature", "degC", "at birth; that of the core when left out")
           .possible(10, 42)
           .published(30, 38)}};
  return table;
}

const KeyTable& bowel_keys() {
  static const KeyTable table{
      "bowel",
      "The herniated bowel.",
      {flag("outside", "false for bowel that lies in the abdomen").fallback("true"),
       quantity("herniated", "1", "share of the small bowel")
           .possible(0.05, 1)
           .published(0.5, 1)
           .fallback("80 %"),
       quantity("spread", "1", "0 packed to 1 with all loops apart")
           .possible(0, 1)
           .published(0, 0.6),
       quantity("loop_diameter", "m", "outer diameter of a loop")
           .possible(0.002, 0.06)
           .published(0.006, 0.025),
       quantity("length", "m", "length of the small bowel").possible(0.3, 5),
       quantity("thickening", "1", "wall mass against normal")
           .possible(0.5, 4)
           .published(1, 2.5)
           .fallback("1"),
       quantity("matting", "1", "0 none to 1 fully matted").possible(0, 1).fallback("0"),
       quantity("area", "m2", "exposed area, when it is known").possible(0.0005, 0.5),
       word("lie", {"supine", "lateral"}, "lateral: on the side of the defect").fallback("supine"),
       flag("supported", "held so that its vessels do not bend").fallback("false"),
       flag("kinked", "hangs over the edge of the defect").fallback("false")}};
  return table;
}

/// A parameter of another subject, with where its value comes from.
const KeyTable& override_keys() {
  static const KeyTable table{
      "override",
      "A parameter that differs in this subject.",
      {text("value", "with its unit").required(),
       text("source", "a key of the bibliography, optionally a comma and where in it").required(),
       text("note", "conditions, reasons, doubts")}};
  return table;
}

const KeyTable& chart_error_keys() {
  static const KeyTable table{
      "chart_errors",
      "Errors of readings are a function of these two numbers, the reading and the hour.",
      {count("seed", "chooses the random numbers").possible(0, 9007199254740992.0).fallback("1"),
       count("run", "number of the run in its study")
           .possible(0, 9007199254740992.0)
           .fallback("0")}};
  return table;
}

/// One act of the timeline.
const KeyTable& act_keys() {
  static const KeyTable table = act_table(
      "act", "One act of the timeline. The entry's name says what is done, or `act` does.",
      deed_keys());
  return table;
}

/// Reads one case into plain data.
class CaseReader {
 public:
  CaseReader(const Models& models, Problems& problems)
      : models_(models), problems_(problems), deeds_(models, problems) {}

  void read(Reader r, CaseFile& f) {
    care::Case& c = f.c;
    c.title = r.text("title");
    c.note = r.text("note");
    read_baby(r.map("baby"), c);
    read_bowel(r.map("bowel"), c);
    c.room = deeds_.room(r, "room");
    c.until = r.quantity("until");
    c.every = r.quantity("every");
    c.report_at = r.quantities("report_at");
    c.wet = r.flag("wet");
    read_parameters(r, f);
    read_chart_errors(r.map("chart_errors"), c);
    auto acts = read_timeline(r);
    read_protocol_of(r, acts, f);
    put_in_order(std::move(acts), c);
    r.finish();
    if (c.until / c.every > 20000)
      r.error("every", "that many steps make the files too large: at most 20000");
    for (const double t : c.report_at)
      if (t < care::Carer<double>::first_hour(c))
        r.error("report_at", "a time lies before the first act");
    std::sort(c.report_at.begin(), c.report_at.end());
    std::erase_if(c.report_at, [&](double t) { return t > c.until; });
    if (c.report_at.empty()) c.report_at = {c.until};
  }

 private:
  static double number(Reader& r, std::string_view key) {
    return r.maybe_quantity(key).value_or(std::nan(""));
  }

  void read_baby(Reader r, care::Case& c) {
    baby::Inputs<double>& in = c.baby;
    in.weight = r.quantity("weight");
    in.gestation = r.quantity("gestation");
    in.length = number(r, "length") * 100.0;  // cm
    in.blood_volume = number(r, "blood_volume");
    in.delivery = static_cast<baby::Delivery>(r.which("delivery"));
    in.gastroschisis = r.flag("gastroschisis");
    in.protein = number(r, "protein");
    in.haematocrit = number(r, "haematocrit");
    in.sodium = number(r, "sodium");
    in.temperature = number(r, "temperature");
    in.skin_temperature = number(r, "skin_temperature");
    in.bowel_temperature = number(r, "bowel_temperature");
    r.finish();
  }

  void read_bowel(Reader r, care::Case& c) {
    baby::Inputs<double>& in = c.baby;
    c.exposed = r.flag("outside");
    in.herniated = r.quantity("herniated");
    in.spread = number(r, "spread");
    in.loop_diameter = number(r, "loop_diameter");
    in.bowel_length = number(r, "length");
    in.thickening = r.quantity("thickening");
    in.matting = r.quantity("matting");
    in.area = number(r, "area");
    c.position = read_position(r);
    r.finish();
  }

  /// `parameters: {name: value with unit}`; a bare number is in the unit of the parameter's file.
  void read_parameters(Reader& r, CaseFile& f) {
    const Node* node = r.anything("parameters");
    if (!node) return;
    if (!node->is_map()) return r.error("parameters", "a map from names to values is expected");
    for (const Entry& entry : node->entries) {
      const auto found = std::find_if(models_.parameters.begin(), models_.parameters.end(),
                                      [&](const ParameterEntry& p) { return p.name == entry.key; });
      const std::string path = "parameters." + entry.key;
      if (found == models_.parameters.end()) {
        std::vector<std::string> names;
        for (const auto& p : models_.parameters) names.push_back(p.name);
        const std::string near = units::nearest(entry.key, names);
        problems_.error(entry.origin, path,
                        "the model has no parameter of this name" +
                            (near.empty() ? "" : "; did you mean " + near + "?"));
        continue;
      }
      const auto told = override_of(entry, path, found->unit);
      if (!told) continue;
      try {
        const double value = units::to_model(told->value, found->model_unit);
        parameter(f.parameters, static_cast<std::size_t>(found - models_.parameters.begin())) =
            value;
        f.overridden.push_back(entry.key);
        if (!told->source.empty())
          f.override_sources.push_back({entry.key, told->source, told->origin});
        else if (!found->model_range.contains(value))
          problems_.warn(entry.value.origin, path, "outside the published range",
                         range_text(found->model_range, found->model_unit));
      } catch (const units::Error& error) {
        problems_.error(entry.value.origin, path, error.what(), error.expected());
      }
    }
  }

  struct Override {
    std::string value;
    std::string source;  ///< empty for a value alone
    Origin origin;
  };
  /// `value with unit`, or a map of value, source and note.
  std::optional<Override> override_of(const Entry& entry, const std::string& path,
                                      const std::string& unit) {
    if (entry.value.is_text()) return Override{entry.value.text, {}, entry.value.origin};
    if (!entry.value.is_map()) {
      problems_.error(entry.value.origin, path, "a value is expected", unit);
      return std::nullopt;
    }
    Reader r(entry.value, override_keys(), problems_, path);
    Override told{r.text("value"), r.text("source"), r.origin("source")};
    r.text("note");
    r.finish();
    return told.value.empty() ? std::nullopt : std::optional(told);
  }

  /// An act and where it stands.
  using Placed = std::pair<care::Act, Origin>;

  std::vector<Placed> read_timeline(Reader& r) {
    std::vector<Placed> acts;
    for (auto& [name, act] : r.entries("timeline")) {
      if (act.variant().empty()) continue;  // reported
      acts.emplace_back(deeds_.act(name, act), act.node().origin);
    }
    return acts;
  }

  static void read_chart_errors(Reader r, care::Case& c) {
    c.chart_seed = static_cast<std::uint64_t>(r.count("seed"));
    c.chart_run = static_cast<std::uint64_t>(r.count("run"));
    r.finish();
  }

  /// The protocol, its orders added to the timeline's acts. Names are embedded by now.
  void read_protocol_of(Reader& r, std::vector<Placed>& acts, CaseFile& f) {
    const Node* const node = r.anything("protocol");
    if (!node || problems_.refused()) return;
    const bool sampled = std::any_of(acts.begin(), acts.end(), [](const Placed& act) {
      const auto* const d = std::get_if<care::LoseBlood>(&act.first.deed);
      return d && d->to_laboratory;
    });
    ProtocolFile file = read_protocol(*node, models_, problems_, "protocol", sampled);
    f.c.protocol = file.protocol;
    for (auto& [act, origin] : file.orders) {
      if (act.at > f.c.until) continue;  // a protocol is written for days, a case may end sooner
      act.name = "protocol: " + act.name;
      acts.emplace_back(std::move(act), origin);
    }
  }

  void put_in_order(std::vector<Placed> acts, care::Case& c) {
    std::stable_sort(acts.begin(), acts.end(),
                     [](const auto& a, const auto& b) { return a.first.at < b.first.at; });
    for (auto& [act, origin] : acts) c.timeline.push_back(act);
    if (problems_.refused()) return;
    for (const care::Act& act : c.timeline)
      if (std::holds_alternative<care::ClampCord>(act.deed)) c.baby.cord_clamped_at = act.at;
    for (const care::Contradiction& found : care::contradictions(c)) {
      std::string message = found.message;
      if (found.other != care::Contradiction::npos) {
        const Origin& other = acts[found.other].second;
        message += " (by \"" + c.timeline[found.other].name + "\", " +
                   (other.source ? other.source->name : std::string("default")) + ":" +
                   std::to_string(other.line) + ")";
      }
      problems_.error(acts[found.act].second, "timeline." + c.timeline[found.act].name, message);
    }
  }

  const Models& models_;
  Problems& problems_;
  DeedReader deeds_;
};

/// A cord that nobody clamps is clamped at a minute, as the case understood then says.
void clamp_cord_by_default(Node& root, Problems& problems) {
  const Node* timeline = root.find("timeline");
  if (timeline && timeline->is_map())
    for (const Entry& entry : timeline->entries) {
      const Node* act = entry.value.find("act");
      if (entry.key == "clamp-cord" || (act && act->text == "clamp-cord")) return;
    }
  if (timeline && !timeline->is_map()) return;
  set_value(root, "timeline.clamp-cord.at=60 s", problems);
}

/// Puts the protocol itself in place of its name, so that the case as understood is whole.
void embed_protocol(Node& root, const Models& models, Problems& problems,
                    std::vector<std::shared_ptr<const Source>>& sources) {
  Node* const node = root.find("protocol");
  if (!node || !node->is_text()) return;
  auto document = find_protocol(node->text, node->origin, models, "protocol", problems);
  if (!document) return;
  *node = std::move(document->root);
  sources.insert(sources.end(), document->sources.begin(), document->sources.end());
}

}  // namespace

const KeyTable& case_keys() {
  static const KeyTable table{
      "case",
      "A baby, a room and a timeline of what people do.",
      {text("title", "a few words for tables and pages").required(),
       text("note", "what the case shows"), map("baby", baby_keys(), "the newborn").fallback("{}"),
       map("bowel", bowel_keys(), "the herniated bowel").fallback("{}"),
       file("room", "rooms", "where the baby is born").fallback("delivery-room"),
       map("air", air_keys(), "what differs from that room"),
       flag("wet", "amniotic fluid on skin and bowel at birth").fallback("true"),
       quantity("until", "h", "end of the case").possible(1.0 / 60, 1000).fallback("6 h"),
       quantity("every", "h", "grid of the series").possible(1.0 / 3600, 24).fallback("2 min"),
       quantities("report_at", "h", "times of the printed table")
           .length(1, 50)
           .fallback("[30 min, 2 h, 6 h, 24 h]"),
       anything("parameters", "values of single parameters, instead of those of the model"),
       anything("protocol",
                "a protocol that is followed: a file beside this one, the name of one that comes "
                "along, or a protocol itself"),
       map("chart_errors", chart_error_keys(), "which errors the protocol's readings have")
           .fallback("{}"),
       entries("timeline", act_keys(), "acts by name").fallback("{}")}};
  return table;
}

CaseFile read_case(const std::filesystem::path& path, const Models& models,
                   const std::vector<std::string>& changes, Problems& problems) {
  auto document = read_based_document(path, models.folder, problems);
  std::vector<std::shared_ptr<const Source>> protocols;
  const auto applied = [&](const std::string& change) {
    return change_case(document->root, change, models, problems, protocols);
  };
  if (!document || !std::all_of(changes.begin(), changes.end(), applied)) {
    CaseFile f;
    f.parameters = models.values();
    f.c.name = path.stem().string();
    return f;
  }
  CaseFile f = read_case(std::move(document->root), path.stem().string(), models, problems);
  f.sources.insert(f.sources.begin(), document->sources.begin(), document->sources.end());
  f.sources.insert(f.sources.end(), protocols.begin(), protocols.end());
  return f;
}

CaseFile read_case(Node root, const std::string& name, const Models& models, Problems& problems,
                   const std::string& place) {
  CaseFile f;
  f.parameters = models.values();
  f.c.name = name;
  if (root.is_map()) {
    clamp_cord_by_default(root, problems);
    embed_protocol(root, models, problems, f.sources);
  }
  CaseReader(models, problems).read(Reader(root, case_keys(), problems, place), f);
  if (problems.refused()) return f;
  f.understood = with_defaults(root, case_keys());
  if (Node* protocol = f.understood.find("protocol"))
    *protocol = with_defaults(*protocol, protocol_keys());
  return f;
}

bool change_case(Node& root, const std::string& assignment, const Models& models,
                 Problems& problems, std::vector<std::shared_ptr<const Source>>& sources) {
  const std::size_t errors_before = problems.errors();
  if (assignment.starts_with("protocol.")) embed_protocol(root, models, problems, sources);
  return problems.errors() == errors_before && set_value(root, assignment, problems);
}

CaseFile ordinary_care(const CaseFile& of, const Models& models, Problems& problems) {
  CaseFile twin = read_case(models.folder / "cases" / "ordinary-care.yaml", models, {}, problems);
  const double clamped = of.c.baby.cord_clamped_at;
  twin.c.baby = of.c.baby;
  twin.c.baby.cord_clamped_at = clamped;
  twin.parameters = of.parameters;
  twin.c.until = of.c.until;
  return twin;
}

}  // namespace serosa::files
