// SPDX-License-Identifier: Apache-2.0
// Reads the page's data and lays its sections out, each by the module of its kind.
import {choice} from "./chart.js";
import {element} from "./elements.js";
import bands from "./kinds/bands.js";
import distribution from "./kinds/distribution.js";
import influence from "./kinds/influence.js";
import intervals from "./kinds/intervals.js";
import map from "./kinds/map.js";
import {cases, documentText, list, plainTable} from "./kinds/plain.js";
import pointsPlane from "./kinds/points.js";
import shares from "./kinds/shares.js";
import stacked from "./kinds/stacked.js";
import timeCourses from "./kinds/time_courses.js";
import timeline from "./kinds/timeline.js";
import waterfall from "./kinds/waterfall.js";

const kinds = {
  bands,
  cases,
  distribution,
  document: documentText,
  influence,
  intervals,
  list,
  map,
  points: pointsPlane,
  shares,
  stacked,
  table: plainTable,
  time_courses: timeCourses,
  timeline,
  waterfall,
};

function draw(section, page) {
  return kinds[section.kind]
    ? kinds[section.kind](section, page)
    : {nodes: [element("p", {}, "This page cannot draw what stands here.")], charts: []};
}

/** Sections of one kind of which one shows at a time; each is built when it is first asked for. */
function alternatives(section, page) {
  const {choice: words, alternatives: list} = section.data;
  const built = [];
  const blocks = list.map(() => element("div", {hidden: true}));
  const show = (chosen) => {
    if (!built[chosen]) {
      built[chosen] = draw({...section, id: `${section.id}-${chosen + 1}`, data: list[chosen].data}, page);
      blocks[chosen].append(...(list[chosen].text ?? []).map((text) => element("p", {}, text)), ...built[chosen].nodes);
    }
    blocks.forEach((block, i) => { block.hidden = i !== chosen; });
    return built[chosen];
  };
  show(list.length - 1);
  const head = list.length > 1 ? [choice(words, list.map((one) => one.label), list.length - 1, (chosen) => {
    if (!built[chosen]) page.charts.push(...show(chosen).charts);
    else show(chosen);
    built[chosen].ready?.();
    drawAll(built[chosen].charts);
  })] : [];
  return {nodes: [...head, ...blocks], charts: built[list.length - 1].charts, ready: () => built[list.length - 1].ready?.()};
}

/** Draws charts after asking once for the room of all. */
function drawAll(charts) {
  const rooms = charts.map((chart) => chart.room());
  charts.forEach((chart, i) => chart.follow(rooms[i]));
}

/**
 * Draws what is in view at once and the rest in short pieces of time, sooner when it comes near
 * the view, all of it before printing. `data-drawn` and `data-all` tell when, in ms.
 */
function drawInTurn(charts, root) {
  const told = (name) => {
    performance.mark(`serosa-${name}`);
    root.setAttribute(`data-${name}`, String(Math.round(performance.now())));
  };
  const waiting = new Set(charts);
  /** Until that time, or to the end. */
  const done = (list, until = Infinity) => {
    const rooms = list.map((chart) => chart.room());
    for (let i = 0; i < list.length && performance.now() < until; ++i) {
      list[i].follow(rooms[i]);
      waiting.delete(list[i]);
    }
    if (!waiting.size && !root.dataset.all) told("all");
  };
  // Paper is narrower than the screen: drawn for it, writing keeps its size. A4 less its margins.
  const paper = 680;
  window.addEventListener("beforeprint", () => {
    done([...waiting]);
    const shown = charts.filter((chart) => chart.room() > 0);
    for (const chart of shown) chart.follow(chart.figure.parentElement?.classList.contains("two") ? (paper - 28) / 2 : paper);
  });
  window.addEventListener("afterprint", () => drawAll(charts));
  // An address within the page needs the height of all that stands before it.
  const whole = location.hash.length > 1;
  done(charts.filter((chart) => whole || chart.drawing.getBoundingClientRect().top < window.innerHeight));
  told("drawn");
  if (!waiting.size) return;
  const near = new IntersectionObserver((seen) => {
    done([...waiting].filter((chart) => seen.some((one) => one.isIntersecting && one.target === chart.drawing)));
    if (!waiting.size) near.disconnect();
  }, {rootMargin: "50% 0px"});
  for (const chart of waiting) near.observe(chart.drawing);
  const next = () => {
    done([...waiting], performance.now() + 40);
    if (waiting.size) setTimeout(next, 0);
  };
  requestAnimationFrame(() => setTimeout(next, 0));
}

function lay(section, page) {
  const heading = element("h2", {id: `title-${section.id}`}, section.title);
  const body = element("section", {id: section.id, "aria-labelledby": heading.id},
    element("p", {class: "topic"}, section.topic), heading,
    ...(section.text ?? []).map((text) => element("p", {}, text)));
  const made = section.data.alternatives ? alternatives(section, page) : draw(section, page);
  body.append(...made.nodes);
  if (section.below) body.append(...plainTable({data: section.below}).nodes);
  return {body, made};
}

function build() {
  const page = JSON.parse(document.getElementById("data").textContent);
  page.charts = [];  // all that were built; what is hidden has no room
  const root = document.getElementById("page");
  const laid = page.sections.map((section) => lay(section, page));
  root.append(
    element("h1", {}, page.title),
    element("p", {class: "question"}, page.question),
    element("nav", {"aria-label": "Sections"}, element("ul", {},
      ...page.sections.map((section) => element("li", {}, element("a", {href: `#${section.id}`}, section.topic))))),
    ...laid.map((one) => one.body),
  );
  for (const {made} of laid) made.ready?.();
  page.charts.push(...laid.flatMap(({made}) => made.charts));
  drawInTurn(page.charts, root);
  // The browser looked for the section of the address before there was one.
  if (location.hash.length > 1) document.getElementById(decodeURIComponent(location.hash.slice(1)))?.scrollIntoView();
}

build();
