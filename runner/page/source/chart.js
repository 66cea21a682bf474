// SPDX-License-Identifier: Apache-2.0
// What every chart has: a caption, a drawing that follows the width, a data table, saving.
import * as Plot from "@observablehq/plot";
import {csvCell, csvText, shown} from "./numbers.js";
import {element, save, svgElement, table} from "./elements.js";

const font = '"Source Sans 3", "Noto Sans", "DejaVu Sans", Arial, sans-serif';
const ink = "#1a1a1a";

/** Draws by Observable Plot and makes the SVG fit for this page and for being saved. */
export function draw(options, label) {
  const svg = Plot.plot({
    ...options,
    style: undefined,
    className: "chart",
  });
  // The page's policy allows one style sheet; what Plot's own says stands as attributes.
  svg.querySelectorAll("style").forEach((style) => style.remove());
  svg.setAttribute("font-family", font);
  svg.setAttribute("font-size", "13");
  svg.setAttribute("fill", ink);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", label);
  // Within an image parts have no roles, so they may carry no labels either.
  svg.querySelectorAll("[aria-label]").forEach((part) => {
    part.setAttribute("data-part", part.getAttribute("aria-label"));
    part.removeAttribute("aria-label");
  });
  svg.querySelectorAll("[aria-description]").forEach((part) => part.removeAttribute("aria-description"));
  return svg;
}

function standalone(svg) {
  const copy = svg.cloneNode(true);
  const [, , width, height] = copy.getAttribute("viewBox").split(" ").map(Number);
  copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  copy.setAttribute("width", width);
  copy.setAttribute("height", height);
  copy.querySelectorAll(".cursor").forEach((cursor) => cursor.remove());
  const white = svgElement("rect", {width, height, fill: "#fff"});
  copy.insertBefore(white, copy.firstChild);
  return {text: new XMLSerializer().serializeToString(copy), width, height};
}

async function savePng(svg, name) {
  const {text, width, height} = standalone(svg);
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text)}`;
  await image.decode();
  const canvas = element("canvas", {width: 3 * width, height: 3 * height});
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0, canvas.width, canvas.height);
  canvas.toBlob((blob) => save(`${name}.png`, "image/png", blob), "image/png");
}

/** Columns as text for a spreadsheet. @param columns  [{head, values}] */
export function csv(columns) {
  const lines = [columns.map((column) => csvText(column.head)).join(",")];
  const count = Math.max(0, ...columns.map((column) => column.values.length));
  for (let i = 0; i < count; ++i) lines.push(columns.map((column) => csvCell(column.values[i])).join(","));
  return `${lines.join("\n")}\n`;
}

/**
 * A chart in its frame.
 * @param title    caption; may be null when the section's title says it
 * @param paint    width => svg; called again when the width changes and on `repaint`
 * @param columns  () => [{head, values, digits?}], the data behind the drawing
 */
export function chart({id, title, paint, columns, readout = null}) {
  const drawing = element("div", {class: "drawing"});
  const columnsOf = () => columns();
  const saving = element("div", {class: "save"}, "Save this chart:");
  const add = (text, action) => saving.append(element("button", {type: "button", onclick: action, "aria-label": `Save as ${text}: ${title}`}, text));
  add("SVG", () => save(`${id}.svg`, "image/svg+xml", standalone(drawing.querySelector("svg")).text));
  add("PNG", () => savePng(drawing.querySelector("svg"), id));
  add("CSV", () => save(`${id}.csv`, "text/csv", csv(columnsOf())));
  const details = element("details", {class: "behind"}, element("summary", {}, "Numbers behind this chart"));
  details.addEventListener("toggle", () => {
    if (!details.open || details.querySelector("table")) return;
    const list = columnsOf();
    const count = Math.max(0, ...list.map((column) => column.values.length));
    const rows = Array.from({length: count}, (_, i) =>
      list.map((column) => (typeof column.values[i] === "string" ? column.values[i] : shown(column.values[i], column.digits))));
    details.append(element("div", {class: "scroll", tabindex: 0, role: "region", "aria-label": `Numbers: ${title}`}, table(list.map((column) => column.head), rows)));
  });
  const figure = element("figure", {id, class: "chart-frame"},
    element("figcaption", {}, element("h3", {}, title)), readout, drawing, saving, details);

  let width = 0;
  const repaint = () => {
    if (width > 0) drawing.replaceChildren(paint(width));
  };
  const room = () => Math.round(drawing.clientWidth);
  // Asking for the room has the browser lay the page out; who draws many charts asks for all first.
  const follow = (now = room()) => {
    if (now > 0 && now !== width) {
      width = now;
      repaint();
    }
  };
  // What was never drawn is drawn in its turn (main.js); a new height is no reason to draw again.
  let seen = 0;
  new ResizeObserver(() => requestAnimationFrame(() => {
    const now = room();
    if (width > 0 && now !== seen) follow(now);
    seen = now;
  })).observe(drawing);
  return {figure, drawing, repaint, follow, room};
}

/** A button that is on or off. */
export function toggle(content, on, change, kind = null) {
  const button = element("button", {type: "button", class: kind, "aria-pressed": String(on)}, ...content);
  button.addEventListener("click", () => {
    const now = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(now));
    change(now);
  });
  return button;
}

/** A row of buttons of which one is chosen. */
export function choice(label, names, chosen, change) {
  const row = element("div", {class: "legend", role: "group", "aria-label": label}, element("span", {}, label));
  const buttons = names.map((name, i) =>
    element("button", {type: "button", class: "choice", "aria-pressed": String(i === chosen), onclick: () => {
      buttons.forEach((button, k) => button.setAttribute("aria-pressed", String(k === i)));
      change(i);
    }}, name));
  row.append(...buttons);
  return row;
}

/** Breaks a text into lines of at most `most` letters, for labels in drawings. */
export function broken(text, most) {
  const lines = [];
  let line = "";
  for (const word of String(text).split(" ")) {
    if (line && line.length + 1 + word.length > most) {
      lines.push(line);
      line = word;
    } else {
      line = line ? `${line} ${word}` : word;
    }
  }
  if (line) lines.push(line);
  return lines.join("\n");
}
