// SPDX-License-Identifier: Apache-2.0
// Dots in a plane, with names, whiskers, reference lines; either axis may be logarithmic.
import * as Plot from "@observablehq/plot";
import {broken} from "../chart.js";
import {look} from "../colours.js";
import {figure} from "../numbers.js";
import {bottomAxis, leftAxis, panelSection, room, textWidth, titleOf} from "../panels.js";

const given = (x, other) => (x === undefined || x === null ? other : x);

/** Names that have room: of names that would cover each other or a dot the first stays. */
function placed(dots, taken, scaleX, scaleY, width, lowest) {
  const boxes = [...taken, ...dots.map((dot) => ({
    x1: scaleX(given(dot.x_low, dot.x)) - 4, x2: scaleX(given(dot.x_high, dot.x)) + 4,
    y1: scaleY(given(dot.y_high, dot.y)) - 4, y2: scaleY(given(dot.y_low, dot.y)) + 4,
  }))];
  const hits = (box) => boxes.some((one) => box.x1 < one.x2 && box.x2 > one.x1 && box.y1 < one.y2 && box.y2 > one.y1);
  const list = [];
  for (const dot of dots) {
    if (!dot.label) continue;
    const [x, y] = [scaleX(dot.x), scaleY(dot.y)];
    const label = broken(dot.label, 26);
    const long = textWidth(label, 12), tall = 7 * label.split("\n").length;
    // Above or below, a name near an edge moves inwards.
    const inwards = Math.max(60 + long / 2 - x, 0) || Math.min(width - 6 - long / 2 - x, 0);
    for (const [anchor, dx, dy] of [["start", 8 + scaleX(given(dot.x_high, dot.x)) - x, 0], ["end", -8 - x + scaleX(given(dot.x_low, dot.x)), 0], ["middle", inwards, -6 - tall], ["middle", inwards, 6 + tall]]) {
      const left = anchor === "start" ? x + dx : anchor === "end" ? x + dx - long : x + dx - long / 2;
      const box = {x1: left, x2: left + long, y1: y + dy - tall, y2: y + dy + tall};
      if (box.x1 < 58 || box.x2 > width - 4 || box.y1 < 8 || box.y2 > lowest || hits(box)) continue;
      boxes.push(box);
      list.push({...dot, label, anchor, dx, dy});
      break;
    }
  }
  return list;
}

