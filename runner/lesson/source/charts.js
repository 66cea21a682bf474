// SPDX-License-Identifier: Apache-2.0
// The charts of the lesson: drawn anew whenever a control moves.
import * as Plot from "@observablehq/plot";
import {draw} from "../../page/source/chart.js";
import {look} from "../../page/source/colours.js";
import {element, sample, save, svgElement} from "../../page/source/elements.js";
import {csv} from "../../page/source/chart.js";
import {edges} from "../../page/source/kinds/stacked.js";
import {hourTicks} from "../../page/source/times.js";
import {digits, plain, say, time} from "./words.js";

/** Routes of the water account: style, outputs, sign (lost counts up, gained down). */
export const routes = [
  {style: "bowel_evaporation", of: ["bowel_evaporation"], sign: 1},
  {style: "skin", of: ["skin_loss"], sign: 1},
  {style: "airway", of: ["airway_loss"], sign: 1},
  {style: "urine", of: ["urine"], sign: 1},
  {style: "gastric_drainage", of: ["gastric_drainage"], sign: 1},
  {style: "bowel_drip", of: ["bowel_drip"], sign: 1},
  {style: "blood_loss", of: ["blood_loss"], sign: 1},
  {style: "given", of: ["given_total"], sign: -1},
  {style: "oxidation_water", of: ["oxidation_water"], sign: -1},
];
export const deficits = [
  {style: "charted", of: "charted_deficit"},
  {style: "external", of: "external_deficit"},
  {style: "circulating", of: "circulating_deficit"},
];

const margins = {marginLeft: 50, marginRight: 12, marginTop: 28, marginBottom: 44};

/** A chart in its frame; `paint(width)` gives what Plot shall draw and the words for who cannot see it. */
function frame({id, columns}) {
  const drawing = element("div", {class: "drawing"});
  const legend = element("ul", {class: "readout", "aria-live": "off"});
  const heading = element("h3", {});
  const behind = element("details", {class: "behind"}, element("summary", {}, say("chart.numbers")));
  const figure = element("figure", {id, class: "chart-frame"}, element("figcaption", {}, heading), legend, drawing, behind);
  let stale = true;
  const fill = () => {
    if (!behind.open || !stale) return;
    stale = false;
    const list = columns();
    const rows = list[0].values.map((_, i) => element("tr", {}, ...list.map((column, k) =>
      element(k ? "td" : "th", k ? {} : {scope: "row"}, typeof column.values[i] === "string" ? column.values[i] : digits(column.values[i], 2)))));
    const saving = element("button", {type: "button", onclick: () => save(`${id}.csv`, "text/csv", csv(list))}, say("chart.save"));
    behind.querySelectorAll(":scope > :not(summary)").forEach((old) => old.remove());
    behind.append(saving, element("div", {class: "scroll", tabindex: 0, role: "region", "aria-label": heading.textContent},
      element("table", {}, element("thead", {}, element("tr", {}, ...list.map((column) => element("th", {scope: "col"}, column.head)))),
        element("tbody", {}, ...rows))));
  };
  behind.addEventListener("toggle", fill);
  return {figure, drawing, legend, heading, refresh() {
    stale = true;
    fill();
  }};
}

/** As many digits behind the point as the closest two ticks need. */
function decimals(ticks) {
  const step = Math.min(...ticks.slice(1).map((y, i) => Math.abs(y - ticks[i])));
  return Number.isFinite(step) && step > 0 ? Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) : 0;
}

function axes(until, width, unit) {
  return [
    Plot.axisX(hourTicks(until, width - 70), {label: say("axis.time"), labelArrow: "none", labelAnchor: "center", labelOffset: 36, tickSize: 5,
      tickFormat: (h) => plain(Math.round(h * 100) / 100), fontSize: 13, color: "#222"}),
    Plot.axisY({label: unit, labelArrow: "none", labelAnchor: "top", labelOffset: 42, tickSize: 5, ticks: 5, tickFormat: (y, i, all) => digits(y, decimals(all)), fontSize: 13, color: "#222"}),
  ];
}

