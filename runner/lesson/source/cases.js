// SPDX-License-Identifier: Apache-2.0
// Cases on the page: what the controls read and change, and the file that a case is saved as.
import {parseResolved, Unread} from "./resolved.js";

const minute = 1 / 60;
const copy = (x) => JSON.parse(JSON.stringify(x));

const acts = (one, word) => one.timeline.filter((act) => act.act === word).sort((a, b) => a.at - b.at);
const first = (one, word) => acts(one, word)[0];
const drop = (one, ...words) => {
  one.timeline = one.timeline.filter((act) => !words.includes(act.act));
};
function add(one, act) {
  const taken = new Set(one.timeline.map((other) => other.name));
  let name = act.name ?? act.act;
  for (let n = 2; taken.has(name); ++n) name = `${act.name ?? act.act} ${n}`;
  const made = {...act, name};
  one.timeline.push(made);
  return made;
}
const without = (entry, ...keys) => Object.fromEntries(Object.entries(entry).filter(([key]) => !keys.includes(key)));

/** Times are shown in minutes or seconds; what is read back is what was set, to the digit shown. */
const tidy = (x) => Math.round(x * 1e6) / 1e6;

/**
 * The controls in the order in which their values are put into a case. `get` gives null where the
 * control has no meaning (a seal where there is no cover). Numbers are in the unit shown.
 */
