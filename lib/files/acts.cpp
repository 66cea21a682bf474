// SPDX-License-Identifier: Apache-2.0
#include "files/acts.hpp"

#include <algorithm>

#include "units/nearest.hpp"
#include "units/units.hpp"

namespace serosa::files {

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

namespace {

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

Key over_key(const char* fallback) {
  return quantity("over", "h", "how long it takes").possible(1.0 / 3600, 48).fallback(fallback);
}
Key volume_key() {
  return quantity("volume", "mL/kg", "per birth weight").possible(0, 200).published(0, 40);
}

void replace(Reader& r, std::string_view key, double& value) {
  value = r.maybe_quantity(key).value_or(value);
}
care::Fluid composed(care::Fluid fluid, Reader& act) {
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
void change_properties(care::Cover& cover, Reader& act) {
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

}  // namespace

/// Every deed by the word that the timeline uses, with its keys.
const DeedKeys& deed_keys() {
  static const DeedKeys deeds = {
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
      {"re-wrap",
       {quantity("seal", "1", "share of the edge that closes; the rest leaks").possible(0, 1)
            .fallback("95 %"),
        quantity("tension", "mmHg", "rise of venous pressure by the wrap").possible(0, 60)
            .published(0, 25).fallback("0 mmHg"),
        over_key("1 min")}},
      {"rewet", {file("with", "fluids", "what the dressing is wetted with").fallback("saline-0.9")}},
      {"pass-tube", {}},
      {"aspirate", {}},
      {"drain", {flag("on", "free drainage; false closes the tube").fallback("true")}},
      {"maintenance",
       {fluid_key(), composition_key(), quantity("rate", "mL/kg/h", "per birth weight").possible(0, 60)
                         .published(0, 12.5).required()}},
      {"change-maintenance",
       {quantity("by", "mL/kg/h", "added to the rate that runs; negative lowers it")
            .possible(-20, 20).required(),
        quantity("least", "mL/kg/h", "lowered to this at the least").possible(0, 60)
            .fallback("0 mL/kg/h"),
        quantity("most", "mL/kg/h", "raised to this at the most").possible(0, 60)
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
  return deeds;
}

DeedKeys deed_keys(const std::vector<std::string>& words) {
  DeedKeys some;
  for (const auto& deed : deed_keys())
    if (std::find(words.begin(), words.end(), deed.first) != words.end()) some.push_back(deed);
  return some;
}

std::vector<std::string> deed_words(const DeedKeys& deeds) {
  std::vector<std::string> words;
  for (const auto& [word, keys] : deeds) words.push_back(word);
  return words;
}

KeyTable act_table(std::string name, std::string help, const DeedKeys& deeds) {
  return {std::move(name),
          std::move(help),
          {quantity("at", "h", "time after birth, negative before it").possible(-24, 1000).required(),
           word("act", deed_words(deeds), "what is done, when the entry's name does not say it")},
          "act",
          deeds};
}

care::Position read_position(Reader& r) {
  const bool lateral = r.word("lie") == "lateral";
  const bool supported = r.flag("supported");
  const bool kinked = r.flag("kinked");
  if (kinked && (lateral || supported))
    r.error("kinked", "bowel that is supported or lies to the side does not kink");
  if (lateral) return supported ? care::Position::lateral_supported : care::Position::lateral;
  if (kinked) return care::Position::supine_kinked;
  return supported ? care::Position::supine_supported : care::Position::supine;
}

template <class Value>
Value DeedReader::data(Reader& r, std::string_view key, FromFile<Value> from) {
  const auto path = r.file(key, models_.folder);
  return path ? from(*path, problems_) : Value{};
}

care::Room DeedReader::room(Reader& r, std::string_view key) {
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

care::Act DeedReader::act(const std::string& name, Reader& r) {
  care::Act act{name, r.quantity("at"), deed(r.variant(), r)};
  r.word("act");
  r.finish();
  return act;
}

care::Deed DeedReader::deed(const std::string& word, Reader& r) {
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
  if (word == "position") return Place{read_position(r)};
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
  if (word == "re-wrap")
    return Rewrap{r.quantity("seal"), r.quantity("tension"), r.quantity("over")};
  if (word == "rewet") return Rewet{fluid("with")};
  if (word == "pass-tube") return PassTube{};
  if (word == "aspirate") return Aspirate{};
  if (word == "drain") return FreeDrainage{r.flag("on")};
  if (word == "maintenance") return Infuse{given(), r.quantity("rate")};
  if (word == "change-maintenance") {
    const AdjustInfusion d{r.quantity("by"), r.quantity("least"), r.quantity("most")};
    if (d.by == 0) r.error("by", "changes nothing");
    return d;
  }
  if (word == "stop-maintenance") return StopInfusion{};
  if (word == "bolus" || word == "transfuse")
    return Bolus{given(), r.quantity("volume"), r.quantity("over"),
                 word == "bolus" ? Purpose::bolus : Purpose::blood_product};
  if (word == "replace-gastric-loss")
    return ReplaceGastricLoss{given(), r.quantity("every"), r.quantity("share")};
  if (word == "sample-blood") return LoseBlood{r.quantity("volume"), 0.0, r.quantity("over"), true};
  if (word == "bleed")
    return LoseBlood{r.quantity("volume"), r.quantity("share"), r.quantity("over")};
  if (word == "breathe") return Breathe{static_cast<Breathing>(r.which("by"))};
  if (word == "activity") return BeActive{r.quantity("factor")};
  if (word == "reduce") return ReduceBowel{r.quantity("share")};
  if (word == "close") return CloseAbdomen{};
  return hold(r);
}

care::Deed DeedReader::hold(Reader& r) {
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

}  // namespace serosa::files
