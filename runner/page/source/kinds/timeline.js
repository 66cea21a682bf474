// SPDX-License-Identifier: Apache-2.0
// The acts of care along the hours, numbered, with their words below.
import * as Plot from "@observablehq/plot";
import {chart, draw} from "../chart.js";
import {look} from "../colours.js";
import {element} from "../elements.js";
import {hourAxis} from "../times.js";
import {clock} from "../numbers.js";

/** Lifts marks that would cover each other; acts are sorted by time. */
function lifted(acts, perHour, room) {
  const ends = [];
  return acts.map((act) => {
    const x = act.time * perHour;
    let level = ends.findIndex((end) => x - end >= room);
    if (level < 0) level = ends.length;
    ends[level] = x;
    return {...act, level};
  });
}

export default function timeline(section) {
  const {rows, until} = section.data;
  const charts = rows.map((row, order) => {
    const acts = row.acts.map((act, i) => ({...act, number: i + 1}));
    const from = Math.min(0, ...acts.map((act) => act.time));
    const {colour} = look(row.style);
    const frame = chart({
      id: `${section.id}-${order + 1}`,
      title: row.title,
      columns: () => [
        {head: "Number", values: acts.map((act) => act.number), digits: 0},
        {head: "Time after birth, h", values: acts.map((act) => act.time), digits: 4},
        {head: "Act", values: acts.map((act) => act.words)},
      ],
      paint: (width) => {
        const perHour = (width - 40) / (until - from);
        const list = lifted(acts, perHour, 19);
        const levels = Math.max(0, ...list.map((act) => act.level)) + 1;
        const height = 62 + 20 * levels;
        return draw({
          width, height, marginLeft: 16, marginRight: 24, marginTop: 8, marginBottom: 46,
          x: {domain: [from, until]},
          y: {domain: [0, levels], axis: null},
          marks: [
            Plot.ruleY([0], {stroke: "#333", strokeWidth: 1.5}),
            Plot.ruleX(list, {x: "time", y1: 0, y2: (act) => act.level + 0.5, stroke: "#999"}),
            Plot.dot(list, {x: "time", y: (act) => act.level + 0.5, r: 9, fill: "#fff", stroke: colour, strokeWidth: 1.5}),
            Plot.text(list, {x: "time", y: (act) => act.level + 0.5, text: (act) => String(act.number), fill: "#1a1a1a", fontSize: 11.5}),
            hourAxis(until, width - 70),
          ],
        }, `${section.topic}, ${row.title}: ${acts.map((act) => `${clock(act.time)} ${act.words}`).join("; ")}`);
      },
    });
    const list = element("dl", {});
    for (const act of acts) list.append(element("dt", {}, `${act.number}. ${clock(act.time)}`), element("dd", {}, act.words));
    frame.figure.insertBefore(element("div", {class: "acts"}, list), frame.figure.querySelector(".save"));
    return frame;
  });
  return {nodes: [element("div", {class: charts.length > 1 ? "panels two" : "panels"}, ...charts.map((one) => one.figure))], charts};
}