export function controlsOf(data) {
  const cover = (name) => without(data.covers[name], "title");
  const fluid = (name) => without(data.fluids[name], "title");
  const warmer = (name) => without(data.warmers[name], "title");
  const list = [];
  const number = (group, id, unit, low, high, step, get, set) => list.push({group, id, kind: "number", unit, low, high, step, get: (c) => {
    const x = get(c);
    return x === null || x === undefined ? null : tidy(x);
  }, set});
  const choice = (group, id, options, get, set) => list.push({group, id, kind: "choice", options, get, set});
  /** The time of the first act of a kind. */
  const at = (group, id, word, unit, perHour, low, high, step) =>
    number(group, id, unit, low, high, step, (c) => (first(c, word) ? first(c, word).at * perHour : null), (c, x) => {
      if (first(c, word)) first(c, word).at = x / perHour;
    });

  // The newborn
  number("baby", "weight", "g", 1000, 4500, 10, (c) => c.baby.weight, (c, x) => (c.baby.weight = x));
  number("baby", "gestation", "wk", 28, 42, 1, (c) => c.baby.gestation, (c, x) => (c.baby.gestation = x));
  at("baby", "cord", "clamp-cord", "s", 3600, 0, 300, 5);

  // The room
  number("room", "air_temperature", "°C", 15, 36, 0.5, (c) => c.room.air_temperature, (c, x) => {
    // The walls keep their distance to the air.
    c.room.wall_temperature = tidy(c.room.wall_temperature + x - c.room.air_temperature);
    c.room.air_temperature = x;
  });
  number("room", "humidity", "%", 10, 90, 1, (c) => c.room.humidity * 100, (c, x) => (c.room.humidity = x / 100));
  number("room", "draught", "m/s", 0, 0.6, 0.01, (c) => c.room.air_speed, (c, x) => (c.room.air_speed = x));

  // Warmth
  const before = (c) => acts(c, "warmer").find((act) => act.at <= 0);
  const after = (c) => acts(c, "warmer").find((act) => act.at > 0);
  const set = (act, name) => Object.assign(act, warmer(name));
  const levels = Object.keys(data.warmers);
  choice("warmth", "warmer", levels, (c) => before(c)?.warmer ?? "none", (c, name) => {
    set(before(c) ?? add(c, {act: "warmer", name: "warmer", at: -20 * minute}), name);
  });
  choice("warmth", "warmer_then", ["", ...levels], (c) => after(c)?.warmer ?? "", (c, name) => {
    if (name === "") c.timeline = c.timeline.filter((act) => !(act.act === "warmer" && act.at > 0));
    else set(after(c) ?? add(c, {act: "warmer", name: "warmer later", at: 3 * minute}), name);
  });
  number("warmth", "warmer_then_at", "min", 1, 240, 1, (c) => (after(c) ? after(c).at / minute : null), (c, x) => {
    if (after(c)) after(c).at = x * minute;
  });
  choice("warmth", "dried", ["no", "head", "all"], (c) => {
    const act = first(c, "dry");
    return !act || act.share === 0 ? "no" : act.body ? "all" : "head";
  }, (c, word) => {
    if (word === "no") return drop(c, "dry");
    const act = first(c, "dry") ?? add(c, {act: "dry", at: minute, share: 0.9});
    Object.assign(act, {head: 1, body: word === "all" ? 1 : 0});
  });
  at("warmth", "dried_at", "dry", "min", 60, 0, 30, 0.5);
  choice("warmth", "hat", ["no", "yes"], (c) => (acts(c, "hat").some((act) => act.on) ? "yes" : "no"), (c, word) => {
    drop(c, "hat");
    if (word === "yes") add(c, {act: "hat", at: 2 * minute, on: 1});
  });

  // The bowel. A case whose bowel lies inside has nothing to wrap.
  const outside = (f) => (c) => (c.exposed ? f(c) : null);
  const kinds = Object.keys(data.covers).filter((name) => name !== "none");
  choice("bowel", "cover", ["", ...kinds], outside((c) => first(c, "cover")?.cover ?? ""), (c, name) => {
    if (name === "") return drop(c, "cover", "uncover", "re-wrap", "rewet");
    const act = first(c, "cover") ??
      add(c, {act: "cover", name: "wrap", at: 3 * minute, layers: 2, seal: 0.95, tension: 0, over: minute, ...fluid("saline-0.9")});
    Object.assign(act, cover(name));
    if (!act.dressing) drop(c, "rewet");
  });
  at("bowel", "wrapped_at", "cover", "min", 60, 0.5, 240, 0.5);
  const covered = (field, scale) => [(c) => (first(c, "cover") ? first(c, "cover")[field] * scale : null), (c, x) => {
    if (first(c, "cover")) first(c, "cover")[field] = x / scale;
  }];
  number("bowel", "layers", "", 1, 6, 1, ...covered("layers", 1));
  number("bowel", "seal", "%", 40, 100, 1, ...covered("seal", 100));
  number("bowel", "tension", "mmHg", 0, 20, 0.5, ...covered("tension", 1));
  const lies = ["supine_kinked", "supine", "supine_supported", "lateral", "lateral_supported"];
  choice("bowel", "position", lies, outside((c) => lies[first(c, "position") ? first(c, "position").position : c.position]), (c, word) => {
    const lie = lies.indexOf(word);
    if (first(c, "position")) first(c, "position").position = lie;
    else c.position = lie;
  });
  number("bowel", "position_at", "min", 0, 120, 1, outside((c) => (first(c, "position") ? first(c, "position").at / minute : 0)), (c, x) => {
    const act = first(c, "position");
    if (x <= 0) {
      if (act) c.position = act.position;
      drop(c, "position");
    } else if (act) {
      act.at = x * minute;
    } else {
      add(c, {act: "position", name: "lie", at: x * minute, position: c.position});
      c.position = 1;
    }
  });

  // Stomach and fluids
  const tubed = ["pass-tube", "drain", "aspirate"];
  choice("fluids", "drainage", ["none", "free", "aspirated"], (c) => {
    if (!first(c, "pass-tube")) return "none";
    return acts(c, "drain").some((act) => act.on) ? "free" : "aspirated";
  }, (c, word) => {
    const from = first(c, "pass-tube")?.at ?? 10 * minute;
    drop(c, ...tubed);
    if (word === "none") return drop(c, "replace-gastric-loss");
    add(c, {act: "pass-tube", at: from});
    if (word === "free") add(c, {act: "drain", at: from, on: 1});
    else for (let t = from; t <= c.until; t += 4) add(c, {act: "aspirate", at: t});
  });
  number("fluids", "drainage_at", "min", 1, 360, 1, (c) => (first(c, "pass-tube") ? first(c, "pass-tube").at / minute : null), (c, x) => {
    const act = first(c, "pass-tube");
    if (!act) return;
    const later = x * minute - act.at;
    for (const one of c.timeline) if (tubed.includes(one.act)) one.at += later;
    c.timeline = c.timeline.filter((one) => one.act !== "aspirate" || one.at <= c.until);
  });
  number("fluids", "maintenance", "mL/kg/d", 0, 150, 5, (c) => (first(c, "maintenance")?.rate ?? 0) * 24, (c, x) => {
    if (x <= 0) return drop(c, "maintenance", "change-maintenance", "stop-maintenance");
    const act = first(c, "maintenance") ?? add(c, {act: "maintenance", at: 0.5, ...fluid("glucose-10-saline-0.18")});
    act.rate = x / 24;
  });
  const fluidNames = Object.keys(data.fluids);
  choice("fluids", "maintenance_fluid", fluidNames, (c) => first(c, "maintenance")?.fluid ?? null, (c, name) => {
    if (first(c, "maintenance")) Object.assign(first(c, "maintenance"), fluid(name));
  });
  at("fluids", "maintenance_at", "maintenance", "min", 60, 1, 360, 1);
  // A bolus of 0 mL/kg keeps its place, so that the next is still the second.
  const boluses = (c) => acts(c, "bolus").filter((act) => act.purpose === 1);
  for (const n of [1, 2, 3]) {
    number("fluids", `bolus_${n}`, "mL/kg", 0, 30, 1, (c) => boluses(c)[n - 1]?.volume ?? 0, (c, x) => {
      if (x <= 0 && !boluses(c)[n - 1]) return;
      while (boluses(c).length < n) {
        const last = boluses(c).at(-1);
        add(c, {act: "bolus", name: "bolus", at: (last?.at ?? 0) + 1, volume: 0, over: 0.5, purpose: 1, ...fluid(last?.fluid ?? "balanced-crystalloid")});
      }
      boluses(c)[n - 1].volume = x;
    });
    number("fluids", `bolus_${n}_at`, "min", 1, 1440, 1, (c) => (boluses(c)[n - 1]?.volume ? boluses(c)[n - 1].at / minute : null), (c, x) => {
      const act = boluses(c)[n - 1];
      // In their order: a bolus does not overtake its neighbours.
      const [low, high] = [boluses(c)[n - 2]?.at ?? 0, boluses(c)[n]?.at ?? Infinity];
      if (act) act.at = Math.min(Math.max(x * minute, low), high);
    });
  }
  choice("fluids", "bolus_fluid", fluidNames, (c) => boluses(c)[0]?.fluid ?? null, (c, name) => {
    for (const act of boluses(c)) Object.assign(act, fluid(name));
  });
  list.push({group: "end", id: "until", kind: "choice", options: ["1", "2", "6", "12", "24", "48", "72"], get: (c) => String(tidy(c.until)), set: (c, text) => {
    const last = Math.max(0, ...c.timeline.filter((act) => !act.order).map((act) => act.at));
    c.until = Math.max(Number(text), last);
    c.report_at = c.report_at.filter((t) => t <= c.until);
    if (!c.report_at.length) c.report_at = [c.until];
  }});
  return list;
}

