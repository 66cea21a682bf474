// SPDX-License-Identifier: Apache-2.0
// A result over two inputs: a cell for each pair, contours at levels, dots on marked cells.
import * as Plot from "@observablehq/plot";
import {element, svgElement} from "../elements.js";
import {figure} from "../numbers.js";
import {bottomAxis, leftAxis, panelSection, titleOf} from "../panels.js";

/** Edges of cells halfway between their centres; on a logarithmic axis halfway in factors. */
export function cellEdges(centres, log) {
  const to = log ? Math.log : (x) => x;
  const back = log ? Math.exp : (x) => x;
  const at = centres.map(to);
  if (at.length === 1) return log ? [centres[0] / 1.5, centres[0] * 1.5] : [centres[0] - 0.5, centres[0] + 0.5];
  const inner = at.slice(1).map((x, i) => (x + at[i]) / 2);
  return [at[0] - (at[1] - at[0]) / 2, ...inner, at[at.length - 1] + (at[at.length - 1] - at[at.length - 2]) / 2].map(back);
}

/** Where the value passes a level, by straight lines between neighbouring centres. */
export function contour(values, columns, rows, level) {
  const pieces = [];
  const at = (i, j) => values[j * columns + i];
  for (let j = 0; j + 1 < rows; ++j)
    for (let i = 0; i + 1 < columns; ++i) {
      const corners = [[i, j], [i + 1, j], [i + 1, j + 1], [i, j + 1]];
      if (corners.some(([a, b]) => !Number.isFinite(at(a, b)))) continue;
      const cuts = [];
      for (let k = 0; k < 4; ++k) {
        const [a, b] = [corners[k], corners[(k + 1) % 4]];
        const [u, v] = [at(...a), at(...b)];
        if (u < level === v < level) continue;
        const share = (level - u) / (v - u);
        cuts.push([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]);
      }
      // At a saddle the middle decides which corners belong together.
      if (cuts.length === 4) {
        const middle = corners.reduce((sum, [a, b]) => sum + at(a, b), 0) / 4;
        if (middle < level !== at(i, j) < level) pieces.push([cuts[0], cuts[1]], [cuts[2], cuts[3]]);
        else pieces.push([cuts[3], cuts[0]], [cuts[1], cuts[2]]);
      } else if (cuts.length === 2) pieces.push(cuts);
    }
  return pieces;
}

/** A value of the axis at a place between two centres. */
function between(centres, place, log) {
  const i = Math.min(Math.floor(place), centres.length - 1);
  const k = Math.min(i + 1, centres.length - 1);
  const share = place - i;
  return log ? centres[i] * Math.pow(centres[k] / centres[i], share) : centres[i] + share * (centres[k] - centres[i]);
}

/** Round steps between which colours change, six to ten of them. */
export function steps(low, high) {
  if (!(high > low)) return [low];
  const raw = (high - low) / 7;
  const power = Math.pow(10, Math.floor(Math.log10(raw)));
  const step = [1, 2, 2.5, 5, 10].map((digit) => digit * power).find((one) => one >= raw * 0.999);
  const list = [];
  for (let i = Math.floor(low / step) + 1; i * step < high - 1e-9 * step; ++i) list.push(Number((i * step).toPrecision(12)));
  return list.length ? list : [(low + high) / 2];
}

// Light to dark in one hue after ColorBrewer (Harrower and Brewer 2003), safe for the colour blind
// and rising evenly in grey; the two-sided one has orange below and purple above.
const rising = ["#fcfbe9", "#dbeecb", "#a9dbc0", "#6cc0c3", "#3d9bc2", "#2470ad", "#1d4b92", "#152a6b", "#0d1540"];
const below = ["#7f3b08", "#b35806", "#e08214", "#fdb863", "#fee0b6"];
const above = ["#d8daeb", "#b2abd2", "#8073ac", "#542788", "#2d004b"];

export function coloursOf(thresholds, centre) {
  const count = thresholds.length + 1;
  if (centre === undefined || centre === null) return Array.from({length: count}, (_, i) => rising[Math.round((i * (rising.length - 1)) / Math.max(1, count - 1))]);
  const low = thresholds.filter((x) => x <= centre).length;
  const high = count - low;
  const pick = (list, i, of) => list[of === 1 ? Math.floor(list.length / 2) : Math.round((i * (list.length - 1)) / (of - 1))];
  return Array.from({length: count}, (_, i) => (i < low ? pick(below, i, low) : pick(above, i - low, high)));
}

const dark = (colour) => {
  const [r, g, b] = [1, 3, 5].map((i) => parseInt(colour.slice(i, i + 2), 16));
  return 0.299 * r + 0.587 * g + 0.114 * b < 140;
};

