// SPDX-License-Identifier: Apache-2.0
// A plain drawing of one newborn: where the water is, and how much left by which way. Arrows are as
// wide as what passed, rings and stores as large as what they hold.
import {look} from "../../page/source/colours.js";
import {svgElement} from "../../page/source/elements.js";
import {digits, say, time} from "./words.js";

const ink = "#1a1a1a";
const skinTone = "#f3efe9";

function plainText(x, y, words, {anchor = "middle", size = 12, weight = 400} = {}) {
  const made = svgElement("text", {x, y, "text-anchor": anchor, "font-size": size, "font-weight": weight, fill: ink});
  made.textContent = words;
  return made;
}

/** An arrow from a point in a direction, as wide as an amount in mL/kg. */
function arrow(x, y, dx, dy, amount, style) {
  const width = Math.min(26, 1.6 * Math.sqrt(Math.max(0, amount)) * 1.9);
  const length = Math.hypot(dx, dy);
  const [ux, uy] = [dx / length, dy / length];
  const head = width * 0.9 + 4;
  const [bx, by] = [x + dx - ux * head, y + dy - uy * head];
  const side = (px, py, w) => `${px - uy * w},${py + ux * w}`;
  return svgElement("polygon", {
    points: [side(x, y, width / 2), side(bx, by, width / 2), side(bx, by, width / 2 + 4), `${x + dx},${y + dy}`,
      side(bx, by, -width / 2 - 4), side(bx, by, -width / 2), side(x, y, -width / 2)].join(" "),
    fill: look(style).colour, stroke: ink, "stroke-width": 0.8,
  });
}

/** Area in proportion to the amount. */
const radius = (mL, scale) => Math.sqrt(Math.max(0, mL) * scale);

/**
 * @param baby   {letter, title, weight, values, exposed}
 * @param i      index of the time shown
 * @param letters  how much larger the letters are than usual
 */