/** Acts that no control shows. */
const controlled = ["clamp-cord", "warmer", "dry", "hat", "cover", "position", "pass-tube", "drain", "aspirate", "maintenance", "bolus"];
export function furtherActs(one) {
  const seen = {};
  return one.timeline.filter((act) => {
    seen[act.act] = (seen[act.act] ?? 0) + 1;
    if (act.act === "bolus") return act.purpose !== 1 || seen.bolus > 3;
    if (act.act === "warmer") return seen.warmer > 2;
    if (act.act === "cover" || act.act === "position" || act.act === "maintenance") return seen[act.act] > 1;
    return !controlled.includes(act.act);
  });
}

/** A baby of the page: the case it starts from, with what the controls changed. */
export function built(baby, data, controls) {
  const one = copy(baby.text ? readCase(baby.text, data) : data.cases[baby.from] ?? baby.whole);
  for (const control of controls)
    if (control.id in baby.set && control.get(one) !== baby.set[control.id]) control.set(one, baby.set[control.id]);
  return one;
}

// ---- The file ------------------------------------------------------------------------------

const lieOf = (position) => ({
  lie: position >= 3 ? "lateral" : "supine",
  supported: position === 2 || position === 4,
  kinked: position === 0,
});
const positionOf = (map) => (map.kinked ? 0 : map.lie === "lateral" ? (map.supported ? 4 : 3) : map.supported ? 2 : 1);

/**
 * How each thing stands in a case file: [key of the file, key here, unit]; unit `flag` is true or
 * false, `count` a whole number, a list of words a choice, `name` the name of a data file.
 */
