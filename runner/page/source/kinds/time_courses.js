// SPDX-License-Identifier: Apache-2.0
// Lines over time, a panel for each quantity, with named ranges behind them.
import * as Plot from "@observablehq/plot";
import {lineOf, timeSection} from "../times.js";

function bandsOf(panel, domain) {
  return (panel.bands ?? [])
    .map((band, i) => ({low: band.low ?? -Infinity, high: band.high ?? Infinity, label: band.label, i, single: panel.bands.length === 1}))
    .map((band) => ({...band, low: Math.max(band.low, domain[0]), high: Math.min(band.high, domain[1])}))
    .filter((band) => band.high > band.low);
}

export function rangeMarks(panel, {until, domain}) {
  const list = bandsOf(panel, domain);
  if (!list.length) return [];
  return [
    Plot.rect(list, {x1: 0, x2: until, y1: "low", y2: "high", fill: (band) => (band.i % 2 || band.single ? "#e9edf1" : "#fbfbfb")}),
    Plot.ruleY(list.slice(1), {y: "high", stroke: "#777", strokeWidth: 0.75}),
  ];
}

/** Names of the ranges, over the lines so that they can be read. */
export function bandNames(panel, {until, domain}) {
  const wide = (domain[1] - domain[0]) * 0.11;
  return [
    Plot.text(bandsOf(panel, domain).filter((band) => band.high - band.low > wide), {
      x: until, y: "high", text: "label", textAnchor: "end", lineAnchor: "top", dx: -4, dy: 3, fill: "#444", fontSize: 12, stroke: "#fff", strokeWidth: 3,
    }),
  ];
}

export default function timeCourses(section) {
  return timeSection(section, {
    area: false,
    seriesOf: (panel) => panel.series,
    extent: (panel, on) => on.flatMap((series) => series.shown),
    marks: (panel, on, view) => [
      ...rangeMarks(panel, view),
      ...(view.domain[0] < 0 && view.domain[1] > 0 ? [Plot.ruleY([0], {stroke: "#333"})] : []),
      ...on.map((series) => lineOf(series, view.times)),
      ...bandNames(panel, view),
    ],
  });
}
