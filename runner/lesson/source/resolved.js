// SPDX-License-Identifier: Apache-2.0
// The layout in which the program writes a resolved case: blocks of `key: value` by indent, lists of
// texts in brackets, texts plain or in double quotes. Not YAML at large: anything else is refused.

/** Why a file is not read: a key of the words under `unread.`, and what it is about. */
export class Unread extends Error {
  constructor(why, about = "") {
    super(`${why} ${about}`);
    Object.assign(this, {why, about});
  }
}

const quoted = (text) => JSON.parse(text.replace(/\\x([0-9a-f]{2})/g, "\\u00$1"));
const scalar = /"(?:[^"\\]|\\.)*"|[^",:[\]{}#&*!|>'@`][^",:[\]{}#]*/y;

function text(of, at, whole) {
  scalar.lastIndex = at;
  const found = scalar.exec(of);
  if (!found || (whole && scalar.lastIndex !== of.length)) throw new Unread("layout", of);
  return {value: found[0].startsWith('"') ? quoted(found[0]) : found[0], end: scalar.lastIndex};
}

function value(of) {
  if (of === "{}") return {};
  if (of === "[]") return [];
  if (!of.startsWith("[")) return text(of, 0, true).value;
  const items = [];
  for (let at = 1; ;) {
    const item = text(of, at, false);
    items.push(item.value);
    if (of.slice(item.end) === "]") return items;
    if (of.slice(item.end, item.end + 2) !== ", ") throw new Unread("layout", of);
    at = item.end + 2;
  }
}

/** The tree of a resolved case. Throws an Unread that quotes the line which is not in this layout. */
export function parseResolved(file) {
  const lines = file.replace(/^(#[^\n]*\n)*/, "").split("\n");
  if (lines.at(-1) !== "") throw new Unread("layout", lines.at(-1));
  lines.pop();
  let next = 0;
  const block = (indent) => {
    // Without a prototype: `__proto__` or `toString` is a key like any other.
    const map = Object.create(null);
    for (; next < lines.length; ) {
      const line = lines[next];
      const depth = line.length - line.trimStart().length;
      if (depth < indent) break;
      if (depth > indent) throw new Unread("layout", line.trim());
      const key = text(line, indent, false);
      const rest = line.slice(key.end);
      if (!rest.startsWith(":") || key.value in map) throw new Unread("layout", line.trim());
      ++next;
      map[key.value] = rest === ":" ? block(indent + 2) : value(rest.slice(2));
      if (rest !== ":" && rest[1] !== " ") throw new Unread("layout", line.trim());
    }
    return map;
  };
  const tree = block(0);
  if (next !== lines.length) throw new Unread("layout", lines[next].trim());
  return tree;
}
