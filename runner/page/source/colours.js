// SPDX-License-Identifier: Apache-2.0
// One look for each thing, the same on every chart. Routes have the hues of Okabe and Ito (Color
// Universal Design, 2008), stores muted hues of Tol (SRON technical note 3.2, 2021); lines also
// differ by their dashes, so that no chart needs colour to be read.

const fills = {
  bowel_evaporation: "#d55e00",
  skin: "#e69f00",
  airway: "#56b4e9",
  urine: "#f0e442",
  gastric_drainage: "#009e73",
  bowel_drip: "#cc79a7",
  blood_loss: "#8c1d1d",
  oxidation_water: "#bdbdbd",
  given: "#7a7a7a",
  wall: "#882255",
  lumen: "#44aa99",
  surface: "#ddcc77",
  stomach: "#117733",
  interstitium: "#332288",
  cells: "#aa4499",
  solids: "#999999",
  under: "#9ecae1",
  inside: "#f7f7f7",
  over: "#d9782d",
  failed: "#4d4d4d",
};

const lines = {
  charted: {colour: "#6b6b6b", dash: "7 3"},
  external: {colour: "#111111", dash: null},
  circulating: {colour: "#a3195b", dash: null, width: 2.6},
  against_ordinary: {colour: "#a3195b", dash: "2 3"},
};

const cases = [
  {colour: "#111111", dash: null},
  {colour: "#0072b2", dash: "9 4"},
  {colour: "#b5480a", dash: "2 3"},
  {colour: "#0b7a5c", dash: "10 3 2 3"},
  {colour: "#7a3b8f", dash: "5 2"},
  {colour: "#6b6b6b", dash: "14 4"},
];

/** Colour, dashes and width of a style name: a route, a store, a deficit or `case:0`. */
export function look(style) {
  if (style && style.startsWith("case:")) {
    const number = Number(style.slice(5));
    const own = cases[number % cases.length];
    // Beyond the colours the dashes go on to differ.
    const turn = Math.floor(number / cases.length);
    return {width: 2, ...own, dash: turn ? cases[(number + turn) % cases.length].dash ?? "4 2" : own.dash};
  }
  if (lines[style]) return {width: 2, ...lines[style]};
  return {colour: fills[style] ?? "#555555", dash: null, width: 2};
}

/** Which style names areas and bars have, for tests. */
export const fillNames = Object.keys(fills);
