// SPDX-License-Identifier: Apache-2.0
// The controls: one row each, for both babies, or one value each where they shall differ.
import {element} from "../../page/source/elements.js";
import {known, plain, say} from "./words.js";

const letters = ["A", "B"];

/** Most units are written alike everywhere. */
const unitWords = (unit) => (known(`unit.${unit}`) ? say(`unit.${unit}`) : unit);

/** The value of a control in words. */
export function valueWords(control, value) {
  if (value === null) return "–";
  if (control.kind === "number") {
    if (value === 0 && known(`control.${control.id}.zero`)) return say(`control.${control.id}.zero`);
    return `${plain(value)}${control.unit ? ` ${unitWords(control.unit)}` : ""}`;
  }
  return optionWords(control.id, value);
}

function optionWords(id, value) {
  const group = {warmer_then: "warmer", maintenance_fluid: "fluid", bolus_fluid: "fluid"}[id] ?? id;
  if (id === "until") return `${value} h`;
  if (value === "") return say(`option.${id}.none`);
  return say(`option.${group}.${value}`);
}

/** The label of a control, in words. */
export const labelOf = (control) => say(`control.${control.id}`);

/**
 * @param change  (id, baby or null for both, value)
 * @param part    (id, apart?) the babies shall differ in it, or no longer
 */
export function panel(controls, {change, part}) {
  const root = element("div", {class: "controls"});
  const rows = new Map();
  const groups = [...new Set(controls.map((control) => control.group))];
  for (const group of groups) {
    const body = element("div", {class: "rows"});
    const box = element("details", {class: "group", open: true, id: `group-${group}`}, element("summary", {}, say(`group.${group}`)), body);
    for (const control of controls.filter((one) => one.group === group)) {
      const row = rowOf(control, {change, part});
      rows.set(control.id, row);
      body.append(row.root);
    }
    root.append(box);
  }
  /** Shows the values; an input that is being moved keeps what the hand gives it. */
  const update = (values, apart) => {
    for (const control of controls) rows.get(control.id).update(values.map((one) => one[control.id]), apart.has(control.id));
  };
  return {root, update};
}

function rowOf(control, {change, part}) {
  const label = labelOf(control);
  const inputs = [0, 1].map((baby) => inputOf(control, label, baby, (value) => change(control.id, apartNow ? baby : null, value)));
  let apartNow = false;
  const toggle = element("button", {type: "button", class: "apart", "aria-pressed": "false", "aria-label": say("apart.label", {control: label}),
    title: say("apart.label", {control: label})}, "A ≠ B");
  toggle.addEventListener("click", () => part(control.id, !apartNow));
  const badge = element("span", {class: "badge"}, say("difference.badge"));
  const root = element("div", {class: "row", "data-control": control.id, role: "group", "aria-label": label},
    element("div", {class: "row-head"}, element("span", {class: "row-label"}, label), badge, control.id === "until" ? null : toggle),
    ...inputs.map((input) => input.root));
  const update = (values, apart) => {
    const [a, b] = values;
    // A control that only one of the two has shows that one.
    const one = a === null ? 1 : 0;
    const both = a !== null && b !== null;
    apartNow = both ? apart || a !== b : true;
    root.hidden = a === null && b === null;
    root.classList.toggle("differs", both && a !== b);
    badge.hidden = !(both && a !== b);
    toggle.hidden = !both;
    toggle.setAttribute("aria-pressed", String(both && apartNow));
    inputs[0].show(values[both ? 0 : one], both && apartNow ? "A" : both ? null : letters[one], both ? 0 : one);
    inputs[0].root.hidden = a === null && b === null;
    inputs[1].root.hidden = !(both && apartNow);
    if (both && apartNow) inputs[1].show(b, "B", 1);
  };
  return {root, update};
}

function inputOf(control, label, baby, change) {
  const tag = element("span", {class: "tag", "aria-hidden": "true"});
  const name = (letter) => (letter ? say("control.of", {control: label, letter}) : label);
  if (control.kind === "choice") {
    const select = element("select", {"data-input": control.id}, ...control.options.map((value) => element("option", {value}, optionWords(control.id, value))));
    select.addEventListener("change", () => change(select.value));
    const root = element("div", {class: "input"}, tag, select);
    return {root, show(value, letter) {
      // A case may hold what is not on the list; it is shown, and kept until it is changed.
      if (value !== null && ![...select.options].some((option) => option.value === value))
        select.append(element("option", {value}, optionWords(control.id, value)));
      if (select.value !== value) select.value = value;
      tag.textContent = letter ?? "";
      tag.className = `tag ${letter ? `of-${letter}` : ""}`;
      select.setAttribute("aria-label", name(letter));
    }};
  }
  const {low, high, step, unit} = control;
  const slider = element("input", {type: "range", min: low, max: high, step, "data-input": control.id});
  const field = element("input", {type: "number", min: low, max: high, step: "any", inputmode: "decimal"});
  const words = element("span", {class: "unit"}, unitWords(unit));
  const root = element("div", {class: "input"}, tag, slider, element("span", {class: "exact"}, field, words));
  const clamp = (x) => Math.min(high, Math.max(low, x));
  slider.addEventListener("input", () => {
    field.value = slider.value;
    change(Number(slider.value));
  });
  field.addEventListener("change", () => {
    if (field.value !== "" && Number.isFinite(Number(field.value))) change(clamp(Number(field.value)));
    else field.value = slider.value;
  });
  return {root, show(value, letter) {
    if (document.activeElement !== slider || Number(slider.value) !== value) slider.value = String(value);
    if (Number(field.value) !== value || field.value === "") field.value = String(value);
    tag.textContent = letter ?? "";
    tag.className = `tag ${letter ? `of-${letter}` : ""}`;
    slider.setAttribute("aria-label", name(letter));
    field.setAttribute("aria-label", `${name(letter)}${unit ? `, ${unitWords(unit)}` : ""}`);
    slider.setAttribute("aria-valuetext", valueWords(control, value));
    words.textContent = value === 0 && known(`control.${control.id}.zero`) ? say(`control.${control.id}.zero`) : unitWords(unit);
  }};
}