/** Where the pointer is on the time axis, and the line that shows it. */
function withCursor(svg, height, view) {
  const scale = svg.scale("x");
  const cursor = svgElement("line", {class: "cursor", stroke: "#1a1a1a", "stroke-width": 1, "stroke-dasharray": "2 2",
    y1: margins.marginTop, y2: height - margins.marginBottom});
  const place = () => {
    const x = scale.apply(view.times[view.index]);
    cursor.setAttribute("x1", x);
    cursor.setAttribute("x2", x);
  };
  svg.append(cursor);
  place();
  const move = (event) => {
    const box = svg.getBoundingClientRect();
    const width = Number(svg.getAttribute("viewBox").split(" ")[2]);
    const at = ((event.clientX - box.left) / box.width) * width;
    view.point(scale.invert(Math.min(Math.max(at, margins.marginLeft), width - margins.marginRight)));
  };
  svg.addEventListener("pointerdown", move);
  svg.addEventListener("pointermove", (event) => {
    if (event.pointerType !== "touch" || event.buttons) move(event);
  });
  return place;
}

const linesOf = (series, times) => series.map(({style, values}) => {
  const {colour, dash, width} = look(style);
  return Plot.line(times.map((t, i) => ({t, value: values[i]})), {x: "t", y: "value", stroke: colour, strokeWidth: width, strokeDasharray: dash ?? undefined, clip: true});
});

const padded = (values) => {
  const all = values.filter(Number.isFinite);
  const [low, high] = all.length ? [Math.min(...all), Math.max(...all)] : [0, 1];
  const room = (high - low || Math.abs(high) || 1) * 0.06;
  return [low - room, high + room];
};

/**
 * The charts. `view` holds {times, index, babies: [{title, letter, weight, values, whole}], point(hour)}.
 * `update()` draws all; `point()` only moves the cursor and its figures.
 */
