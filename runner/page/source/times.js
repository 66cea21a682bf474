// SPDX-License-Identifier: Apache-2.0
// Charts over time: one time slider and one legend for all panels of a section.
import * as Plot from "@observablehq/plot";
import {look} from "./colours.js";
import {chart, draw, toggle} from "./chart.js";
import {element, sample, svgElement} from "./elements.js";
import {clock, shown} from "./numbers.js";

/** Where ticks of a time axis stand: whole hours or quarters of them, few enough to be read. */
export function hourTicks(until, width) {
  const most = Math.max(3, Math.floor(width / 70));
  for (const step of [1 / 12, 1 / 6, 0.25, 0.5, 1, 2, 3, 4, 6, 12, 24, 48])
    if (until / step <= most) return Array.from({length: Math.floor(until / step + 1e-9) + 1}, (_, i) => i * step);
  return [0, until];
}

export function hourAxis(until, width, label = "Time after birth, h") {
  return Plot.axisX(hourTicks(until, width), {
    label, labelArrow: "none", labelAnchor: "center", labelOffset: 38, tickSize: 5,
    tickFormat: (h) => String(Math.round(h * 100) / 100), fontSize: 13, color: "#333",
  });
}

export function valueAxis(label) {
  return Plot.axisY({label, labelArrow: "none", labelAnchor: "top", labelOffset: 46, tickSize: 5, ticks: 5, fontSize: 13, color: "#333"});
}

const values = (series) => series.values.map((x) => (x === null ? NaN : x * series.scale));

/**
 * The panels of a section over time.
 * @param data   times, panels, same_scale?
 * @param marks  (panel, shownSeries, view) => marks; `view` has times and width
 * @param seriesOf  panel => all its series, those of the legend first
 * @param extent (panel, shownSeries) => [low, high] of what is drawn
 * @param around (series, i) => words behind a figure, such as its interval
 * @param columnsOf (series, panel) => more columns of the table behind
 */
