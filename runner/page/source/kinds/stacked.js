// SPDX-License-Identifier: Apache-2.0
// Amounts upon amounts over time: what is lost above the line of nought, what is gained below it.
import * as Plot from "@observablehq/plot";
import {look} from "../colours.js";
import {element, table} from "../elements.js";
import {lineOf, timeSection} from "../times.js";

/**
 * Lower and upper edges of the areas. What is positive and what is negative is stacked apart, so a
 * series that changes its sign has an area above nought and one below.
 */
export function edges(list, count) {
  return [1, -1].flatMap((sign) => {
    const base = new Array(count).fill(0);
    return list
      .filter((series) => series.shown.some((x) => sign * x > 0))
      .map((series) => ({
        series,
        edge: series.shown.map((x, i) => {
          if (!Number.isFinite(x)) return [base[i], NaN];
          const from = base[i];
          base[i] += sign * x > 0 ? x : 0;
          return [from, base[i]];
        }),
      }));
  });
}

export default function stacked(section) {
  const {times} = section.data;
  const areas = (panel, on) => edges(on.filter((series) => series !== panel.total), times.length);
  const built = timeSection(section, {
    area: true,
    seriesOf: (panel) => (panel.total ? [...panel.stack, panel.total] : panel.stack),
    extent: (panel, on) => [
      ...areas(panel, on).flatMap(({edge}) => edge.flat()),
      ...on.filter((series) => series === panel.total).flatMap((series) => series.shown),
    ],
    marks: (panel, on) => [
      ...areas(panel, on).map(({series, edge}) =>
        Plot.area(edge.map(([low, high], i) => ({time: times[i], low, high})), {
          x1: "time", y1: "low", y2: "high", fill: look(series.style).colour, stroke: "#333", strokeWidth: 0.5, clip: true,
        })),
      Plot.ruleY([0], {stroke: "#333"}),
      ...on.filter((series) => series === panel.total).map((series) => lineOf(series, times)),
    ],
  });
  const numbers = section.data.numbers;
  if (numbers) {
    const rows = numbers.rows.map((row) => ({...row, total: row.style === "external"}));
    built.nodes.push(element("div", {class: "numbers scroll whole"}, table(numbers.head, rows)));
  }
  return built;
}
