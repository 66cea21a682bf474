// SPDX-License-Identifier: Apache-2.0
// Panels that have no time axis: one legend for all, and a read-out of what the pointer is nearest to.
import * as Plot from "@observablehq/plot";
import {broken, chart, draw, toggle} from "./chart.js";
import {element, sample} from "./elements.js";

/** `Water lost, mL/kg`; pure numbers have no unit. */
export const titleOf = (axis) => (axis.unit ? `${axis.label}, ${axis.unit}` : axis.label);

const lineHeight = 14;
const axisLook = {labelArrow: "none", tickSize: 5, fontSize: 13, color: "#333"};

export function bottomAxis(axis, width, options = {}) {
  const ticks = Math.max(2, Math.round(width / (axis.log ? 60 : 95)));
  const label = broken(titleOf(axis), Math.floor((width + 20) / 7));
  const lines = label.split("\n").length;
  const axisX = Plot.axisX({...axisLook, label, labelAnchor: "center", labelOffset: 38 + lineHeight * (lines - 1), ticks, ...options});
  return Object.assign(axisX, {below: lineHeight * (lines - 1)});  // the room that more lines need
}

export function leftAxis(axis, options = {}) {
  return Plot.axisY({...axisLook, label: titleOf(axis), labelAnchor: "top", labelOffset: 50, ticks: 5, ...options});
}

/** The ends of what is drawn, with room at both sides; on a logarithmic axis the room is a factor. */
export function room(values, log, share = 0.06) {
  const finite = values.filter((x) => Number.isFinite(x) && (!log || x > 0));
  if (!finite.length) return log ? [0.1, 1] : [0, 1];
  const low = Math.min(...finite);
  const high = Math.max(...finite);
  if (log) {
    const factor = Math.pow(high / low, share) * (high === low ? 2 : 1.02);
    return [low / factor, high * factor];
  }
  const more = (high - low || Math.abs(high) || 1) * share;
  return [low - more, high + more];
}

/** Labels along one side that would cover each other are moved to further lines. */
export function levels(list, position, widthOf) {
  const ends = [];
  return [...list].sort((a, b) => position(a) - position(b)).map((one) => {
    const x = position(one);
    const half = widthOf(one) / 2;
    let level = ends.findIndex((end) => x - half >= end);
    if (level < 0) level = ends.length;
    ends[level] = x + half + 8;
    return {...one, level};
  });
}

/** About how wide a text is drawn. */
export const textWidth = (text, size = 12) => Math.max(...String(text).split("\n").map((line) => line.length)) * size * 0.53;

/**
 * A section of panels.
 * @param seriesOf  panel => its series, for the legend; null for no legend
 * @param paint     (panel, shownSeries, width) => {options, label, hot: [{x, y, words}]} where hot
 *                  spots are in pixels or, with `scaled`, in the values of the axes
 * @param columns   panel => the table behind
 */
export function panelSection(section, {seriesOf = null, areaLegend = false, paint, columns, wide = false, rest = "Point at the chart to read a value."}) {
  const {panels} = section.data;
  const off = new Set();
  const key = (series) => `${series.style} ${series.label}`;
  const on = (panel) => (seriesOf ? seriesOf(panel).filter((series) => !off.has(key(series))) : []);
  const made = panels.map((panel, order) => {
    const readout = element("p", {class: "readout hint"}, rest);
    const frame = chart({
      id: `${section.id}-${order + 1}`, title: panel.title, readout,
      columns: () => columns(panel),
      paint: (width) => {
        const {options, label, hot = [], finish = null} = paint(panel, on(panel), width);
        const below = Math.max(0, ...options.marks.map((mark) => mark?.below ?? 0));
        if (below) {
          options.height += below;
          options.marginBottom += below;
        }
        const svg = draw({width, ...options}, `${section.topic}, ${panel.title}: ${label}`);
        const scale = {x: svg.scale("x"), y: svg.scale("y")};
        finish?.(svg, scale);
        const spots = hot.map((spot) => ({...spot, px: scale.x.apply(spot.x), py: scale.y.apply(spot.y)}))
          .filter((spot) => Number.isFinite(spot.px) && Number.isFinite(spot.py));
        const move = (event) => {
          const box = svg.getBoundingClientRect();
          const x = ((event.clientX - box.left) / box.width) * width;
          const y = ((event.clientY - box.top) / box.height) * options.height;
          let best = null;
          for (const spot of spots) {
            const distance = Math.hypot((spot.px - x) * (spot.wx ?? 1), (spot.py - y) * (spot.wy ?? 1));
            if (!best || distance < best.distance) best = {distance, spot};
          }
          readout.textContent = best ? best.spot.words : rest;
        };
        svg.addEventListener("pointermove", move);
        svg.addEventListener("pointerdown", move);
        svg.addEventListener("pointerleave", () => { readout.textContent = rest; });
        return svg;
      },
    });
    return frame;
  });
  const nodes = [];
  if (seriesOf) {
    const kinds = new Map();
    for (const panel of panels) for (const series of seriesOf(panel)) if (!kinds.has(key(series))) kinds.set(key(series), series);
    if (kinds.size > 1) {
      const legend = element("div", {class: "legend", role: "group", "aria-label": "Show or hide"});
      for (const [name, series] of kinds)
        legend.append(toggle([sample(series.style, areaLegend), element("span", {}, series.label)], true, (isOn) => {
          if (isOn) off.delete(name);
          else off.add(name);
          for (const one of made) one.repaint();
        }));
      nodes.push(legend);
    }
  }
  nodes.push(element("div", {class: panels.length > 1 && !wide ? "panels two" : "panels"}, ...made.map((one) => one.figure)));
  return {nodes, charts: made};
}
