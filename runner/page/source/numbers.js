// SPDX-License-Identifier: Apache-2.0
// Numbers as people read them; the rules are those of the program's tables.

const minus = "−";

/** Three significant digits, at most three behind the point; `–` for what is missing. */
export function figure(x) {
  if (x === null || x === undefined || Number.isNaN(x)) return "–";
  const size = Math.abs(x);
  let digits = 3;
  if (size > 0) digits = Math.min(3, Math.max(0, 2 - Math.floor(Math.log10(size) + 1e-12)));
  let text = size.toFixed(digits);
  // 9.996 rounds up to 10.00: one digit too many.
  if (digits > 0 && digits < 3 && text.replace(".", "").replace(/^0+/, "").length > 3)
    text = size.toFixed(digits - 1);
  return (x < 0 && Number(text) !== 0 ? minus : "") + text;
}

/** A fixed number of digits behind the point, or a figure where none is asked for. */
export function shown(x, digits) {
  if (digits === undefined || digits === null) return figure(x);
  if (x === null || x === undefined || Number.isNaN(x)) return "–";
  const text = Math.abs(x).toFixed(digits);
  return (x < 0 && Number(text) !== 0 ? minus : "") + text;
}

/** `20 min`, `1 h 30 min`, `6 h`. */
export function clock(hours) {
  const sign = hours < -1e-9 ? minus : "";
  const minutes = Math.round(Math.abs(hours) * 60 * 100) / 100;
  if (minutes < 60) return `${sign}${minutes} min`;
  const whole = Math.floor(minutes / 60);
  const rest = Math.round((minutes - 60 * whole) * 100) / 100;
  return `${sign}${whole} h${rest ? ` ${rest} min` : ""}`;
}

/** A text cell of a CSV; one that a spreadsheet would run as a formula gets an apostrophe. */
export function csvText(text) {
  let cell = String(text);
  if (/^[=+\-@\t\r]/.test(cell)) cell = `'${cell}`;
  return /[",\r\n]/.test(cell) ? `"${cell.replaceAll('"', '""')}"` : cell;
}

/** A cell of a CSV: numbers in full and as numbers, texts made safe. */
export function csvCell(value) {
  if (value === null || value === undefined || Number.isNaN(value)) return "";
  return typeof value === "number" ? String(value) : csvText(value);
}