export default function map(section) {
  const finite = (x) => (x === null ? NaN : x);
  const built = panelSection(section, {
    rest: "Point at a cell to read its value.",
    columns: (panel) => [
      {head: titleOf(panel.x), values: panel.ys.flatMap(() => panel.xs)},
      {head: titleOf(panel.y), values: panel.ys.flatMap((y) => panel.xs.map(() => y))},
      {head: titleOf(panel.value), values: panel.values},
      ...(panel.marked ? [{head: panel.marked_means, values: panel.values.map((_, i) => (panel.marked.includes(i) ? "yes" : "no"))}] : []),
    ],
    paint: (panel, on, width) => {
      const values = panel.values.map(finite);
      const columns = panel.xs.length;
      const rows = panel.ys.length;
      const known = values.filter(Number.isFinite);
      const [low, high] = known.length ? [Math.min(...known), Math.max(...known)] : [0, 1];
      const thresholds = steps(low, high);
      const colours = coloursOf(thresholds, panel.centre);
      const colour = (x) => (Number.isFinite(x) ? colours[thresholds.filter((t) => t <= x).length] : "#fff");
      const xe = cellEdges(panel.xs, panel.x.log);
      const ye = cellEdges(panel.ys, panel.y.log);
      const cells = values.map((value, n) => ({value, i: n % columns, j: Math.floor(n / columns), n}))
        .map((cell) => ({...cell, x1: xe[cell.i], x2: xe[cell.i + 1], y1: ye[cell.j], y2: ye[cell.j + 1], x: panel.xs[cell.i], y: panel.ys[cell.j]}));
      const cellWidth = (width - 80) / columns;
      const height = Math.round(Math.min(440, Math.max(260, width * 0.7)));
      const cellHeight = (height - 120) / rows;
      const marked = cells.filter((cell) => panel.marked?.includes(cell.n));
      const written = cellWidth > 44 && cellHeight > 18 && !marked.length;
      const lines = panel.levels.flatMap((one) => contour(values, columns, rows, one.value).map((piece, k) =>
        ({label: one.label, piece: piece.map(([a, b]) => ({x: between(panel.xs, a, panel.x.log), y: between(panel.ys, b, panel.y.log)})), k})));
      const unit = panel.value.unit ? ` ${panel.value.unit}` : "";
      return {
        hot: cells.map((cell) => ({x: cell.x, y: cell.y, words: `${panel.x.label} ${figure(cell.x)} ${panel.x.unit}, ${panel.y.label} ${figure(cell.y)} ${panel.y.unit}: ${Number.isFinite(cell.value) ? `${figure(cell.value)}${unit}` : "no run finished"}${panel.marked?.includes(cell.n) ? `, ${panel.marked_means}` : ""}`})),
        label: `${titleOf(panel.value)} from ${figure(low)} to ${figure(high)}, by ${titleOf(panel.x)} and ${titleOf(panel.y)}${panel.marked ? `; ${panel.marked.length} of ${cells.length} cells marked: ${panel.marked_means}` : ""}`,
        options: {
          height, marginLeft: 62, marginRight: 16, marginTop: 74, marginBottom: 46,
          x: {domain: [xe[0], xe[columns]], type: panel.x.log ? "log" : "linear"},
          y: {domain: [ye[0], ye[rows]], type: panel.y.log ? "log" : "linear"},
          marks: [
            Plot.rect(cells, {x1: "x1", x2: "x2", y1: "y1", y2: "y2", fill: (cell) => colour(cell.value), stroke: "#fff", strokeWidth: 0.5, insetLeft: 0}),
            Plot.text(cells.filter((cell) => !Number.isFinite(cell.value)), {x: "x", y: "y", text: () => "×", fill: "#555"}),
            ...(written ? [Plot.text(cells.filter((cell) => Number.isFinite(cell.value)), {x: "x", y: "y", text: (cell) => figure(cell.value), fontSize: 12, fill: (cell) => (dark(colour(cell.value)) ? "#fff" : "#1a1a1a")})] : []),
            Plot.dot(marked, {x: "x", y: "y", r: 3.2, fill: "#fff", stroke: "#111", strokeWidth: 1.2}),
            ...lines.map((line) => Plot.line(line.piece, {x: "x", y: "y", stroke: "#fff", strokeWidth: 4.5, strokeLinecap: "round"})),
            ...lines.map((line) => Plot.line(line.piece, {x: "x", y: "y", stroke: "#111", strokeWidth: 2, strokeLinecap: "round"})),
            ...panel.levels.map((one) => lines.filter((line) => line.label === one.label)).filter((list) => list.length).map((list) => {
              const at = list[Math.floor(list.length / 2)];
              return Plot.text([at.piece[0]], {x: "x", y: "y", text: () => at.label, fontSize: 12, fontWeight: 600, fill: "#111", stroke: "#fff", strokeWidth: 4, dy: -8});
            }),
            bottomAxis(panel.x, width - 80),
            leftAxis(panel.y, {label: null}),
          ],
        },
        // The colours with their steps, in the drawing, so that a saved picture has them too.
        finish: (svg) => {
          const group = svgElement("g", {"data-part": "colours"});
          const wide = Math.min(34, (width - 90) / colours.length);
          const text = (x, y, words, anchor) => {
            const made = svgElement("text", {x, y, "text-anchor": anchor, "font-size": 12});
            made.textContent = words;
            group.append(made);
          };
          text(62, 12, titleOf(panel.value), "start");
          // The name of the upright axis where the colours leave room for it.
          const upright = svgElement("text", {x: 6, y: 64, "text-anchor": "start", "font-size": 13, "data-part": "y-axis label"});
          upright.textContent = titleOf(panel.y);
          group.append(upright);
          colours.forEach((fill, i) => group.append(svgElement("rect", {x: 62 + i * wide, y: 18, width: wide, height: 11, fill, stroke: "#777", "stroke-width": 0.5})));
          thresholds.forEach((threshold, i) => {
            if (wide >= 30 || i % 2 === 0) text(62 + (i + 1) * wide, 42, Number(threshold.toPrecision(4)).toString().replace("-", "−"), "middle");
          });
          svg.append(group);
        },
      };
    },
  });
  for (const panel of section.data.panels) {
    if (panel.marked) {
      built.nodes.unshift(element("p", {class: "topic"}, `Dots: ${panel.marked_means}.`));
      break;
    }
  }
  return built;
}
