// SPDX-License-Identifier: Apache-2.0
// A difference, step by step: each part begins where the last one ended.
import * as Plot from "@observablehq/plot";
import {broken, chart, choice, draw} from "../chart.js";
import {look} from "../colours.js";
import {figure} from "../numbers.js";

/** Steps with begin and end; parts too small to be seen are taken together, so that all add up. */
export function steps(list) {
  const largest = Math.max(...list.map((step) => Math.abs(step.value ?? 0)), 1e-12);
  const result = [];
  let level = 0;
  let small = 0;
  let smallCount = 0;
  const flush = () => {
    if (smallCount && Math.abs(small) > 1e-9)
      result.push({label: "All smaller parts together", style: "solids", value: small, from: level, to: level + small});
    level += small;
    small = 0;
    smallCount = 0;
  };
  for (const step of list) {
    if (step.total !== undefined) {
      flush();
      result.push({...step, value: step.total, from: 0, to: step.total, isTotal: true});
    } else if (Math.abs(step.value) < 0.01 * largest) {
      small += step.value;
      smallCount += 1;
    } else {
      result.push({...step, from: level, to: level + step.value});
      level += step.value;
    }
  }
  return result;
}

const signed = (x) => (x > 0 && figure(x) !== "0.000" ? `+${figure(x)}` : figure(x));

export default function waterfall(section) {
  const {choices, unit} = section.data;
  if (!choices.length) return {nodes: [], charts: []};
  let chosen = choices.length - 1;
  const current = () => steps(choices[chosen].steps);
  const frame = chart({
    id: `${section.id}-1`,
    title: "Step by step",
    columns: () => {
      const all = choices[chosen].steps;
      return [
        {head: `At ${choices[chosen].label}`, values: all.map((step) => step.label)},
        {head: unit, values: all.map((step) => step.value ?? step.total)},
      ];
    },
    paint: (width) => {
      const narrow = width < 560;
      const list = current().map((step, i) => ({...step, row: i}));
      const band = narrow ? 46 : 30;
      const ends = [0, ...list.flatMap((step) => [step.from, step.to])];
      const low = Math.min(...ends);
      const high = Math.max(...ends);
      const room = (high - low || 1) * (narrow ? 0.2 : 0.12);
      const left = narrow ? 12 : 285;
      const top = narrow ? 16 : 0;
      const marks = [
        Plot.gridX({stroke: "#000", strokeOpacity: 0.12}),
        Plot.ruleX([0], {stroke: "#333"}),
        Plot.rect(list, {x1: "from", x2: "to", y1: (step) => step.row + (narrow ? 0.42 : 0.14), y2: (step) => step.row + 0.86, fill: (step) => look(step.style).colour, stroke: "#333", strokeWidth: 0.75}),
        Plot.ruleX(list.slice(0, -1).filter((step) => !step.isTotal || step.row < list.length - 1), {x: "to", y1: (step) => step.row + 0.86, y2: (step) => step.row + (narrow ? 1.42 : 1.14), stroke: "#777", strokeDasharray: "2 2"}),
        Plot.text(list, {x: (step) => Math.max(step.from, step.to), y: (step) => step.row + (narrow ? 0.64 : 0.5), text: (step) => signed(step.value), textAnchor: "start", dx: 6, fill: "#1a1a1a", fontSize: 13, fontWeight: (step) => (step.isTotal ? 700 : 400), stroke: "#fff", strokeWidth: 3}),
        Plot.text(list, {frameAnchor: narrow ? "left" : "left", x: null, y: (step) => step.row + (narrow ? 0.22 : 0.5), text: (step) => (narrow ? step.label : broken(step.label, 44)), textAnchor: narrow ? "start" : "end", dx: narrow ? 0 : -10, fill: "#1a1a1a", fontSize: 13, fontWeight: (step) => (step.isTotal ? 700 : 400), stroke: "#fff", strokeWidth: 3}),
        Plot.axisX({label: `Change of the deficit, ${unit}`, labelArrow: "none", labelAnchor: "center", labelOffset: 38, ticks: narrow ? 4 : 7, fontSize: 13, color: "#333"}),
      ];
      return draw({
        width, height: band * list.length + 58 + top, marginLeft: left, marginRight: 16, marginTop: 8, marginBottom: 46,
        x: {domain: [low - (narrow ? room * 0.2 : room * 0.5), high + room]},
        y: {domain: [list.length, 0], axis: null},
        marks,
      }, `${section.title}. Steps at ${choices[chosen].label}: ${list.map((step) => `${step.label} ${signed(step.value)}`).join("; ")}`);
    },
  });
  const nodes = [];
  if (choices.length > 1)
    nodes.push(choice("Difference at", choices.map((one) => one.label), chosen, (i) => {
      chosen = i;
      const behind = frame.figure.querySelector("details");
      behind.open = false;
      behind.querySelector(".scroll")?.remove();
      frame.repaint();
    }));
  nodes.push(frame.figure);
  return {nodes, charts: [frame]};
}