export function drawing(baby, i, hour, letters = 1) {
  const text = (x, y, words, {size = 12, ...more} = {}) => plainText(x, y, words, {size: size * letters, ...more});
  const at = (name) => baby.values[name][i];
  const perKg = (name) => at(name) / baby.weight;
  const figure = (x) => digits(x, 1);
  const svg = svgElement("svg", {viewBox: "0 0 440 300", role: "img", class: "newborn", "font-family": "inherit"});
  const stores = [
    ["blood", at("blood_volume")], ["wall", at("wall_water")], ["lumen", at("lumen_water")], ["surface", at("surface_water")],
    ["dressing", at("dressing_water")], ["stomach", at("stomach_water")],
  ];
  const ways = [["bowel_evaporation", perKg("bowel_evaporation")], ["skin", perKg("skin_loss")], ["airway", perKg("airway_loss")],
    ["urine", perKg("urine")], ["gastric_drainage", perKg("gastric_drainage")], ["bowel_drip", perKg("bowel_drip")], ["given", perKg("given_total")]];
  svg.setAttribute("aria-label", `${say("drawing.label", {letter: baby.letter, time: time(hour)})} ` +
    [...ways.map(([style, x]) => `${say(`route.${style}`)} ${figure(x)} mL/kg`), ...stores.map(([name, x]) => `${say(`store.${name}`)} ${digits(x, 0)} mL`)].join("; "));

  // The newborn lies on its back, head to the left: trunk, legs and head, one plain outline.
  const body = svgElement("g", {fill: skinTone, stroke: ink, "stroke-width": 1.6, "stroke-linejoin": "round"});
  body.append(
    svgElement("path", {d: "M96 170 C140 150 226 150 272 164 C306 160 352 166 378 182 C392 192 390 206 372 206 C340 202 306 206 276 214 C232 228 146 226 96 206 Z"}),
    svgElement("path", {d: "M276 190 C306 184 346 186 372 194", fill: "none"}),
    svgElement("ellipse", {cx: 78, cy: 186, rx: 42, ry: 36}),
  );
  svg.append(body);
  // Line of the mattress.
  svg.append(svgElement("line", {x1: 16, x2: 424, y1: 232, y2: 232, stroke: "#777", "stroke-width": 1}));

  // Blood: a disc in the chest.
  const bloodColour = look("blood_loss").colour;
  svg.append(svgElement("circle", {cx: 150, cy: 187, r: radius(at("blood_volume"), 1.5), fill: bloodColour, "fill-opacity": 0.75, stroke: ink, "stroke-width": 0.8}));
  svg.append(text(150, 191, `${digits(at("blood_volume"), 0)}`, {size: 12, weight: 600}));
  svg.lastChild.setAttribute("fill", "#fff");
  // Stomach.
  svg.append(svgElement("circle", {cx: 203, cy: 184, r: radius(at("stomach_water"), 6) + 2, fill: look("stomach").colour, stroke: ink, "stroke-width": 0.8}));

  // The bowel, outside: its lumen, round it the wall, round that what lies on the surface or in the wrap.
  if (baby.exposed) {
    const [cx, cy] = [270, 128];
    const lumen = radius(at("lumen_water"), 9);
    const wall = radius(at("lumen_water") + at("wall_water"), 9);
    const all = radius(at("lumen_water") + at("wall_water") + at("surface_water") + at("dressing_water"), 9);
    const rings = svgElement("g", {stroke: ink, "stroke-width": 0.8});
    if (all > wall + 0.2) rings.append(svgElement("circle", {cx, cy, r: all, fill: look("surface").colour}));
    rings.append(
      svgElement("circle", {cx, cy, r: wall, fill: look("wall").colour, "fill-opacity": 0.85}),
      svgElement("circle", {cx, cy, r: lumen, fill: look("lumen").colour}),
    );
    svg.append(rings);
    if (baby.cover(hour)) {
      svg.append(svgElement("circle", {cx, cy, r: all + 7, fill: "none", stroke: ink, "stroke-width": 2.2, "stroke-dasharray": "9 2"}));
      svg.append(text(cx + all + 14, cy + 4, say("drawing.covered"), {anchor: "start", size: 11}));
    }
    svg.append(arrow(cx, cy - all - 10, 0, -52, perKg("bowel_evaporation"), "bowel_evaporation"));
    svg.append(text(cx, cy - all - 66, `${say("route.bowel_evaporation")} ${figure(perKg("bowel_evaporation"))}`));
    if (perKg("bowel_drip") > 0.05) {
      svg.append(arrow(cx + all * 0.75, cy + all * 0.7, 34, 40, perKg("bowel_drip"), "bowel_drip"));
      svg.append(text(cx + all * 0.75 + 40, cy + all * 0.7 + 36, `${say("route.bowel_drip")} ${figure(perKg("bowel_drip"))}`, {anchor: "start", size: 12}));
    }
  }
  // Skin, breath, urine, stomach tube, and what is given.
  svg.append(arrow(172, 154, 0, -40, perKg("skin_loss"), "skin"), text(168, 106, `${say("route.skin")} ${figure(perKg("skin_loss"))}`));
  svg.append(arrow(54, 152, -12, -56, perKg("airway_loss"), "airway"), text(6, 86, `${say("route.airway")} ${figure(perKg("airway_loss"))}`, {anchor: "start"}));
  svg.append(arrow(346, 206, 18, 46, perKg("urine"), "urine"), text(382, 270, `${say("route.urine")} ${figure(perKg("urine"))}`));
  svg.append(arrow(203, 226, 0, 34, perKg("gastric_drainage"), "gastric_drainage"), text(212, 276, `${say("route.gastric_drainage")} ${figure(perKg("gastric_drainage"))}`));
  if (perKg("given_total") > 0.01) svg.append(arrow(92, 276, 26, -58, perKg("given_total"), "given"));
  svg.append(text(6, 294, `${say("route.given")} ${figure(perKg("given_total"))}`, {anchor: "start"}));
  svg.append(text(6, 16, say("drawing.unit", {time: time(hour)}), {anchor: "start", size: 12}));
  return svg;
}

/** What the discs and rings are, for both drawings. */
export function key() {
  return [["blood_loss", "store.blood"], ["lumen", "store.lumen"], ["wall", "store.wall"], ["surface", "store.surface"], ["stomach", "store.stomach"]];
}
