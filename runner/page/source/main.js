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

/** Sections of one kind of which one shows at a time. */
function alternatives(section, page) {
  const {choice: words, alternatives: list} = section.data;
  const built = list.map((one, i) => draw({...section, id: `${section.id}-${i + 1}`, data: one.data}, page));
  const blocks = built.map((one, i) => element("div", {hidden: i < list.length - 1},
    ...(list[i].text ?? []).map((text) => element("p", {}, text)), ...one.nodes));
  const show = (chosen) => {
    blocks.forEach((block, i) => { block.hidden = i !== chosen; });
    for (const chart of built[chosen].charts) chart.follow();
    built[chosen].ready?.();
  };
  const head = list.length > 1 ? [choice(words, list.map((one) => one.label), list.length - 1, show)] : [];
  return {nodes: [...head, ...blocks], charts: built[list.length - 1].charts, ready: () => built[list.length - 1].ready?.()};
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
  const root = document.getElementById("page");
  const laid = page.sections.map((section) => lay(section, page));
  root.append(
    element("h1", {}, page.title),
    element("p", {class: "question"}, page.question),
    element("nav", {"aria-label": "Sections"}, element("ul", {},
      ...page.sections.map((section) => element("li", {}, element("a", {href: `#${section.id}`}, section.topic))))),
    ...laid.map((one) => one.body),
  );
  for (const {made} of laid) {
    for (const chart of made.charts) chart.follow();
    made.ready?.();
  }
  // The browser looked for the section of the address before there was one.
  if (location.hash.length > 1) document.getElementById(decodeURIComponent(location.hash.slice(1)))?.scrollIntoView();
  performance.mark("serosa-drawn");
  root.setAttribute("data-drawn", String(Math.round(performance.now())));
}

build();
