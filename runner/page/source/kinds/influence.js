// SPDX-License-Identifier: Apache-2.0
// How far each input moves a result when it alone goes to either end of its range.
import * as Plot from "@observablehq/plot";
import {broken, chart, draw} from "../chart.js";
import {element, table} from "../elements.js";
import {figure} from "../numbers.js";

export default function influence(section) {
  const {panels, head, rows} = section.data;
  const charts = panels.filter((panel) => panel.rows.length).map((panel, order) =>
    chart({
      id: `${section.id}-${order + 1}`,
      title: panel.title,
      columns: () => [
        {head: "Input", values: panel.rows.map((row) => row.label)},
        {head: `At the lower end of its range, ${panel.unit}`, values: panel.rows.map((row) => row.low)},
        {head: `At the upper end of its range, ${panel.unit}`, values: panel.rows.map((row) => row.high)},
        {head: "How well known", values: panel.rows.map((row) => row.grade)},
      ],
      paint: (width) => {
        const letters = Math.floor((width - 24) / 6.8);
        const list = panel.rows.map((row, i) => ({...row, row: i, words: broken(`${row.label} (${row.grade})`, letters)}));
        const band = list.some((row) => row.words.includes("\n")) ? 60 : 44;
        const top = 1 - 20 / band;  // of a bar within its band
        const ends = [panel.base, ...list.flatMap((row) => [row.low, row.high])].filter((x) => x !== null);
        const low = Math.min(...ends);
        const high = Math.max(...ends);
        const room = (high - low || 1) * 0.16;
        const bars = list.flatMap((row) => [
          {...row, end: row.low, which: "lower"},
          {...row, end: row.high, which: "upper"},
        ]).filter((bar) => bar.end !== null);
        return draw({
          width, height: band * list.length + 76, marginLeft: 12, marginRight: 12, marginTop: 26, marginBottom: 46,
          x: {domain: [low - room, high + room]},
          y: {domain: [list.length, 0], axis: null},
          marks: [
            Plot.gridX({stroke: "#000", strokeOpacity: 0.12, ticks: 5}),
            Plot.rect(bars, {x1: panel.base, x2: "end", y1: (bar) => bar.row + top, y2: (bar) => bar.row + top + 17 / band, fill: (bar) => (bar.which === "lower" ? "#fff" : "#555"), stroke: "#333"}),
            Plot.ruleX([panel.base], {stroke: "#111", strokeWidth: 1.5}),
            Plot.text(bars, {x: "end", y: (bar) => bar.row + top + 8.5 / band, text: (bar) => figure(bar.end), textAnchor: "start", dx: 5, filter: (bar) => bar.end >= panel.base, fontSize: 12, stroke: "#fff", strokeWidth: 3, fill: "#1a1a1a"}),
            Plot.text(bars, {x: "end", y: (bar) => bar.row + top + 8.5 / band, text: (bar) => figure(bar.end), textAnchor: "end", dx: -5, filter: (bar) => bar.end < panel.base, fontSize: 12, stroke: "#fff", strokeWidth: 3, fill: "#1a1a1a"}),
            Plot.text(list, {frameAnchor: "left", x: null, y: (row) => row.row + top - 7 / band, lineAnchor: "bottom", text: "words", textAnchor: "start", fontSize: 13, fill: "#1a1a1a", stroke: "#fff", strokeWidth: 3}),
            Plot.text([panel.base], {x: (x) => x, frameAnchor: "top", y: null, dy: -12, text: (x) => `as computed: ${figure(x)}`, fontSize: 12, fill: "#1a1a1a"}),
            Plot.axisX({label: `${panel.title}, ${panel.unit}`, labelArrow: "none", labelAnchor: "center", labelOffset: 38, ticks: 5, fontSize: 13, color: "#333"}),
          ],
        }, `${section.topic}, ${panel.title}: ${list.map((row) => `${row.label} ${figure(row.low)} to ${figure(row.high)}`).join("; ")}. As computed ${figure(panel.base)}.`);
      },
    }));
  const key = element("p", {class: "topic"}, "White: at the lower end of the input's range. Grey: at its upper end. In brackets: how well the input is known.");
  const all = element("details", {class: "sources"}, element("summary", {}, "These inputs with value, range, source and grade"),
    element("div", {class: "scroll", tabindex: 0, role: "region", "aria-label": "Inputs with their sources"}, table(head, rows, {kind: "prose"})));
  return {nodes: [key, element("div", {class: "panels two"}, ...charts.map((one) => one.figure)), all], charts};
}
