// SPDX-License-Identifier: Apache-2.0
// Words of the page in the language chosen; all of them stand in models/lessons/words.

let words = {};
let decimal = ".";

export function speak(list) {
  words = list;
  decimal = list["number.decimal"] ?? ".";
}

/** The words of a key; `{name}` is filled in. A key without words shows itself, so that it is seen. */
export function say(key, values = {}) {
  const text = words[key] ?? key;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

export const known = (key) => key in words;

/** A number with a fixed count of digits behind the point, as people here write it. */
export function digits(x, count) {
  if (x === null || x === undefined || !Number.isFinite(x)) return "–";
  const text = Math.abs(x).toFixed(count);
  return (x < 0 && Number(text) !== 0 ? "−" : "") + text.replace(".", decimal);
}

/** As few digits as the number has. */
export const plain = (x) => String(x).replace(".", decimal).replace("-", "−");

/** `20 min`, `1 h 30 min`, `45 s`. */
export function time(hours) {
  const sign = hours < -1e-9 ? "−" : "";
  const seconds = Math.round(Math.abs(hours) * 3600);
  if (seconds < 60 && seconds > 0) return `${sign}${seconds} s`;
  const minutes = Math.floor(seconds / 60);
  const rest = seconds % 60;
  if (minutes < 60) return `${sign}${minutes} min${rest ? ` ${rest} s` : ""}`;
  return `${sign}${Math.floor(minutes / 60)} h${minutes % 60 ? ` ${minutes % 60} min` : ""}`;
}
