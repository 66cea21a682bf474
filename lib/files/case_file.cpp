// SPDX-License-Identifier: Apache-2.0
#include "files/case_file.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include "care/carer.hpp"
#include "files/reader.hpp"
#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

const KeyTable& air_keys() {
  static const KeyTable table{
      "air",
      "What differs from the named room.",
      {quantity("temperature", "degC", "air temperature").possible(5, 42).published(15, 38),
       quantity("walls", "degC", "mean temperature of the walls").possible(0, 50),
       quantity("humidity", "1", "relative humidity").possible(0, 1),
       quantity("speed", "m/s", "air speed at the baby").possible(0, 2).published(0, 0.6),
       quantity("pressure", "kPa", "pressure of the air").possible(50, 110)}};
  return table;
}

const KeyTable& baby_keys() {
  static const KeyTable table{
      "baby",
      "The newborn.",
      {quantity("weight", "g", "birth weight").possible(50, 120000).published(1000, 4500)
           .fallback("2.56 kg"),
       quantity("gestation", "wk", "gestation at birth").possible(22, 44).published(28, 42)
           .fallback("36 wk"),
       quantity("length", "m", "crown to heel; from the weight when left out").possible(0.05, 2.2)
           .published(0.3, 0.6),
       quantity("blood_volume", "mL/kg", "at the start; from the clamping of the cord when left out")
           .possible(20, 200).published(60, 120),
       word("delivery", {"vaginal", "caesarean", "caesarean-without-labour"},
            "decides the protein at birth").fallback("vaginal"),
       flag("gastroschisis", "lowers the protein at birth").fallback("true"),
       quantity("protein", "g/L", "plasma protein at birth").possible(15, 90).published(25, 75),
       quantity("haematocrit", "1", "at birth").possible(0.15, 0.8).published(0.3, 0.7),
       quantity("sodium", "mmol/L", "plasma sodium at birth").possible(110, 170)
           .published(128, 150),
       quantity("temperature", "degC", "core temperature at birth").possible(10, 42)
           .published(35, 39),
       quantity("skin_temperature", "degC", "at birth; that of the core when left out")
           .possible(10, 42).published(30, 38),
       quantity("bowel_temperature", "degC", "at birth; that of the core when left out")
           .possible(10, 42).published(30, 38)}};
  return table;
}

const KeyTable& bowel_keys() {
  static const KeyTable table{
      "bowel",
      "The herniated bowel.",
      {flag("outside", "false for bowel that lies in the abdomen").fallback("true"),
       quantity("herniated", "1", "share of the small bowel").possible(0.05, 1)
           .published(0.5, 1).fallback("80 %"),
       quantity("spread", "1", "0 packed to 1 with all loops apart").possible(0, 1)
           .published(0, 0.6),
       quantity("loop_diameter", "m", "outer diameter of a loop").possible(0.002, 0.06)
           .published(0.006, 0.025),
       quantity("length", "m", "length of the small bowel").possible(0.3, 5),
       quantity("thickening", "1", "wall mass against normal").possible(0.5, 4).published(1, 2.5)
           .fallback("1"),
       quantity("matting", "1", "0 none to 1 fully matted").possible(0, 1).fallback("0"),
       quantity("area", "m2", "exposed area, when it is known").possible(0.0005, 0.5),
       word("lie", {"supine", "lateral"}, "lateral: on the side of the defect").fallback("supine"),
       flag("supported", "held so that its vessels do not bend").fallback("false"),
       flag("kinked", "hangs over the edge of the defect").fallback("false")}};
  return table;
}

Key fluid_key() { return file("fluid", "fluids", "what is given").required(); }
/// What differs from the named fluid.
const KeyTable& composition_keys() {
  static const KeyTable table{
      "composition",
      "What differs from the named fluid.",
      {quantity("sodium", "mmol/L", "sodium").possible(0, 6000),
       quantity("chloride", "mmol/L", "chloride").possible(0, 6000),
       quantity("glucose", "g/L", "glucose").possible(0, 700),
       quantity("protein", "g/L", "protein, or colloid that acts as protein does")
           .possible(0, 300),
       quantity("red_cell_fraction", "1", "volume of red cells").possible(0, 1)}};
  return table;
}
Key composition_key() {
  return map("composition", composition_keys(), "what differs from that fluid");
}