export function charts(view) {
  const list = [];
  const make = ({id, title, series, area, unit, format = 1, same = [], marks = () => []}) => {
    const one = frame({id, columns: () => [
      {head: say("axis.time"), values: [...view.times]},
      ...series().map((entry) => ({head: `${entry.label}, ${unit}`, values: [...entry.values]})),
    ]});
    let shown = [];
    let place = () => {};
    const extent = () => (area
      ? [0, ...edges(shown.filter((s) => !s.total).map((s) => ({...s, shown: s.values})), view.times.length).flatMap(({edge}) => edge.flat()), ...shown.filter((s) => s.total).flatMap((s) => [...s.values])]
      : shown.flatMap((s) => [...s.values]));
    const readout = () => {
      one.legend.replaceChildren(...shown.filter((entry) => area !== true || entry.total || Math.abs(entry.values[view.index]) >= 0.005).map((entry) =>
        element("li", {}, sample(entry.style, area && !entry.total), `${entry.brief ?? entry.label} ${digits(entry.values[view.index], format)}`)));
    };
    Object.assign(one, {
      id, same, extent,
      prepare() {
        shown = series().map((entry) => ({...entry, values: [...entry.values]}));
        one.heading.textContent = title();
      },
      paint(domain) {
        const width = one.drawing.clientWidth / view.zoom;
        if (!width) return;
        const height = Math.round(Math.min(300, Math.max(210, width * 0.5)));
        const stack = area ? edges(shown.filter((s) => !s.total).map((s) => ({...s, shown: [...s.values]})), view.times.length) : [];
        const until = view.times[view.times.length - 1];
        const words = `${one.heading.textContent}, ${unit}. ` + say("chart.at", {time: time(until)}) + " " +
          shown.filter((s) => !area || s.total || Math.abs(s.values.at(-1)) >= 0.05).map((s) => `${s.label} ${digits(s.values.at(-1), format)}`).join("; ");
        const svg = draw({
          width, height, ...margins,
          x: {domain: [0, until]},
          y: {domain},
          marks: [
            Plot.gridY({stroke: "#000", strokeOpacity: 0.13, ticks: 5}),
            ...marks(width),
            ...stack.map(({series: s, edge}) => Plot.area(edge.map(([low, high], i) => ({t: view.times[i], low, high})), {
              x1: "t", y1: "low", y2: "high", fill: look(s.style).colour, stroke: "#333", strokeWidth: 0.5, clip: true})),
            area || domain[0] < 0 ? Plot.ruleY([0], {stroke: "#333"}) : null,
            ...linesOf(shown.filter((s) => !area || s.total), view.times),
            ...axes(until, width, unit),
          ],
        }, words);
        one.drawing.replaceChildren(svg);
        place = withCursor(svg, height, view);
        readout();
        one.refresh();
      },
      point() {
        place();
        readout();
      },
    });
    list.push(one);
    return one;
  };

  const perKg = (baby, name) => baby.values[name].map((x) => x / baby.weight);
  const ofBaby = (key, n) => () => say(key, {letter: view.babies[n].letter, title: view.babies[n].title});
  const sections = [];
  const section = (id, ...figures) => {
    const root = element("section", {id, class: "result"}, element("h2", {}, say(`section.${id}`)), element("p", {class: "topic"}, say(`section.${id}.text`)),
      element("div", {class: "panels two"}, ...figures.map((one) => one.figure)));
    sections.push(root);
  };

  section("water", ...[0, 1].map((n) => make({
    id: `water-${n}`, title: ofBaby("chart.of", n), unit: "mL/kg", area: true, same: ["water"],
    series: () => [
      ...routes.map(({style, of, sign}) => ({style, label: say(`route.${style}`), values: perKg(view.babies[n], of[0]).map((x) => sign * x)}))
        .filter((s) => s.values.some((x) => Math.abs(x) > 1e-6)),
      {style: "external", label: say("deficit.external"), total: true, values: perKg(view.babies[n], "external_deficit")},
    ],
  })));
  section("deficits", ...[0, 1].map((n) => make({
    id: `deficits-${n}`, title: ofBaby("chart.of", n), unit: "mL/kg", same: ["deficits"],
    series: () => [
      ...deficits.map(({style, of}) => ({style, label: say(`deficit.${style}`), values: perKg(view.babies[n], of)})),
      {style: "against_ordinary", label: say("deficit.against_ordinary"), values: view.babies[n].against.map((x) => x / view.babies[n].weight)},
    ],
  })));
  const both = (name, per) => () => view.babies.map((baby, n) => ({
    style: `case:${n}`, label: say("chart.of", {letter: baby.letter, title: baby.title}), brief: baby.letter,
    values: per ? perKg(baby, name) : [...baby.values[name]],
  }));
  section("temperatures",
    make({id: "core", title: () => say("output.core_temperature"), unit: "°C", format: 1, series: both("core_temperature"),
      marks: () => [Plot.ruleY([36.5, 37.5], {stroke: "#555", strokeDasharray: "1 3"})]}),
    make({id: "bowel-temperature", title: () => say("output.bowel_temperature"), unit: "°C", format: 1, series: both("bowel_temperature")}));
  section("stores",
    make({id: "third-space", title: () => say("output.third_space"), unit: "mL/kg", format: 1, series: both("third_space", true)}),
    make({id: "blood", title: () => say("output.blood_volume"), unit: "mL/kg", format: 1, series: both("blood_volume", true)}));

  const update = () => {
    for (const one of list) one.prepare();
    for (const one of list) {
      const group = one.same.length ? list.filter((other) => other.same[0] === one.same[0]) : [one];
      one.paint(padded(group.flatMap((other) => other.extent())));
    }
  };
  return {sections, update, point: () => list.forEach((one) => one.point())};
}

