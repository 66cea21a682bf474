// SPDX-License-Identifier: Apache-2.0
// A dot with its interval for each category, series by series; hollow where it cannot be told from
// the reference.
import * as Plot from "@observablehq/plot";
import {look} from "../colours.js";
import {element} from "../elements.js";
import {figure} from "../numbers.js";
import {broken} from "../chart.js";
import {bottomAxis, levels, panelSection, room, textWidth, titleOf} from "../panels.js";

const words = (point) =>
  Number.isFinite(point.low) && Number.isFinite(point.high) ? `${figure(point.value)} (${figure(point.low)} to ${figure(point.high)})` : figure(point.value);
const end = (x) => (x === null || x === undefined ? NaN : x);

export default function intervals(section) {
  const built = panelSection(section, {
    seriesOf: (panel) => panel.series,
    rest: "Point at a dot to read its value and interval.",
    columns: (panel) => [
      {head: "Row", values: panel.categories.flatMap((category) => panel.series.map(() => category))},
      {head: "Series", values: panel.categories.flatMap(() => panel.series.map((series) => series.label))},
      ...["value", "low", "high"].map((what) => ({
        head: {value: titleOf(panel.axis), low: "Lower end of the interval", high: "Upper end of the interval"}[what],
        values: panel.categories.flatMap((_, i) => panel.series.map((series) => series.points[i]?.[what] ?? null)),
      })),
    ],
    paint: (panel, on, width) => {
      const letters = Math.floor((width - 16) / 7);
      const step = 17;
      // Rows as high as their labels and dots need, in pixels from the top.
      let below = 0;
      const rows = panel.categories.map((category) => {
        const label = broken(category, letters);
        const first = below + 6 + 16 * label.split("\n").length;
        const top = below;
        below = first + step * (panel.together ? 1 : Math.max(1, on.length)) + 6;
        return {label, top, first};
      });
      const dots = on.flatMap((series, k) => series.points.map((point, i) => point && {
        ...point, low: end(point.low), high: end(point.high), series, category: panel.categories[i], y: rows[i].first + step * (panel.together ? 0.5 : k + 0.5),
      })).filter(Boolean);
      const domain = room([...dots.flatMap((dot) => [dot.value, dot.low, dot.high]), ...panel.references.map((one) => one.value)], panel.axis.log, 0.08);
      const height = below + 56;
      const perWidth = (width - 28) / (domain[1] - domain[0]);
      const named = levels(panel.references, (one) => (panel.axis.log ? 0 : (one.value - domain[0]) * perWidth), (one) => textWidth(one.label));
      // A name at the edge stays inside the drawing.
      const inside = (one) => {
        const at = 14 + (panel.axis.log ? Math.log(one.value / domain[0]) / Math.log(domain[1] / domain[0]) * (width - 28) : (one.value - domain[0]) * perWidth);
        const half = textWidth(one.label) / 2;
        return Math.max(half - at, 0) || Math.min(width - half - at, 0);
      };
      const top = 16 + 15 * Math.max(0, ...named.map((one) => one.level));
      return {
        hot: dots.map((dot) => ({x: dot.value, y: dot.y, wx: 0.3, wy: 3, words: `${dot.category}${panel.series.length > 1 ? `, ${dot.series.label}` : ""}: ${words(dot)}${panel.axis.unit ? ` ${panel.axis.unit}` : ""}${dot.hollow && panel.references.length ? `, not distinguishable from “${panel.references[0].label}”` : ""}`})),
        label: `${titleOf(panel.axis)}. ${dots.map((dot) => `${dot.category}${panel.series.length > 1 ? `, ${dot.series.label}` : ""} ${words(dot)}${dot.hollow && panel.references.length ? " (not distinguishable)" : ""}`).join("; ")}`,
        options: {
          height: height + top, marginLeft: 14, marginRight: 14, marginTop: 10 + top, marginBottom: 46,
          x: {domain, type: panel.axis.log ? "log" : "linear"},
          y: {domain: [below, 0], axis: null},
          marks: [
            Plot.gridX({stroke: "#000", strokeOpacity: 0.12, ticks: 5}),
            Plot.ruleY(rows.slice(1), {y: "top", stroke: "#000", strokeOpacity: 0.12}),
            ...panel.references.map((one) => Plot.ruleX([one.value], {stroke: "#333", strokeDasharray: "5 3"})),
            ...named.map((one) => Plot.text([one], {x: "value", frameAnchor: "top", text: "label", lineAnchor: "bottom", dx: inside(one), dy: -4 - 15 * one.level, fontSize: 12, fill: "#333"})),
            ...on.map((series) => Plot.ruleY(dots.filter((dot) => dot.series === series && dot.high >= dot.low), {y: "y", x1: "low", x2: "high", stroke: look(series.style).colour, strokeWidth: 2, strokeDasharray: look(series.style).dash ?? undefined})),
            Plot.dot(dots, {x: "value", y: "y", r: 4.5, fill: (dot) => (dot.hollow ? "#fff" : look(dot.series.style).colour), stroke: (dot) => look(dot.series.style).colour, strokeWidth: 1.8}),
            Plot.text(rows, {frameAnchor: "left", x: null, y: (row) => row.top + 4, text: "label", textAnchor: "start", lineAnchor: "top", fontSize: 13, fill: "#1a1a1a", stroke: "#fff", strokeWidth: 3}),
            bottomAxis(panel.axis, width - 28),
          ],
        },
      };
    },
  });
  const hollow = section.data.panels.find((panel) => panel.references.length && panel.series.some((series) => series.points.some((point) => point?.hollow)));
  if (hollow)
    built.nodes.unshift(element("p", {class: "topic"}, `Hollow dots: not distinguishable from “${hollow.references[0].label}”, which the interval holds.`));
  return built;
}