const air = [["temperature", "air_temperature", "degC"], ["walls", "wall_temperature", "degC"], ["humidity", "humidity", "1"],
  ["speed", "air_speed", "m/s"], ["pressure", "air_pressure", "kPa"]];
const babyKeys = [["weight", "weight", "g"], ["gestation", "gestation", "wk"], ["length", "length", "cm"],
  ["blood_volume", "blood_volume", "mL/kg"], ["delivery", "delivery", ["vaginal", "caesarean", "caesarean-without-labour"]],
  ["gastroschisis", "gastroschisis", "flag"], ["protein", "protein", "g/L"], ["haematocrit", "haematocrit", "1"],
  ["sodium", "sodium", "mmol/L"], ["temperature", "temperature", "degC"], ["skin_temperature", "skin_temperature", "degC"],
  ["bowel_temperature", "bowel_temperature", "degC"]];
const bowelKeys = [["herniated", "herniated", "1"], ["spread", "spread", "1"], ["loop_diameter", "loop_diameter", "m"],
  ["length", "bowel_length", "m"], ["thickening", "thickening", "1"], ["matting", "matting", "1"], ["area", "area", "m2"]];
const composition = [["sodium", "sodium", "mmol/L"], ["chloride", "chloride", "mmol/L"], ["glucose", "glucose", "g/L"],
  ["protein", "fluid_protein", "g/L"], ["red_cell_fraction", "red_cell_fraction", "1"]];
const properties = [["permeance", "permeance", "g/m2/h/kPa"], ["gap", "gap", "m"], ["warmer_transmittance", "warmer_transmittance", "1"],
  ["warmer_absorptance", "warmer_absorptance", "1"], ["longwave_transmittance", "longwave_transmittance", "1"],
  ["dressing_resistance", "dressing_resistance", "m2 h kPa/g"], ["dressing_capacity", "dressing_capacity", "g/m2"]];
const fluidKeys = [["fluid", "fluid", "name"], ["composition", composition]];
const over = ["over", "over", "h"];
const actKeys = {
  "warmer": [["to", "warmer", "name"], ["irradiance", "irradiance", "W/m2"], ["set_point", "set_point", "degC"]],
  "lay-out-film": [], "clamp-cord": [], "uncover": [], "pass-tube": [], "aspirate": [], "stop-maintenance": [], "close": [],
  "dry": [["share", "share", "1"], ["head", "head", "flag"], ["body", "body", "flag"]],
  "hat": [["on", "on", "flag"]],
  "move": [["to", "room", "name"], ["air", air]],
  "position": [],
  "cover": [["with", "cover", "name"], ["properties", properties], ["layers", "layers", "count"], ["seal", "seal", "1"],
    ["tension", "tension", "mmHg"], over, ["wetting", "fluid", "name"]],
  "re-wrap": [["seal", "seal", "1"], ["tension", "tension", "mmHg"], over],
  "rewet": [["with", "fluid", "name"]],
  "drain": [["on", "on", "flag"]],
  "maintenance": [...fluidKeys, ["rate", "rate", "mL/kg/h"]],
  "change-maintenance": [["by", "by", "mL/kg/h"], ["least", "least", "mL/kg/h"], ["most", "most", "mL/kg/h"]],
  "bolus": [...fluidKeys, ["volume", "volume", "mL/kg"], over],
  "replace-gastric-loss": [...fluidKeys, ["every", "every", "h"], ["share", "share", "1"]],
  "bleed": [["volume", "volume", "mL/kg"], ["share", "share", "1"], over],
  "sample-blood": [["volume", "volume", "mL/kg"], over],
  "breathe": [["by", "by", ["spontaneous", "mask", "tube"]]],
  "activity": [["factor", "factor", "1"]],
  "reduce": [["share", "share", "1"]],
  "hold": [],
};
const keysOf = (word) => actKeys[word === "transfuse" ? "bolus" : word];

/** Acts of the file that differ from the page's in name: [word of the file, word here, what tells them apart]. */
const otherwise = [["transfuse", "bolus", "purpose", 3], ["sample-blood", "bleed", "to_laboratory", 1]];
const wordInFile = (deed) => otherwise.find(([, word, key, value]) => word === deed.act && deed[key] === value)?.[0] ?? deed.act;

