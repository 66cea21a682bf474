// SPDX-License-Identifier: Apache-2.0
// How many runs lie where: outlines of bins over each other, each with its median.
import * as Plot from "@observablehq/plot";
import {look} from "../colours.js";
import {figure} from "../numbers.js";
import {bottomAxis, leftAxis, panelSection, room, titleOf} from "../panels.js";

const sum = (list) => list.reduce((a, b) => a + b, 0);

/** Share of all runs that finished, in per cent. */
const whole = (series) => sum(series.counts) + series.below + series.above;

function outline(series, edges) {
  const all = whole(series) || 1;
  const list = [{x: edges[0], y: 0}];
  series.counts.forEach((count, i) => {
    const y = (100 * count) / all;
    list.push({x: edges[i], y}, {x: edges[i + 1], y});
  });
  list.push({x: edges[edges.length - 1], y: 0});
  return list;
}

export default function distribution(section) {
  const {counted} = section.data;
  return panelSection(section, {
    seriesOf: (panel) => panel.series,
    rest: "Point at a step to read its share.",
    columns: (panel) => [
      {head: `${titleOf(panel.axis)}, from`, values: ["below", ...panel.edges.slice(0, -1).map(figure), "above", "no value"]},
      {head: panel.axis.unit ? `to, ${panel.axis.unit}` : "to", values: [figure(panel.edges[0]), ...panel.edges.slice(1).map(figure), figure(panel.edges[panel.edges.length - 1]), ""]},
      ...panel.series.map((series) => ({head: `${series.label}, ${counted}`, values: [series.below, ...series.counts, series.above, series.missing], digits: 0})),
    ],
    paint: (panel, on, width) => {
      const {edges} = panel;
      if (!edges.length) return {options: {height: 60, marks: [Plot.text(["No run came so far."], {frameAnchor: "middle"})]}, label: "no run came so far"};
      const lists = on.map((series) => ({series, list: outline(series, edges)}));
      const most = Math.max(1, ...lists.flatMap(({list}) => list.map((point) => point.y)));
      const domain = [edges[0], edges[edges.length - 1]];
      const references = panel.references.filter((one) => one.value >= domain[0] && one.value <= domain[1]);
      const right = (one) => one.value > domain[0] + 0.6 * (domain[1] - domain[0]);
      const named = {x: "value", frameAnchor: "top", text: "label", lineAnchor: "top", dy: 2, fontSize: 12, fill: "#333", stroke: "#fff", strokeWidth: 3};
      const medians = on.filter((series) => series.median !== null);
      const hot = lists.flatMap(({series}) => series.counts.map((count, i) => ({
        x: (edges[i] + edges[i + 1]) / 2, y: (100 * count) / (whole(series) || 1), wx: 3,
        words: `${series.label}: ${figure((100 * count) / (whole(series) || 1))} % of ${counted} between ${figure(edges[i])} and ${figure(edges[i + 1])}${panel.axis.unit ? ` ${panel.axis.unit}` : ""}`,
      })));
      const height = Math.round(Math.min(320, Math.max(220, width * 0.5)));
      return {
        hot,
        label: `share of ${counted} by ${titleOf(panel.axis)}. ${on.map((series) => `${series.label}: median ${figure(series.median)}`).join("; ")}`,
        options: {
          height, marginLeft: 56, marginRight: 14, marginTop: 30, marginBottom: 46,
          x: {domain: room(domain, false, 0.02)},
          y: {domain: [0, most * 1.08]},
          marks: [
            Plot.gridY({stroke: "#000", strokeOpacity: 0.12, ticks: 5}),
            ...lists.map(({series, list}) => Plot.area(list, {x1: "x", y1: 0, y2: "y", fill: look(series.style).colour, fillOpacity: 0.16})),
            ...lists.map(({series, list}) => Plot.line(list, {x: "x", y: "y", stroke: look(series.style).colour, strokeWidth: 1.8, strokeDasharray: look(series.style).dash ?? undefined})),
            Plot.ruleY([0], {stroke: "#333"}),
            ...medians.map((series) => Plot.ruleX([series.median], {y1: 0, y2: most * 1.05, stroke: look(series.style).colour, strokeWidth: 1.4, strokeDasharray: "1 3"})),
            ...references.map((one) => Plot.ruleX([one.value], {stroke: "#333", strokeDasharray: "5 3"})),
            Plot.text(references.filter((one) => !right(one)), {...named, textAnchor: "start", dx: 4}),
            Plot.text(references.filter(right), {...named, textAnchor: "end", dx: -4}),
            bottomAxis(panel.axis, width - 70),
            leftAxis({label: `Share of ${counted}`, unit: "%"}),
          ],
        },
      };
    },
    areaLegend: false,
  });
}
