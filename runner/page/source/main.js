// SPDX-License-Identifier: Apache-2.0
// Reads the page's data and lays its sections out, each by the module of its kind.
import {element} from "./elements.js";
import bands from "./kinds/bands.js";
import distribution from "./kinds/distribution.js";
import influence from "./kinds/influence.js";
import intervals from "./kinds/intervals.js";
import map from "./kinds/map.js";
import {cases, list, plainTable} from "./kinds/plain.js";
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

function lay(section, page) {
  const heading = element("h2", {id: `title-${section.id}`}, section.title);
  const body = element("section", {id: section.id, "aria-labelledby": heading.id},
    element("p", {class: "topic"}, section.topic), heading,
    ...(section.text ?? []).map((text) => element("p", {}, text)));
  const made = kinds[section.kind]
    ? kinds[section.kind](section, page)
    : {nodes: [element("p", {}, "This page cannot draw what stands here.")], charts: []};
  body.append(...made.nodes);
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