// A protocol: its looks, the lines of its chart, conditions and rules.
const lookKeys = [["every", "look_every", "h"], ["from", "look_from", "h"]];
const protocolKeys = [["name", "name", "name"], ["title", "title", "name"], ["note", "note", "name"], ["stands_for", "stands_for", "name"],
  ["source", "source", "name"], ["look", lookKeys]];
const readingKeys = (sign) => [["delay", "delay", "h"], ["error", "error", sign.unit === "degC" ? "K" : sign.unit],
  ...(sign.laboratory ? [] : [["every", "every", "h"]]), ...(sign.adds_up ? [["over", "over", "h"]] : [])];
const conditionKeys = (sign) => [["above", "above", sign.unit], ["below", "below", sign.unit], ["for", "lasting", "h"]];
const ruleKeys = [["at_most", "at_most", "count"], ["gap", "gap", "h"], ["from", "from", "h"], ["until", "until", "h"], ["reason", "reason", "name"]];
const chartKeys = [["seed", "chart_seed", "count"], ["run", "chart_run", "count"]];
const ordered = "protocol: ";

function written(x, kind) {
  if (kind === "flag") return Boolean(x);
  if (kind === "count" || kind === "name") return x;
  if (Array.isArray(kind)) return kind[x];
  return kind === "1" ? String(x) : `${x} ${kind}`;
}
function writeKeys(keys, values) {
  const map = {};
  for (const [key, here, unit] of keys) {
    if (Array.isArray(here)) map[key] = writeKeys(here, values);
    else if (values[here] !== null && values[here] !== undefined && !(unit === "name" && values[here] === "")) map[key] = written(values[here], unit);
  }
  return map;
}

function writeDeed(deed, data) {
  const entry = {act: wordInFile(deed), ...writeKeys(keysOf(wordInFile(deed)), deed)};
  if (deed.act === "position") Object.assign(entry, lieOf(deed.position));
  if (deed.act === "hold") {
    const {name, unit} = data.controls[deed.control];
    Object.assign(entry, {control: name, value: written(deed.value, unit)});
  }
  return entry;
}
function writeActs(acts, data) {
  return Object.fromEntries(acts.map((act) => [act.name.replace(act.order ? ordered : "", ""), {at: `${act.at} h`, ...writeDeed(act, data)}]));
}

function writeProtocol(one, data) {
  const {protocol} = one;
  const sign = (n) => data.signs[protocol.readings[n].sign];
  const conditions = (list) => Object.fromEntries(list.map((condition) =>
    [protocol.readings[condition.reading].name, writeKeys(conditionKeys(sign(condition.reading)), condition)]));
  return {
    ...writeKeys(protocolKeys, protocol),
    readings: Object.fromEntries(protocol.readings.map((reading, n) => {
      // Nought is what a line has when nothing is said: every look, since birth, no error.
      const said = Object.fromEntries(Object.entries(reading).filter(([, x]) => x !== 0));
      return [reading.name, {reads: sign(n).word, delay: `${reading.delay} h`, ...writeKeys(readingKeys(sign(n)), said)}];
    })),
    orders: writeActs(one.timeline.filter((act) => act.order), data),
    rules: Object.fromEntries(protocol.rules.map((rule) => [rule.name, {when: conditions(rule.when), unless: conditions(rule.unless),
      do: writeDeed(rule.deed, data), ...writeKeys(ruleKeys, rule)}])),
  };
}

/** The case as the text of a case file. It is JSON, which is YAML too; `serosa run` takes it. */
export function writeCase(one, data) {
  const units = (name) => data.parameters.units[data.parameters.names.indexOf(name)];
  const file = {
    title: one.title,
    note: one.note,
    baby: writeKeys(babyKeys, one.baby),
    bowel: {outside: Boolean(one.exposed), ...writeKeys(bowelKeys, one.baby), ...lieOf(one.position)},
    room: one.room.room,
    air: writeKeys(air, one.room),
    wet: Boolean(one.wet),
    until: `${one.until} h`,
    every: `${one.every} h`,
    report_at: one.report_at.map((t) => `${t} h`),
    parameters: Object.fromEntries(Object.entries(one.parameters).map(([name, x]) => [name, written(x, units(name))])),
    ...(one.protocol ? {protocol: writeProtocol(one, data), chart_errors: writeKeys(chartKeys, one)} : {}),
    timeline: writeActs(one.timeline.filter((act) => !act.order), data),
  };
  return `# ${data.caution}\n${JSON.stringify(file, null, 2)}\n`;
}