export function timeSection(section, {marks, seriesOf, extent, area, around = () => "", columnsOf = () => []}) {
  const {times, panels} = section.data;
  const until = times[times.length - 1];
  const off = new Set();
  const key = (series) => `${series.style} ${series.label}`;
  for (const panel of panels) for (const series of seriesOf(panel)) series.shown = values(series);
  const on = (panel) => seriesOf(panel).filter((series) => !off.has(key(series)));
  const made = [];

  const domainOf = (panel) => {
    const list = section.data.same_scale ? panels : [panel];
    const ends = list.flatMap((one) => extent(one, on(one))).filter((x) => Number.isFinite(x));
    let [low, high] = ends.length ? [Math.min(...ends), Math.max(...ends)] : [0, 1];
    if (section.data.zero || area) [low, high] = [Math.min(0, low), Math.max(0, high)];
    const room = (high - low || Math.abs(high) || 1) * 0.06;
    return [low - (area && low === 0 ? 0 : room), high + room];
  };

  // ---- One time for all panels
  let index = times.length - 1;
  const stand = element("output", {});
  const slider = element("input", {type: "range", min: 0, max: times.length - 1, step: 1, value: index, "aria-label": `Time of the figures: ${section.topic}`});
  const point = (i) => {
    index = i;
    slider.value = String(i);
    stand.textContent = `${clock(times[i])} after birth`;
    slider.setAttribute("aria-valuetext", `${clock(times[i])} after birth`);
    for (const one of made) one.point(i);
  };
  slider.addEventListener("input", () => point(Number(slider.value)));
  const nearest = (hour) => {
    let best = 0;
    for (let i = 1; i < times.length; ++i) if (Math.abs(times[i] - hour) < Math.abs(times[best] - hour)) best = i;
    return best;
  };

  const build = (panel, order) => {
    const id = `${section.id}-${order + 1}`;
    const readout = element("ul", {class: "readout", "aria-live": "off"});
    let scales = null;
    const description = () =>
      `${section.topic}, ${panel.title}: ${panel.unit} over the hours after birth. ` +
      on(panel).map((s) => `${s.label} ${shown(s.shown[times.length - 1], panel.digits)} at ${clock(until)}`).join("; ");
    const frame = chart({
      id, title: panel.title, readout,
      columns: () => [
        {head: "Time after birth, h", values: times, digits: 4},
        ...seriesOf(panel).flatMap((s) => [{head: `${s.label}, ${panel.unit}`, values: s.shown, digits: panel.digits}, ...columnsOf(s, panel)]),
      ],
      paint: (width) => {
        const height = Math.round(Math.min(340, Math.max(230, width * 0.56)));
        const svg = draw({
          width, height, marginLeft: 56, marginRight: 14, marginTop: 30, marginBottom: 46,
          x: {domain: [0, until]},
          y: {domain: domainOf(panel)},
          marks: [
            Plot.gridY({stroke: "#000", strokeOpacity: 0.12, ticks: 5}),
            ...marks(panel, on(panel), {times, width, until, domain: domainOf(panel)}),
            hourAxis(until, width - 70), valueAxis(panel.unit),
          ],
        }, description());
        scales = {x: svg.scale("x"), y: svg.scale("y")};
        const cursor = svgElement("line", {class: "cursor", stroke: "#1a1a1a", "stroke-width": 1, "stroke-dasharray": "1 2", y1: 30, y2: height - 46});
        svg.append(cursor);
        const move = (event) => {
          const box = svg.getBoundingClientRect();
          const at = ((event.clientX - box.left) / box.width) * width;
          point(nearest(scales.x.invert(Math.min(Math.max(at, 56), width - 14))));
        };
        svg.addEventListener("pointermove", move);
        svg.addEventListener("pointerdown", move);
        requestAnimationFrame(() => place(cursor));
        place(cursor);
        return svg;
      },
    });
    const place = (cursor) => {
      if (!cursor || !scales) return;
      const x = scales.x.apply(times[index]);
      cursor.setAttribute("x1", x);
      cursor.setAttribute("x2", x);
    };
    frame.point = (i) => {
      readout.replaceChildren(...on(panel).map((s) =>
        element("li", {}, sample(s.style, area && s !== panel.total), `${s.brief ?? s.label}: ${shown(s.shown[i], panel.digits)}${around(s, i, panel)}`)));
      place(frame.drawing.querySelector(".cursor"));
    };
    return frame;
  };

  panels.forEach((panel, order) => made.push(build(panel, order)));

  // ---- Legend: one button for each kind of line or area, whatever panels it is in
  const kinds = new Map();
  for (const panel of panels) for (const series of seriesOf(panel)) if (!kinds.has(key(series))) kinds.set(key(series), {series, total: series === panel.total});
  const legend = element("div", {class: "legend", role: "group", "aria-label": "Show or hide"});
  for (const [name, {series, total}] of kinds)
    legend.append(toggle([sample(series.style, area && !total), element("span", {}, series.label)], true, (isOn) => {
      if (isOn) off.delete(name);
      else off.add(name);
      for (const one of made) one.repaint();
      point(index);
    }));

  const grid = element("div", {class: panels.length > 1 ? "panels two" : "panels"}, ...made.map((one) => one.figure));
  const time = element("label", {class: "time"}, element("span", {}, "Figures at"), slider, stand);
  return {nodes: [legend, time, grid], charts: made, ready: () => point(index)};
}

/** Points of a line, ready for Plot. */
export function points(series, times) {
  return times.map((time, i) => ({time, value: series.shown[i]}));
}

export function lineOf(series, times) {
  const {colour, dash, width} = look(series.style);
  return Plot.line(points(series, times), {x: "time", y: "value", stroke: colour, strokeWidth: width, strokeDasharray: dash ?? undefined, clip: true});
}