/// What differs from the named cover.
const KeyTable& properties_keys() {
  static const KeyTable table{
      "properties",
      "What differs from the named cover.",
      {quantity("permeance", "g/m2/h/kPa", "vapour permeance of one layer").possible(0, 1000),
       quantity("gap", "m", "air between bowel and film").possible(1e-6, 0.1),
       quantity("warmer_transmittance", "1", "of the warmer's output").possible(0, 1),
       quantity("warmer_absorptance", "1", "of the warmer's output").possible(0, 1),
       quantity("longwave_transmittance", "1", "of the heat that the bowel radiates")
           .possible(0, 1),
       quantity("dressing_resistance", "m2 h kPa/g", "vapour resistance of a dressing")
           .possible(0, 10),
       quantity("dressing_capacity", "g/m2", "water that a dressing holds").possible(0, 5000)}};
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

Key over_key(const char* fallback) {
  return quantity("over", "h", "how long it takes").possible(1.0 / 3600, 48).fallback(fallback);
}
Key volume_key() {
  return quantity("volume", "mL/kg", "per birth weight").possible(0, 200).published(0, 40);
}

/// Every deed by the word that the timeline uses, with its keys.
const KeyTable& act_keys() {
  static const std::vector<std::pair<std::string, std::vector<Key>>> deeds = {
      {"warmer",
       {file("to", "warmers", "level").required(),
        quantity("irradiance", "W/m2", "instead of the level's").possible(0, 1000)
            .published(0, 600),
        quantity("set_point", "degC", "skin temperature, for a level that follows it")
            .possible(30, 39)}},
      {"lay-out-film", {}},
      {"clamp-cord", {}},
      {"dry",
       {quantity("share", "1", "of the fluid on the skin").possible(0, 1).fallback("90 %"),
        flag("head", "the head").fallback("true"), flag("body", "the rest").fallback("true")}},
      {"hat", {flag("on", "false takes it off").fallback("true")}},
      {"move",
       {file("to", "rooms", "where to; the warmer stays behind").required(),
        map("air", air_keys(), "what differs from that room")}},
      {"position",
       {word("lie", {"supine", "lateral"}, "lateral: on the side of the defect").required(),
        flag("supported", "held so that its vessels do not bend").fallback("false"),
        flag("kinked", "hangs over the edge of the defect").fallback("false")}},
      {"cover",
       {file("with", "covers", "what the bowel is wrapped in").required(),
        map("properties", properties_keys(), "what differs from that cover"),
        count("layers", "layers of film").possible(1, 20).fallback("1"),
        quantity("seal", "1", "share of the edge that closes; the rest leaks").possible(0, 1)
            .fallback("95 %"),
        quantity("tension", "mmHg", "rise of venous pressure by the wrap").possible(0, 60)
            .published(0, 25).fallback("0 mmHg"),
        over_key("1 min"),
        file("wetting", "fluids", "what a dressing is soaked with").fallback("saline-0.9")}},
      {"uncover", {}},
      {"rewet", {file("with", "fluids", "what the dressing is wetted with").fallback("saline-0.9")}},
      {"pass-tube", {}},
      {"aspirate", {}},
      {"drain", {flag("on", "free drainage; false closes the tube").fallback("true")}},
      {"maintenance",
       {fluid_key(), composition_key(), quantity("rate", "mL/kg/h", "per birth weight").possible(0, 60)
                         .published(0, 12.5).required()}},
      {"stop-maintenance", {}},
      {"bolus", {fluid_key(), composition_key(), volume_key().required(), over_key("20 min")}},
      {"transfuse", {fluid_key(), composition_key(), volume_key().required(), over_key("2 h")}},
      {"replace-gastric-loss",
       {fluid_key(), composition_key(),
        quantity("every", "h", "the loss of one period runs in over the next").possible(0.1, 24)
            .fallback("4 h"),
        quantity("share", "1", "of the loss").possible(0, 2).fallback("100 %")}},
      {"sample-blood", {volume_key().required(), over_key("1 min")}},
      {"bleed",
       {volume_key().fallback("0 mL/kg"),
        quantity("share", "1", "of the blood volume at that moment").possible(0, 0.9)
            .fallback("0 %"),
        over_key("5 min")}},
      {"breathe",
       {word("by", {"spontaneous", "mask", "tube"}, "mask blows gas into the bowel").required()}},
      {"activity",
       {quantity("factor", "1", "metabolism, breath and skin loss against lying still")
            .possible(0.5, 3).required()}},
      {"reduce",
       {quantity("share", "1", "of what is outside is put back").possible(0, 1).required()}},
      {"close", {}},
      {"hold",
       {text("control", "what is held, by its name in the documentation").required(),
        text("value", "with its unit").required()}}};
  static const KeyTable table = [] {
    std::vector<std::string> words;
    for (const auto& [name, keys] : deeds) words.push_back(name);
    return KeyTable{
        "act",
        "One act of the timeline. The entry's name says what is done, or `act` does.",
        {quantity("at", "h", "time after birth, negative before it").possible(-24, 1000).required(),
         word("act", words, "what is done, when the entry's name does not say it")},
        "act",
        deeds};
  }();
  return table;
}

care::Position position(Reader& r) {
  const bool lateral = r.word("lie") == "lateral";
  const bool supported = r.flag("supported");
  const bool kinked = r.flag("kinked");
  if (kinked && (lateral || supported))
    r.error("kinked", "bowel that is supported or lies to the side does not kink");
  if (lateral) return supported ? care::Position::lateral_supported : care::Position::lateral;
  if (kinked) return care::Position::supine_kinked;
  return supported ? care::Position::supine_supported : care::Position::supine;
}

/// Reads one case into plain data.
class CaseReader {
 public:
  CaseReader(const Models& models, Problems& problems) : models_(models), problems_(problems) {}

  void read(Reader r, CaseFile& f) {
    care::Case& c = f.c;
    c.title = r.text("title");
    c.note = r.text("note");
    read_baby(r.map("baby"), c);
    read_bowel(r.map("bowel"), c);
    c.room = room(r, "room");
    c.until = r.quantity("until");
    c.every = r.quantity("every");
    c.report_at = r.quantities("report_at");
    c.wet = r.flag("wet");
    read_parameters(r, f);
    read_timeline(r, c);
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
  template <class Value>
  using FromFile = Value (*)(const std::filesystem::path&, Problems&);

  template <class Value>
  Value data(Reader& r, std::string_view key, FromFile<Value> from) {
    const auto path = r.file(key, models_.folder);
    return path ? from(*path, problems_) : Value{};
  }

  static double number(Reader& r, std::string_view key) {
    return r.maybe_quantity(key).value_or(std::nan(""));
  }

  care::Room room(Reader& r, std::string_view key) {
    care::Room room = data<care::Room>(r, key, read_room);
    if (auto air = r.maybe_map("air")) {
      const auto set = [&](std::string_view name, double& value) {
        value = air->maybe_quantity(name).value_or(value);
      };
      set("temperature", room.air_temperature);
      set("walls", room.wall_temperature);
      set("humidity", room.humidity);
      set("speed", room.air_speed);
      set("pressure", room.air_pressure);
      air->finish();
    }
    return room;
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
    c.position = position(r);
    r.finish();
  }

  /// `parameters: {name: value with unit}`; a bare number is in the unit of the parameter's file.
  void read_parameters(Reader& r, CaseFile& f) {
    const Node* node = r.anything("parameters");
    if (!node) return;
    if (!node->is_map()) return r.error("parameters", "a map from names to values is expected");
    for (const Entry& entry : node->entries) {
      const auto found = std::find_if(
          models_.parameters.begin(), models_.parameters.end(),
          [&](const ParameterEntry& p) { return p.name == entry.key; });
      const std::string path = "parameters." + entry.key;
      if (found == models_.parameters.end()) {
        std::vector<std::string> names;
        for (const auto& p : models_.parameters) names.push_back(p.name);
        const std::string near = units::nearest(entry.key, names);
        problems_.error(entry.origin, path, "the model has no parameter of this name" +
                                                (near.empty() ? "" : "; did you mean " + near + "?"));
        continue;
      }
      const auto told = override_of(entry, path, found->unit);
      if (!told) continue;
      try {
        const double value = units::to_model(told->value, found->model_unit);
        parameter(f.parameters,
                  static_cast<std::size_t>(found - models_.parameters.begin())) = value;
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

  void read_timeline(Reader& r, care::Case& c) {
    std::vector<std::pair<care::Act, Origin>> acts;
    for (auto& [name, act] : r.entries("timeline")) {
      const std::string word = act.variant();
      if (word.empty()) continue;  // reported
      care::Act a{name, act.quantity("at"), deed(word, act)};
      act.word("act");
      act.finish();
      acts.emplace_back(std::move(a), act.node().origin);
    }
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

  care::Deed deed(const std::string& word, Reader& r) {
    using namespace care;
    const auto fluid = [&](std::string_view key) { return data<Fluid>(r, key, read_fluid); };
    const auto given = [&] { return composed(fluid("fluid"), r); };
    if (word == "warmer") {
      SetWarmer d{data<Warmer>(r, "to", read_warmer)};
      d.warmer.irradiance = r.maybe_quantity("irradiance").value_or(d.warmer.irradiance);
      d.warmer.set_point = r.maybe_quantity("set_point").value_or(d.warmer.set_point);
      return d;
    }
    if (word == "lay-out-film") return LayOutFilm{};
    if (word == "clamp-cord") return ClampCord{};
    if (word == "dry") return DrySkin{r.quantity("share"), r.flag("head"), r.flag("body")};
    if (word == "hat") return PutOnHat{r.flag("on")};
    if (word == "move") return MoveTo{room(r, "to")};
    if (word == "position") return Place{position(r)};
    if (word == "cover") {
      CoverBowel d;
      d.cover = data<Cover>(r, "with", read_cover);
      change_properties(d.cover, r);
      d.layers = static_cast<double>(r.count("layers"));
      d.seal = r.quantity("seal");
      d.tension = r.quantity("tension");
      d.over = r.quantity("over");
      d.wetting = fluid("wetting");
      return d;
    }
    if (word == "uncover") return UncoverBowel{};
    if (word == "rewet") return Rewet{fluid("with")};
    if (word == "pass-tube") return PassTube{};
    if (word == "aspirate") return Aspirate{};
    if (word == "drain") return FreeDrainage{r.flag("on")};
    if (word == "maintenance") return Infuse{given(), r.quantity("rate")};
    if (word == "stop-maintenance") return StopInfusion{};
    if (word == "bolus" || word == "transfuse")
      return Bolus{given(), r.quantity("volume"), r.quantity("over"),
                   word == "bolus" ? Purpose::bolus : Purpose::blood_product};
    if (word == "replace-gastric-loss")
      return ReplaceGastricLoss{given(), r.quantity("every"), r.quantity("share")};
    if (word == "sample-blood") return LoseBlood{r.quantity("volume"), 0.0, r.quantity("over")};
    if (word == "bleed")
      return LoseBlood{r.quantity("volume"), r.quantity("share"), r.quantity("over")};
    if (word == "breathe") return Breathe{static_cast<Breathing>(r.which("by"))};
    if (word == "activity") return BeActive{r.quantity("factor")};
    if (word == "reduce") return ReduceBowel{r.quantity("share")};
    if (word == "close") return CloseAbdomen{};
    return hold(r);
  }

  static void replace(Reader& r, std::string_view key, double& value) {
    value = r.maybe_quantity(key).value_or(value);
  }
  static care::Fluid composed(care::Fluid fluid, Reader& act) {
    auto r = act.maybe_map("composition");
    if (!r) return fluid;
    replace(*r, "sodium", fluid.sodium);
    replace(*r, "chloride", fluid.chloride);
    replace(*r, "glucose", fluid.glucose);
    replace(*r, "protein", fluid.protein);
    replace(*r, "red_cell_fraction", fluid.red_cell_fraction);
    r->finish();
    return fluid;
  }
  static void change_properties(care::Cover& cover, Reader& act) {
    auto r = act.maybe_map("properties");
    if (!r) return;
    replace(*r, "permeance", cover.permeance);
    replace(*r, "gap", cover.gap);
    replace(*r, "warmer_transmittance", cover.warmer_transmittance);
    replace(*r, "warmer_absorptance", cover.warmer_absorptance);
    replace(*r, "longwave_transmittance", cover.longwave_transmittance);
    replace(*r, "dressing_resistance", cover.dressing_resistance);
    replace(*r, "dressing_capacity", cover.dressing_capacity);
    r->finish();
  }

  care::Deed hold(Reader& r) {
    const std::string name = r.text("control");
    const std::string value = r.text("value");
    std::vector<std::string> names;
    std::size_t index = 0;
    for (const auto& info : baby::control_list) {
      if (info.name == name) {
        try {
          return care::SetControl{index, units::to_model(value, info.unit)};
        } catch (const units::Error& error) {
          r.error("value", error.what(), error.expected());
          return care::SetControl{index, 0.0};
        }
      }
      names.emplace_back(info.name);
      ++index;
    }
    const std::string near = units::nearest(name, names);
    r.error("control", "nothing of this name can be held" +
                           (near.empty() ? std::string() : "; did you mean " + near + "?"));
    return care::SetControl{0, 0.0};
  }

  const Models& models_;
  Problems& problems_;
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

}  // namespace

const KeyTable& case_keys() {
  static const KeyTable table{
      "case",
      "A baby, a room and a timeline of what people do.",
      {text("title", "a few words for tables and pages").required(),
       text("note", "what the case shows"),
       map("baby", baby_keys(), "the newborn").fallback("{}"),
       map("bowel", bowel_keys(), "the herniated bowel").fallback("{}"),
       file("room", "rooms", "where the baby is born").fallback("delivery-room"),
       map("air", air_keys(), "what differs from that room"),
       flag("wet", "amniotic fluid on skin and bowel at birth").fallback("true"),
       quantity("until", "h", "end of the case").possible(1.0 / 60, 1000).fallback("6 h"),
       quantity("every", "h", "grid of the series").possible(1.0 / 3600, 24).fallback("2 min"),
       quantities("report_at", "h", "times of the printed table").length(1, 50)
           .fallback("[30 min, 2 h, 6 h, 24 h]"),
       anything("parameters", "values of single parameters, instead of those of the model"),
       entries("timeline", act_keys(), "acts by name").fallback("{}")}};
  return table;
}

CaseFile read_case(const std::filesystem::path& path, const Models& models,
                   const std::vector<std::string>& changes, Problems& problems) {
  auto document = read_based_document(path, models.folder, problems);
  const auto applied = [&](const std::string& change) {
    return set_value(document->root, change, problems);
  };
  if (!document || !std::all_of(changes.begin(), changes.end(), applied)) {
    CaseFile f;
    f.parameters = models.values();
    f.c.name = path.stem().string();
    return f;
  }
  CaseFile f = read_case(std::move(document->root), path.stem().string(), models, problems);
  f.sources = document->sources;
  return f;
}

CaseFile read_case(Node root, const std::string& name, const Models& models, Problems& problems,
                   const std::string& place) {
  CaseFile f;
  f.parameters = models.values();
  f.c.name = name;
  if (root.is_map()) clamp_cord_by_default(root, problems);
  CaseReader(models, problems).read(Reader(root, case_keys(), problems, place), f);
  if (!problems.refused()) f.understood = with_defaults(root, case_keys());
  return f;
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