// ---- Reading it back -------------------------------------------------------------------------

/** What a text of a file means, in the unit asked for. Units come from the program's own list. */
function taken(text, kind, data) {
  if (kind === "name") return text;
  if (kind === "flag") {
    if (![true, false, "true", "false"].includes(text)) throw new Unread("value", text);
    return String(text) === "true" ? 1 : 0;
  }
  if (Array.isArray(kind)) {
    if (!kind.includes(text)) throw new Unread("value", text);
    return kind.indexOf(text);
  }
  const unit = kind === "count" ? "1" : kind;
  // Weeks and days, hours and minutes: one number upon the other.
  const weeks = unit === "wk" && /^(\d+)\+(\d) wk$/.exec(text);
  if (weeks) return Number(weeks[1]) + Number(weeks[2]) / 7;
  const several = unit === "h" && /^(\d+) h (\d+) min$/.exec(text);
  if (several) return Number(several[1]) + Number(several[2]) / 60;
  const [, number, said] = /^([-+]?[\d.]+(?:e[-+]?\d+)?) ?(.*)$/i.exec(String(text)) ?? [];
  const x = Number(number);
  if (number === undefined || !Number.isFinite(x)) throw new Unread("value", text);
  if (said === unit || (unit === "1" && said === "")) return x;
  const change = data.unit_table[unit]?.[said.replaceAll("^", "").replace("°C", "degC")];
  if (!change) throw new Unread("unit", text);
  return (x * change[0]) / change[1] + change[2];
}

/** The keys of a map must all be known: then nothing in a file is overlooked. */
function only(map, ...lists) {
  const all = lists.flat().map((key) => (Array.isArray(key) ? key[0] : key));
  for (const key of Object.keys(map)) if (!all.includes(key)) throw new Unread("key", key);
}
/** Puts what a map says into an object; what it does not say stays, or is null. */
function takeKeys(keys, map, into, data) {
  for (const [key, here, unit] of keys) {
    if (Array.isArray(here)) {
      only(map[key] ?? {}, here);
      takeKeys(here, map[key] ?? {}, into, data);
    } else if (key in map) into[here] = taken(map[key], unit, data);
    else into[here] ??= null;
  }
  return into;
}
function named(list, name) {
  if (!Object.hasOwn(list, name)) throw new Unread("file", name);
  return without(list[name], "title");
}

const lieKeys = ["lie", "supported", "kinked"];
function readLie(map, data) {
  const flag = (key) => taken(map[key], "flag", data);
  taken(map.lie, ["supine", "lateral"], data);
  return positionOf({lie: map.lie, supported: flag("supported"), kinked: flag("kinked")});
}

function readDeed(entry, data, ...others) {
  const [, word, mark, value] = otherwise.find(([inFile]) => inFile === entry.act) ?? [, entry.act];
  if (!Object.hasOwn(actKeys, word)) throw new Unread("key", entry.act);
  const keys = keysOf(entry.act);
  only(entry, keys, "act", others, word === "position" ? lieKeys : [], word === "hold" ? ["control", "value"] : []);
  const deed = {act: word};
  // What the named files say comes first; what the act itself says goes over it.
  if (word === "warmer") Object.assign(deed, named(data.warmers, entry.to));
  if (word === "move") Object.assign(deed, named(data.rooms, entry.to));
  if (word === "cover") Object.assign(deed, named(data.covers, entry.with), named(data.fluids, entry.wetting));
  if (word === "rewet") Object.assign(deed, named(data.fluids, entry.with));
  if (keys.some(([key]) => key === "fluid")) Object.assign(deed, named(data.fluids, entry.fluid));
  takeKeys(keys, entry, deed, data);
  if (word === "position") deed.position = readLie(entry, data);
  if (word === "bolus") deed.purpose = 1;
  if (word === "bleed") Object.assign(deed, {share: deed.share ?? 0, to_laboratory: 0});
  if (mark) deed[mark] = value;
  if (word === "hold") {
    deed.control = data.controls.findIndex((control) => control.name === entry.control);
    if (deed.control < 0) throw new Unread("key", entry.control);
    deed.value = taken(entry.value, data.controls[deed.control].unit, data);
  }
  return deed;
}
function readActs(entries, data, order) {
  return Object.entries(entries).map(([name, told]) => {
    // The entry's own name may say what is done.
    const entry = {act: name, ...told};
    const act = {name: order ? ordered + name : name, ...readDeed(entry, data, "at"), at: taken(entry.at, "h", data)};
    return order ? {...act, order: true} : act;
  });
}

