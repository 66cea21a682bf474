// SPDX-License-Identifier: Apache-2.0
// Elements of the page. Text goes in as text only, never as markup.
import {look} from "./colours.js";
import {figure} from "./numbers.js";

/** element("p", {class: "topic"}, "text", child, …); attributes that begin with `on` are listeners. */
export function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

export function svgElement(name, attributes = {}) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes))
    if (value !== null && value !== undefined) made.setAttribute(key, value);
  return made;
}

/** A small sample of a line or an area, for legends and tables. */
export function sample(style, area) {
  const {colour, dash, width} = look(style);
  const svg = svgElement("svg", {width: area ? 14 : 34, height: 14, "aria-hidden": "true"});
  svg.append(
    area
      ? svgElement("rect", {x: 0.5, y: 0.5, width: 13, height: 13, fill: colour, stroke: "#333"})
      : svgElement("line", {x1: 0, x2: 34, y1: 7, y2: 7, stroke: colour, "stroke-width": width + 0.5, "stroke-dasharray": dash}),
  );
  return svg;
}

function cell(value, first, style, area) {
  const text = typeof value === "number" || value === null ? figure(value) : value;
  const made = element(first ? "th" : "td", first ? {scope: "row", class: style ? "swatch" : null} : {});
  if (first && style) made.append(sample(style, area));
  made.append(text);
  return made;
}

/** A table; rows are `{cells, style?, total?}` or plain lists of cells. */
export function table(head, rows, {kind = "", area = true, caption = null} = {}) {
  const body = element("tbody");
  for (const row of rows) {
    const cells = Array.isArray(row) ? row : row.cells;
    body.append(
      element("tr", {class: row.total ? "total" : null},
        ...cells.map((value, i) => cell(value, i === 0, row.style, area && !["external", "circulating"].includes(row.style)))),
    );
  }
  const top = element("tr", {}, ...head.map((text) => element("th", {scope: "col"}, text)));
  return element("table", {class: kind || null}, caption ? element("caption", {}, caption) : null, element("thead", {}, top), body);
}

/** Offers a file for saving; nothing leaves the machine. */
export function save(name, type, content) {
  const address = URL.createObjectURL(content instanceof Blob ? content : new Blob([content], {type}));
  const link = element("a", {href: address, download: name});
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}