/**
 * The chart of a question: first empty, to be guessed on, then with the curves and the guess.
 * @param ask  {of: 0|1, output, unit, perKg, at, low, high, difference}
 */
export function guessChart(view, ask, onGuess) {
  const drawing = element("div", {class: "drawing guess"});
  let guess = null, open = false;
  const valuesOf = (n) => {
    const baby = view.babies[n];
    return [...baby.values[ask.output]].map((x) => (ask.perKg ? x / baby.weight : x));
  };
  const paint = () => {
    const width = drawing.clientWidth / view.zoom;
    if (!width) return;
    const height = Math.round(Math.min(320, Math.max(230, width * 0.45)));
    const times = view.times.filter((t) => t <= ask.until + 1e-9);
    const curves = open ? (ask.of === "both" ? [0, 1] : [ask.of === "B" ? 1 : 0]) : [];
    const mark = guess === null ? [] : [
      Plot.dot([{t: ask.at, value: guess}], {x: "t", y: "value", r: 7, fill: "#fff", stroke: "#a3195b", strokeWidth: 3}),
      Plot.text([{t: ask.at, value: guess}], {x: "t", y: "value", text: () => say("guess.mark", {value: digits(guess, 1)}), dx: ask.at > ask.until / 2 ? -14 : 14,
        textAnchor: ask.at > ask.until / 2 ? "end" : "start", fontSize: 14, fontWeight: 600, fill: "#a3195b", stroke: "#fff", strokeWidth: 4}),
    ];
    const svg = draw({
      width, height, ...margins,
      x: {domain: [0, ask.until]}, y: {domain: [ask.low, ask.high]},
      marks: [
        Plot.gridY({stroke: "#000", strokeOpacity: 0.13, ticks: 5}),
        Plot.ruleX([ask.at], {stroke: "#a3195b", strokeDasharray: "4 4"}),
        ...curves.map((n) => {
          const {colour, dash} = look(`case:${n}`);
          const list = valuesOf(n);
          return Plot.line(times.map((t, i) => ({t, value: list[i]})), {x: "t", y: "value", stroke: colour, strokeWidth: 3, strokeDasharray: dash ?? undefined, clip: true});
        }),
        ...curves.map((n) => Plot.text([{t: ask.until, value: valuesOf(n)[times.length - 1]}], {
          x: "t", y: "value", text: () => view.babies[n].letter, dx: -8, dy: -10, fontSize: 15, fontWeight: 700, fill: look(`case:${n}`).colour, stroke: "#fff", strokeWidth: 4,
        })),
        ...mark,
        ...axes(ask.until, width, ask.unit),
      ],
    }, open
      ? say("guess.open", {output: say(`output.${ask.output}`), time: time(ask.at), value: curves.map((n) => `${view.babies[n].letter} ${digits(answer(n), 1)} ${ask.unit}`).join(", ")})
      : say("guess.hidden", {output: say(`output.${ask.output}`), time: time(ask.at)}));
    svg.addEventListener("pointerdown", (event) => {
      if (open) return;
      const box = svg.getBoundingClientRect();
      const scale = svg.scale("y");
      const y = ((event.clientY - box.top) / box.height) * height;
      const inside = Math.min(Math.max(y, margins.marginTop), height - margins.marginBottom);
      onGuess(Math.round(scale.invert(inside) * 10) / 10);
    });
    drawing.replaceChildren(svg);
  };
  const answer = (n) => {
    const list = valuesOf(n);
    let best = 0;
    view.times.forEach((t, i) => {
      if (Math.abs(t - ask.at) < Math.abs(view.times[best] - ask.at)) best = i;
    });
    return list[best];
  };
  return {drawing, paint, answer, guess(x) {
    guess = x;
    paint();
  }, reveal() {
    open = true;
    paint();
  }};
}
