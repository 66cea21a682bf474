// SPDX-License-Identifier: Apache-2.0
// Courses with their spread: a line in the middle, bands around it, one or several in a panel.
import * as Plot from "@observablehq/plot";
import {look} from "../colours.js";
import {element} from "../elements.js";
import {shown} from "../numbers.js";
import {bandNames, rangeMarks} from "./time_courses.js";
import {lineOf, timeSection} from "../times.js";

const number = (x) => (x === null ? NaN : x);

export default function bands(section) {
  for (const panel of section.data.panels)
    for (const series of panel.series) for (const band of series.bands) {
      band.low = band.low.map(number);
      band.high = band.high.map(number);
    }
  const ranged = (panel) => ({bands: panel.ranges});
  const {times} = section.data;
  const area = (series, band, order) =>
    Plot.area(times.map((time, i) => ({time, low: band.low[i], high: band.high[i]})), {
      x1: "time", y1: "low", y2: "high", fill: look(series.style).colour, fillOpacity: order === 0 && series.bands.length > 1 ? 0.13 : 0.2, clip: true,
    });
  const built = timeSection(section, {
    area: false,
    seriesOf: (panel) => panel.series,
    extent: (panel, on) => on.flatMap((series) => [...series.shown, ...series.bands.flatMap((band) => [...band.low, ...band.high])]),
    marks: (panel, on, view) => [
      ...rangeMarks(ranged(panel), view),
      ...(view.domain[0] <= 0 && view.domain[1] > 0 ? [Plot.ruleY([0], {stroke: "#333"})] : []),
      ...panel.references.map((one) => Plot.ruleY([one.value], {stroke: "#333", strokeDasharray: "5 3"})),
      ...on.flatMap((series) => series.bands.map((band, order) => area(series, band, order))),
      ...on.map((series) => lineOf(series, view.times)),
      ...bandNames(ranged(panel), view),
      Plot.text(panel.references, {x: view.until, y: "value", text: "label", textAnchor: "end", lineAnchor: "bottom", dx: -4, dy: -3, fontSize: 12, fill: "#333", stroke: "#fff", strokeWidth: 3}),
    ],
    around: (series, i, panel) => {
      const band = series.bands[series.bands.length - 1];
      return band ? ` (${shown(band.low[i], panel.digits)} to ${shown(band.high[i], panel.digits)})` : "";
    },
    columnsOf: (series, panel) => series.bands.flatMap((band) => [
      {head: `${series.label}, ${band.label}, lower end, ${panel.unit}`, values: band.low, digits: panel.digits},
      {head: `${series.label}, ${band.label}, upper end, ${panel.unit}`, values: band.high, digits: panel.digits},
    ]),
  });
  // What the bands hold, once where all panels say the same.
  const said = section.data.panels.map((panel) => {
    const names = [...new Set(panel.series.flatMap((series) => series.bands.map((band) => band.label)))];
    if (!names.length) return null;
    return names.length > 1 ? `bands, from light to dark: ${names.join("; ")}; figures in brackets: ${names[names.length - 1]}.` : `bands and figures in brackets: ${names[0]}.`;
  });
  const capital = (text) => text[0].toUpperCase() + text.slice(1);
  const words = new Set(said).size === 1
    ? (said[0] ? [capital(said[0])] : [])
    : said.map((text, i) => text && `${section.data.panels[i].title}: ${text}`).filter(Boolean);
  built.nodes.splice(1, 0, ...words.map((text) => element("p", {class: "topic"}, text)));
  return built;
}
