// SPDX-License-Identifier: Apache-2.0
// Bars of 100 %, each divided into the same parts, with the shares written in them.
import * as Plot from "@observablehq/plot";
import {broken} from "../chart.js";
import {look} from "../colours.js";
import {figure} from "../numbers.js";
import {bottomAxis, panelSection} from "../panels.js";

const bright = (colour) => parseInt(colour.slice(1, 3), 16) * 0.3 + parseInt(colour.slice(3, 5), 16) * 0.59 + parseInt(colour.slice(5, 7), 16) * 0.11 > 120;
const percent = (x) => (x > 0 && x < 0.0995 ? (x < 0.001 ? "< 0.1" : (100 * x).toFixed(1)) : x > 0.995 && x < 1 ? (100 * x).toFixed(1) : (100 * x).toFixed(0));

export default function shares(section) {
  const {counted} = section.data;
  return panelSection(section, {
    seriesOf: (panel) => panel.parts,
    areaLegend: true,
    rest: "Point at a part to read its share.",
    columns: (panel) => [
      {head: "", values: panel.categories},
      ...panel.parts.map((part, k) => ({head: `${part.label}, % of ${counted}`, values: panel.shares.map((row) => 100 * row[k])})),
    ],
    paint: (panel, on, width) => {
      const letters = Math.floor((width - 16) / 7);
      let below = 0;
      const rows = panel.categories.map((category) => {
        const label = broken(category, letters);
        const top = below;
        const bar = top + 6 + 16 * label.split("\n").length;
        below = bar + 32;
        return {label, top, bar};
      });
      const pieces = panel.shares.flatMap((row, i) => {
        let from = 0;
        return panel.parts.map((part, k) => {
          if (!on.includes(part)) return null;
          const piece = {i, part, share: row[k], from, to: from + 100 * row[k], category: panel.categories[i]};
          from = piece.to;
          return piece;
        }).filter((piece) => piece && piece.share > 0);
      });
      const top = (piece) => rows[piece.i].bar;
      const foot = (piece) => rows[piece.i].bar + 22;
      const fits = (piece) => ((piece.to - piece.from) / 100) * (width - 28) > 9 * percent(piece.share).length + 4;
      return {
        hot: pieces.map((piece) => ({x: (piece.from + piece.to) / 2, y: (top(piece) + foot(piece)) / 2, words: `${piece.category}: ${piece.part.label} ${figure(100 * piece.share)} % of ${counted}`})),
        label: panel.categories.map((category, i) => `${category}: ${pieces.filter((piece) => piece.i === i).map((piece) => `${piece.part.label} ${percent(piece.share)} %`).join(", ")}`).join("; "),
        options: {
          height: below + 52, marginLeft: 14, marginRight: 14, marginTop: 6, marginBottom: 46,
          x: {domain: [0, 100]},
          y: {domain: [below, 0], axis: null},
          marks: [
            Plot.rect(pieces, {x1: "from", x2: "to", y1: top, y2: foot, fill: (piece) => look(piece.part.style).colour, stroke: "#333", strokeWidth: 0.75}),
            Plot.text(pieces.filter(fits), {x: (piece) => (piece.from + piece.to) / 2, y: (piece) => (top(piece) + foot(piece)) / 2, text: (piece) => percent(piece.share), fontSize: 12.5, fill: (piece) => (bright(look(piece.part.style).colour) ? "#1a1a1a" : "#fff")}),
            Plot.text(rows, {frameAnchor: "left", x: null, y: (row) => row.top + 3, text: "label", textAnchor: "start", lineAnchor: "top", fontSize: 13, fill: "#1a1a1a"}),
            bottomAxis({label: `Share of ${counted}`, unit: "%"}, width - 28),
          ],
        },
      };
    },
  });
}