export default function points(section) {
  const {head} = section.data;
  return panelSection(section, {
    seriesOf: (panel) => panel.series,
    rest: "Point at a dot to read its name and values.",
    columns: (panel) => {
      const all = panel.series.flatMap((series) => series.points.map((point) => ({...point, series: series.label})));
      const spread = (name, words) => (all.some((point) => point[name] !== undefined) ? [{head: words, values: all.map((point) => given(point[name], null))}] : []);
      return [
        ...(all.some((point) => point.label) ? [{head, values: all.map((point) => point.label ?? "")}] : []),
        ...(panel.series.length > 1 ? [{head: "Series", values: all.map((point) => point.series)}] : []),
        {head: titleOf(panel.x), values: all.map((point) => point.x)}, ...spread("x_low", `${panel.x.label}, lower end`), ...spread("x_high", `${panel.x.label}, upper end`),
        {head: titleOf(panel.y), values: all.map((point) => point.y)}, ...spread("y_low", `${panel.y.label}, lower end`), ...spread("y_high", `${panel.y.label}, upper end`),
      ];
    },
    paint: (panel, on, width) => {
      const [logX, logY] = [panel.x.log, panel.y.log];
      const dots = on.flatMap((series) => series.points.map((point) => ({...point, series})))
        .filter((dot) => Number.isFinite(dot.x) && Number.isFinite(dot.y) && (!logX || dot.x > 0) && (!logY || dot.y > 0));
      const x = room([...dots.flatMap((dot) => [dot.x, dot.x_low, dot.x_high]), ...panel.at_x.map((one) => one.value)].filter(Number.isFinite), logX, 0.08);
      const y = room([...dots.flatMap((dot) => [dot.y, dot.y_low, dot.y_high]), ...panel.at_y.map((one) => one.value)].filter(Number.isFinite), logY, 0.08);
      const height = Math.round(Math.min(460, Math.max(280, width * 0.72)));
      const to = (log, domain, from, until) => (value) => {
        const f = log ? Math.log : (v) => v;
        return from + ((f(value) - f(domain[0])) / (f(domain[1]) - f(domain[0]))) * (until - from);
      };
      const [scaleX, scaleY] = [to(logX, x, 58, width - 16), to(logY, y, height - 46, 30)];
      const along = (line) => Array.from({length: 65}, (_, i) => {
        const at = logX ? x[0] * Math.pow(x[1] / x[0], i / 64) : x[0] + ((x[1] - x[0]) * i) / 64;
        const value = line.slope * (logX ? Math.log10(at) : at) + line.offset;
        return {x: at, y: logY ? Math.pow(10, value) : value};
      }).filter((point) => point.y >= y[0] && point.y <= y[1]);
      // A line that leaves by the top has its name beside it, clear of the axis.
      const ends = panel.lines.flatMap((line) => along(line).slice(-1).map((end) => ({...end, label: line.label, steep: end.x < x[0] + 0.7 * (x[1] - x[0])})));
      const taken = ends.map((end) => {
        const [left, top] = end.steep ? [scaleX(end.x) + 6, scaleY(end.y)] : [scaleX(end.x) - 4 - textWidth(end.label, 12), scaleY(end.y) - 17];
        return {x1: left, x2: left + textWidth(end.label, 12), y1: top, y2: top + 17};
      });
      const names = placed(dots, taken, scaleX, scaleY, width, height - 46);
      const name = (dot) => [dot.label, panel.series.length > 1 ? dot.series.label : null].filter(Boolean).join(", ");
      const whisker = (dot, axis) => (dot[`${axis}_low`] !== undefined ? ` (${number(dot[`${axis}_low`])} to ${number(dot[`${axis}_high`])})` : "");
      const said = (dot) => `${name(dot)}${name(dot) ? ": " : ""}${panel.x.label} ${number(dot.x)}${whisker(dot, "x")}${panel.x.unit ? ` ${panel.x.unit}` : ""}, ${panel.y.label} ${number(dot.y)}${whisker(dot, "y")}${panel.y.unit ? ` ${panel.y.unit}` : ""}`;
      const tick = {tickFormat: number};
      return {
        hot: dots.map((dot) => ({x: dot.x, y: dot.y, words: said(dot)})),
        label: `${titleOf(panel.y)} against ${titleOf(panel.x)}. ${dots.length > 60 ? `${dots.length} dots` : dots.map(said).join("; ")}`,
        options: {
          height, marginLeft: 58, marginRight: 16, marginTop: 30, marginBottom: 46,
          x: {domain: x, type: logX ? "log" : "linear"},
          y: {domain: y, type: logY ? "log" : "linear"},
          marks: [
            Plot.gridY({stroke: "#000", strokeOpacity: 0.12, ticks: 5}), Plot.gridX({stroke: "#000", strokeOpacity: 0.12, ticks: 5}),
            ...panel.at_x.map((one) => Plot.ruleX([one.value], {stroke: "#333", strokeDasharray: "5 3"})),
            ...panel.at_y.map((one) => Plot.ruleY([one.value], {stroke: "#333", strokeDasharray: "5 3"})),
            ...panel.lines.map((line) => Plot.line(along(line), {x: "x", y: "y", stroke: "#777", strokeDasharray: "5 3"})),
            ...on.filter((series) => series.joined).map((series) => Plot.line(dots.filter((dot) => dot.series === series), {x: "x", y: "y", stroke: look(series.style).colour, strokeWidth: 1.6, strokeDasharray: look(series.style).dash ?? undefined})),
            Plot.ruleY(dots.filter((dot) => dot.x_low !== undefined), {y: "y", x1: "x_low", x2: "x_high", stroke: (dot) => look(dot.series.style).colour}),
            Plot.ruleX(dots.filter((dot) => dot.y_low !== undefined), {x: "x", y1: "y_low", y2: "y_high", stroke: (dot) => look(dot.series.style).colour}),
            Plot.dot(dots, {x: "x", y: "y", r: dots.length > 300 ? 2 : 4, fill: (dot) => (dot.hollow ? "#fff" : look(dot.series.style).colour), stroke: (dot) => look(dot.series.style).colour, strokeWidth: 1.5}),
            ...ends.map((end) => Plot.text([end], {x: "x", y: "y", text: "label", ...(end.steep ? {textAnchor: "start", lineAnchor: "top", dx: 6, dy: 2} : {textAnchor: "end", lineAnchor: "bottom", dx: -4, dy: -3}), fontSize: 12, fill: "#444", stroke: "#fff", strokeWidth: 3})),
            Plot.text(panel.at_x, {x: "value", frameAnchor: "bottom", text: "label", textAnchor: "start", lineAnchor: "bottom", dx: 4, dy: -4, fontSize: 12, fill: "#444", stroke: "#fff", strokeWidth: 3}),
            Plot.text(panel.at_y, {x: x[1], y: "value", text: "label", textAnchor: "end", lineAnchor: "bottom", dx: -2, dy: -3, fontSize: 12, fill: "#444", stroke: "#fff", strokeWidth: 3}),
            ...names.map((dot) => Plot.text([dot], {x: "x", y: "y", text: "label", textAnchor: dot.anchor, dx: dot.dx, dy: dot.dy, fontSize: 12, fill: "#1a1a1a", stroke: "#fff", strokeWidth: 3})),
            bottomAxis(panel.x, width - 74, logX ? tick : {}),
            leftAxis(panel.y, logY ? tick : {}),
          ],
        },
      };
    },
  });
}

/** Figures of very different size: powers of ten where three digits would say nothing. */
const raised = {"-": "⁻", 0: "⁰", 1: "¹", 2: "²", 3: "³", 4: "⁴", 5: "⁵", 6: "⁶", 7: "⁷", 8: "⁸", 9: "⁹"};
export function number(x) {
  const size = Math.abs(x);
  if (size === 0 || (size >= 0.001 && size < 1e6)) return figure(x).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");
  const power = Math.floor(Math.log10(size) + 1e-12);
  const front = Number((x / Math.pow(10, power)).toPrecision(2));
  const ten = `10${String(power).split("").map((letter) => raised[letter]).join("")}`;
  return front === 1 ? ten : `${String(front).replace("-", "−")} · ${ten}`;
}
