// SPDX-License-Identifier: Apache-2.0
// A lesson under way: its steps, the guess, the explanation, and the worksheet to print.
import {element} from "../../page/source/elements.js";
import {guessChart} from "./charts.js";
import {digits, say, time} from "./words.js";

const list = (texts) => element("ul", {}, ...texts.map((text) => element("li", {}, text)));
const units = {g: "mL", degC: "°C"};

/** Words of a lesson in the language chosen, or as it was written. */
export const wordsOf = (lesson, language) => lesson.words[language] ?? lesson.words.en;

/** The unit of what is guessed, as it stands on the axis. */
const unitOf = (guess) => `${units[guess.unit] ?? guess.unit}${guess.per_kg ? "/kg" : ""}`;

/**
 * @param view   as the charts have it
 * @param moves  {go(step), leave(), hide(on), print()}
 */
export function lessonPanel(lesson, step, language, view, moves) {
  const words = wordsOf(lesson, language);
  const told = words.steps[step];
  const {guess} = lesson.steps[step];
  const last = step === words.steps.length - 1;
  const root = element("section", {class: "lesson", id: "lesson", "aria-labelledby": "lesson-title"});
  const button = (label, action, attributes = {}) => element("button", {type: "button", onclick: action, ...attributes}, label);
  root.append(
    element("p", {class: "topic"}, say("lesson.step", {step: step + 1, of: words.steps.length})),
    element("h2", {id: "lesson-title", tabindex: -1}, words.title),
  );
  if (step === 0) root.append(element("h3", {}, say("lesson.aims")), list(words.aims));
  root.append(element("p", {class: "told"}, told.text));
  const after = element("div", {"aria-live": "polite"});
  let chart = null;
  const explain = () => {
    after.replaceChildren();
    if (told.why) after.append(element("h3", {}, say("lesson.why")), element("p", {class: "told"}, told.why));
    if (last) after.append(element("h3", {}, say("lesson.limits")), list(words.limits));
  };
  if (told.question) {
    root.append(element("p", {class: "asked"}, told.question));
    if (guess) {
      const unit = unitOf(guess);
      const ask = {...guess, unit, perKg: guess.per_kg, until: Math.max(guess.at, view.times[view.times.length - 1])};
      const field = element("input", {type: "number", step: "any", id: "guess", min: guess.low, max: guess.high, inputmode: "decimal"});
      const reveal = button(say("guess.reveal"), () => {
        moves.hide(false);
        chart.reveal();
        const answers = (guess.of === "both" ? [0, 1] : [guess.of === "B" ? 1 : 0]).map((n) => `${view.babies[n].letter} ${digits(chart.answer(n), 1)} ${unit}`).join(", ");
        explain();
        after.prepend(element("p", {class: "answer"}, say("guess.answer", {guess: `${digits(Number(field.value), 1)} ${unit}`, answer: answers, time: time(guess.at)})));
        reveal.hidden = true;
        field.disabled = true;
      }, {id: "reveal", disabled: true});
      const take = (x) => {
        const inside = Math.min(guess.high, Math.max(guess.low, x));
        field.value = String(inside);
        chart.guess(inside);
        reveal.disabled = false;
      };
      chart = guessChart(view, ask, take);
      field.addEventListener("input", () => {
        if (field.value !== "" && Number.isFinite(Number(field.value))) {
          chart.guess(Number(field.value));
          reveal.disabled = false;
        }
      });
      root.append(
        element("div", {class: "guessing"}, element("label", {for: "guess"}, say("guess.label", {time: time(guess.at), unit})), field, reveal),
        element("p", {class: "hint"}, say("guess.hint")), chart.drawing);
    } else {
      root.append(button(say("lesson.show_why"), (event) => {
        explain();
        event.target.hidden = true;
      }, {id: "show-why"}));
    }
  } else {
    explain();
  }
  root.append(after, element("div", {class: "moves"},
    button(say("lesson.back"), () => moves.go(step - 1), {disabled: step === 0, id: "back"}),
    button(last ? say("lesson.end") : say("lesson.next"), () => (last ? moves.leave() : moves.go(step + 1)), {id: "next"}),
    button(say("lesson.worksheet"), moves.print, {id: "worksheet-button"}),
    last ? null : button(say("lesson.leave"), moves.leave, {id: "leave"})));
  return {root, hides: Boolean(guess), ready: () => chart?.paint()};
}

/** The worksheet: aims, the two newborns, questions with room to write; no answers. */
export function worksheet(lesson, language, babies, caution) {
  const words = wordsOf(lesson, language);
  const lines = (count) => element("div", {class: "lines"}, ...Array.from({length: count}, () => element("div", {class: "writing-line"})));
  const questions = [...words.steps.filter((told) => told.question).map((told) => told.question), ...words.worksheet];
  return element("section", {class: "worksheet", lang: language in lesson.words ? language : "en"},
    element("p", {class: "caution"}, caution),
    element("h1", {}, words.title),
    element("p", {class: "name-line"}, say("worksheet.name")),
    element("h2", {}, say("lesson.aims")), list(words.aims),
    element("h2", {}, say("worksheet.newborns")), list(babies),
    element("h2", {}, say("worksheet.questions")),
    element("ol", {}, ...questions.map((question) => element("li", {}, question, lines(3)))),
    element("div", {class: "together"}, element("h2", {}, say("lesson.limits")), list(words.limits)));
}