function readProtocol(map, data) {
  only(map, protocolKeys, "readings", "orders", "rules");
  const protocol = takeKeys(protocolKeys, map, {note: "", stands_for: "", source: ""}, data);
  protocol.readings = Object.entries(map.readings).map(([name, told]) => {
    const sign = data.signs.findIndex(({word}) => word === (told.reads ?? name));
    if (sign < 0) throw new Unread("key", told.reads ?? name);
    const keys = readingKeys(data.signs[sign]);
    only(told, keys, "reads");
    return takeKeys(keys, told, {name, sign, every: 0, over: 0, delay: 0, error: 0}, data);
  });
  const conditions = (list) => Object.entries(list).map(([name, told]) => {
    const reading = protocol.readings.findIndex((one) => one.name === name);
    if (reading < 0) throw new Unread("key", name);
    const keys = conditionKeys(data.signs[protocol.readings[reading].sign]);
    only(told, keys);
    return takeKeys(keys, told, {reading, lasting: 0}, data);
  });
  protocol.rules = Object.entries(map.rules).map(([name, told]) => {
    only(told, ruleKeys, "when", "unless", "do");
    return {...takeKeys(ruleKeys, told, {name}, data), when: conditions(told.when), unless: conditions(told.unless), deed: readDeed(told.do, data)};
  });
  return protocol;
}

const fileKeys = ["title", "note", "baby", "bowel", "room", "air", "wet", "until", "every", "report_at", "parameters", "protocol", "chart_errors", "timeline"];

/** The case that a file describes when nothing is left out of it. */
function caseOf(file, data) {
  only(file, fileKeys);
  only(file.baby, babyKeys);
  only(file.bowel, bowelKeys, lieKeys, "outside");
  const one = {
    title: file.title, note: file.note ?? "", name: "saved", position: readLie(file.bowel, data), exposed: taken(file.bowel.outside, "flag", data),
    wet: taken(file.wet, "flag", data), until: taken(file.until, "h", data), every: taken(file.every, "h", data),
    report_at: file.report_at.map((t) => taken(t, "h", data)).sort((a, b) => a - b),
    baby: {cord_clamped_at: minute}, room: named(data.rooms, file.room), parameters: {}, timeline: [],
  };
  one.report_at = one.report_at.filter((t) => t <= one.until);
  if (!one.report_at.length) one.report_at = [one.until];
  takeKeys(babyKeys, file.baby, one.baby, data);
  takeKeys(bowelKeys, file.bowel, one.baby, data);
  only(file.air ?? {}, air);
  takeKeys(air, file.air ?? {}, one.room, data);
  for (const [name, told] of Object.entries(file.parameters ?? {})) {
    const unit = data.parameters.units[data.parameters.names.indexOf(name)];
    if (unit === undefined) throw new Unread("key", name);
    one.parameters[name] = taken(told.value ?? told, unit, data);
  }
  one.timeline = readActs(file.timeline, data, false);
  if (file.protocol) {
    one.protocol = readProtocol(file.protocol, data);
    one.timeline.push(...readActs(file.protocol.orders, data, true));
    only(file.chart_errors, chartKeys);
    takeKeys(chartKeys, file.chart_errors, one, data);
  }
  return one;
}

/** Reads what `writeCase` wrote and nothing else; throws for anything other. */
export function readCase(text, data) {
  const one = caseOf(JSON.parse(text.replace(/^(#[^\n]*\n)*/, "")), data);
  // Only what this page would write itself: then nothing in the file was overlooked.
  if (writeCase(one, data) !== text) throw new Unread("changed");
  return one;
}

/** A file that was opened, as this page would save it: its own, or the resolved case of a results folder. */
export function asSaved(text, data) {
  try {
    if (!/^(#[^\n]*\n)*\{/.test(text)) return writeCase(caseOf(parseResolved(text), data), data);
    readCase(text, data);
    return text;
  } catch (fault) {
    // What is no case at all lacks the parts that are looked for.
    throw fault instanceof Unread ? fault : new Unread("case");
  }
}
