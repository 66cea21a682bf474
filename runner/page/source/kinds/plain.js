// SPDX-License-Identifier: Apache-2.0
// Sections without drawings: the cases in words, lists, tables.
import {look} from "../colours.js";
import {element, sample, table} from "../elements.js";

export function cases(section, page) {
  const {facts, differences} = section.data;
  const blocks = page.cases.map((one, i) => {
    const list = element("dl", {});
    for (const [label, words] of facts[i]) list.append(element("dt", {}, label), element("dd", {}, words));
    const block = element("div", {},
      element("h3", {}, page.cases.length > 1 ? `${one.letter}  ${one.title}` : one.title),
      page.cases.length > 1 ? sample(`case:${i}`, false) : null,
      one.note ? element("p", {}, one.note) : null, list);
    block.style.borderTopColor = page.cases.length > 1 ? look(`case:${i}`).colour : "#bbb";
    return block;
  });
  const nodes = [element("div", {class: "cases"}, ...blocks)];
  if (page.cases.length > 1)
    nodes.push(
      element("h3", {}, "What differs"),
      differences.length
        ? element("div", {class: "scroll whole"}, table(["", ...page.cases.map((one) => one.letter)], differences.map((one) => [one.label, ...one.words]), {kind: "text"}))
        : element("p", {}, "Nothing: the cases are the same."));
  return {nodes, charts: []};
}

export function list(section) {
  return {nodes: [element("ul", {class: "items"}, ...section.data.items.map((item) => element("li", {}, item)))], charts: []};
}

export function plainTable(section) {
  const {head, rows, text, prose} = section.data;
  return {nodes: [element("div", {class: "scroll whole"}, table(head, rows, {kind: prose ? "prose" : text ? "text" : ""}))], charts: []};
}

/** A chapter of a document: paragraphs, headings, lists and tables in their order. */
export function documentText(section) {
  const made = section.data.blocks.map((block) => {
    if (block.kind === "heading") return element("h3", {}, block.text);
    if (block.kind === "list") return element("ul", {class: "items"}, ...block.items.map((item) => element("li", {}, item)));
    if (block.kind === "table") return element("div", {class: "scroll whole"}, table(block.head, block.rows, {kind: "text"}));
    return element("p", {}, block.text);
  });
  return {nodes: made, charts: []};
}
