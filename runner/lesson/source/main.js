// SPDX-License-Identifier: Apache-2.0
// The lesson's page: what is chosen, what is shown, and what goes into the address.
import {element, sample, save} from "../../page/source/elements.js";
import {asSaved, built, controlsOf, furtherActs, readCase, writeCase} from "./cases.js";
import {charts, deficits, routes} from "./charts.js";
import {drawing, key} from "./drawing.js";
import {lessonPanel, worksheet, wordsOf} from "./lessons.js";
import {bytesOf, Refused, start} from "./model.js";
import {labelOf, panel, valueWords} from "./panel.js";
import {digits, known, say, speak, time} from "./words.js";

const letters = ["A", "B"];
const ordinary = "ordinary-care";

function beginning() {
  return {
    babies: [{from: "exposed", set: {until: "24"}}, {from: "wrapped", set: {until: "24"}}],
    hours: 6, language: null, projector: false, lesson: null, step: 0, apart: [],
  };
}

// ---- The address ---------------------------------------------------------------------------

/** What is chosen as text for a link: JSON in base 64 that needs no escapes. */
export function toFragment(state) {
  const bytes = new TextEncoder().encode(JSON.stringify(state));
  return `s=${btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "")}`;
}
/** Nothing when the fragment is not one of this page. */
export function fromFragment(text, data, controls) {
  try {
    const bytes = Uint8Array.from(atob(text.replace(/^#?s=/, "").replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
    const given = JSON.parse(new TextDecoder().decode(bytes));
    const state = beginning();
    if (!Array.isArray(given.babies) || given.babies.length !== 2) return null;
    state.babies = given.babies.map((baby) => {
      if (typeof baby.text === "string") readCase(baby.text, data);
      else if (!(baby.from in data.cases)) throw new Error("no such case");
      const set = {};
      for (const control of controls) {
        if (!(control.id in (baby.set ?? {}))) continue;
        const value = baby.set[control.id];
        if (control.kind === "number" ? !(Number.isFinite(value) && value >= control.low && value <= control.high) : !control.options.includes(value))
          throw new Error("a value is out of range");
        set[control.id] = value;
      }
      return typeof baby.text === "string" ? {text: baby.text, set} : {from: baby.from, set};
    });
    if (Number.isFinite(given.hours) && given.hours > 0) state.hours = Math.min(given.hours, 1000);
    if (data.languages.some(({code}) => code === given.language)) state.language = given.language;
    state.projector = given.projector === true;
    const lesson = data.lessons.find(({id}) => id === given.lesson);
    if (lesson) {
      state.lesson = lesson.id;
      state.step = Math.min(Math.max(0, Math.trunc(Number(given.step)) || 0), lesson.steps.length - 1);
    }
    if (Array.isArray(given.apart)) state.apart = given.apart.filter((id) => controls.some((control) => control.id === id));
    return state;
  } catch {
    return null;
  }
}

const titleOf = (name, data) => (known(`case.${name}`) ? say(`case.${name}`) : data.cases[name].title);

/** What the model said about an act, in the words of the page. */
function refusal({message, act}) {
  const key = `refusal.${message.replace(/[^a-z]+/gi, "-").toLowerCase()}`;
  return say("refused", {act: say(`act.${act.act}`), time: time(act.at), message: known(key) ? say(key) : message});
}

// ---- The page ------------------------------------------------------------------------------

class Page {
  constructor(data, run) {
    this.data = data;
    this.run = run;
    this.controls = controlsOf(data);
    this.root = document.getElementById("page");
    this.state = fromFragment(location.hash, data, this.controls) ?? beginning();
    this.state.language ??= data.languages.find(({code}) => navigator.language?.startsWith(code))?.code ?? "en";
    this.view = {times: [0, 1], index: 0, babies: [], zoom: 1, point: (hour) => this.point(hour)};
    this.hour = null;
    this.hiding = false;
    this.timing = {model: 0, redraw: 0};
    new ResizeObserver(() => requestAnimationFrame(() => this.followWidth())).observe(this.root);
    addEventListener("hashchange", () => {
      const state = fromFragment(location.hash, data, this.controls);
      if (state) {
        this.state = {...state, language: state.language ?? this.state.language};
        this.lay();
      }
    });
    addEventListener("afterprint", () => document.body.classList.remove("printing-worksheet"));
    this.lay();
  }

  // Everything that has words; anew for another language, lesson or step.
  lay() {
    const {data, state} = this;
    const language = data.languages.find(({code}) => code === state.language) ?? data.languages[0];
    // Outputs without words of their own are told as the program does.
    const meanings = Object.fromEntries(data.outputs.map(({name, meaning}) => [`output.${name}`, meaning]));
    speak({...meanings, ...language.words});
    document.documentElement.lang = language.code;
    document.title = say("page.title");
    const caution = document.getElementById("caution");
    caution.textContent = say("caution");
    document.body.classList.toggle("projector", state.projector);
    document.documentElement.classList.toggle("large", state.projector);
    // For the margin of each printed page.
    document.documentElement.style.setProperty("--caution", JSON.stringify(say("caution")));
    this.placeCaution();
    this.view.zoom = state.projector ? 1.35 : 1;
    this.panel = panel(this.controls, {change: (...all) => this.change(...all), part: (...all) => this.part(...all)});
    this.charts = charts(this.view);
    this.said = element("p", {class: "said", role: "status", "aria-live": "polite"});
    this.difference = element("div", {class: "difference", id: "difference"});
    this.further = element("div", {class: "further"});
    this.drawings = element("div", {class: "panels two", id: "drawings"});
    this.table = element("div", {class: "scroll whole numbers", id: "numbers", tabindex: 0, role: "region", "aria-label": say("section.numbers")});
    this.cursor = element("input", {type: "range", id: "time", min: 0, max: 120, step: 1, value: 120, "aria-label": say("time.label")});
    this.clock = element("output", {for: "time"});
    this.cursor.addEventListener("input", () => this.point(this.view.times[Number(this.cursor.value)]));
    const hours = element("select", {id: "hours", "aria-label": say("hours.label")},
      ...[1, 2, 6, 12, 24, 48, 72].map((h) => element("option", {value: h}, `${h} h`)));
    if (![...hours.options].some((option) => Number(option.value) === state.hours)) hours.append(element("option", {value: state.hours}, `${state.hours} h`));
    hours.value = String(state.hours);
    hours.addEventListener("change", () => {
      this.state.hours = Number(hours.value);
      this.hour = null;
      this.refresh();
    });
    const results = element("div", {class: "results", id: "results"},
      element("div", {class: "time"}, element("label", {for: "time"}, say("time.label")), this.cursor, this.clock, element("label", {}, say("hours.label"), " ", hours)),
      element("section", {class: "result", id: "where"}, element("h2", {}, say("section.where")), element("p", {class: "topic"}, say("section.where.text")), this.drawings,
        element("ul", {class: "readout"}, ...key().map(([style, words]) => element("li", {}, sample(style, true), say(words))))),
      ...this.charts.sections,
      element("section", {class: "result", id: "account"}, element("h2", {}, say("section.numbers")), this.table));
    this.results = results;
    this.hidden = element("p", {class: "hidden-note", id: "hidden-note"}, say("guess.results_hidden"));
    const lesson = data.lessons.find(({id}) => id === state.lesson);
    this.lesson = null;
    const main = [this.bar()];
    if (lesson) {
      this.lessonPlace = element("div", {});
      main.push(this.lessonPlace);
    }
    main.push(element("div", {class: "desk"},
      element("div", {class: "side"}, element("h2", {}, say("section.controls")), this.difference, this.starts(), this.panel.root, this.further, this.keeping()),
      element("div", {class: "main"}, this.said, this.hidden, results)),
    element("section", {class: "about"}, element("h2", {}, say("section.about")), ...say("about").split("\n").filter(Boolean).map((text) => element("p", {}, text)),
      element("p", {class: "topic"}, `serosa ${data.program.version} (${data.program.commit})`)));
    this.root.replaceChildren(...main);
    if (lesson) {
      this.compute();
      this.lesson = lessonPanel(lesson, state.step, state.language, this.view, {
        go: (step) => this.toStep(lesson, step),
        leave: () => this.leave(),
        hide: (on) => this.hide(on),
        print: () => this.print(lesson),
      });
      this.lessonPlace.append(this.lesson.root);
    }
    this.hide(Boolean(this.lesson?.hides));
    this.refresh();
    this.lesson?.ready();
    if (matchMedia("(max-width: 40rem)").matches)
      for (const group of this.panel.root.querySelectorAll("details")) group.open = group.id === "group-bowel";
  }

  bar() {
    const {data, state} = this;
    const languages = element("select", {id: "language", "aria-label": say("language.label")},
      ...data.languages.map(({code, words}) => element("option", {value: code, lang: code}, words["language.name"])));
    languages.value = state.language;
    languages.addEventListener("change", () => {
      state.language = languages.value;
      this.lay();
      document.getElementById("language").focus();
    });
    const lessons = element("select", {id: "lessons", "aria-label": say("lesson.choose")}, element("option", {value: ""}, say("lesson.none")),
      ...data.lessons.map((lesson) => element("option", {value: lesson.id}, wordsOf(lesson, state.language).title)));
    lessons.value = state.lesson ?? "";
    lessons.addEventListener("change", () => {
      const lesson = data.lessons.find(({id}) => id === lessons.value);
      if (lesson) this.toStep(lesson, 0);
      else this.leave();
    });
    const projector = element("button", {type: "button", id: "projector", class: "choice", "aria-pressed": String(state.projector)}, say("projector"));
    projector.addEventListener("click", () => {
      state.projector = !state.projector;
      this.lay();
      document.getElementById("projector").focus();
    });
    return element("header", {class: "bar"},
      element("h1", {}, say("page.heading")),
      element("p", {class: "question"}, say("page.question")),
      element("div", {class: "choices"},
        element("label", {}, say("lesson.choose"), " ", lessons), element("label", {}, say("language.label"), " ", languages), projector));
  }

  /** From which case each of the two starts. */
  starts() {
    const row = element("div", {class: "starts"});
    for (const n of [0, 1]) {
      const baby = this.state.babies[n];
      const names = Object.keys(this.data.cases).filter((name) => !name.startsWith("lesson/"));
      const select = element("select", {"data-start": letters[n], "aria-label": `${letters[n]} ${say("start.label")}`}, ...names.map((name) => element("option", {value: name}, titleOf(name, this.data))));
      if (!names.includes(baby.from)) select.prepend(element("option", {value: ""}, say(baby.text ? "start.file" : "start.lesson")));
      select.value = names.includes(baby.from) ? baby.from : "";
      select.addEventListener("change", () => {
        if (!select.value) return;
        this.state.babies[n] = {from: select.value, set: {until: String(Math.max(24, this.data.cases[select.value].until))}};
        if (!this.controls.find(({id}) => id === "until").options.includes(this.state.babies[n].set.until)) this.state.babies[n].set = {};
        this.state.apart = [];
        this.refresh();
      });
      row.append(element("label", {}, element("span", {class: `tag of-${letters[n]}`}, letters[n]), " ", say("start.label"), select));
    }
    return element("details", {class: "group"}, element("summary", {}, say("group.start")), row);
  }

  /** Reset, link, save, open. */
  keeping() {
    const button = (id, words, action) => element("button", {type: "button", id, onclick: action}, words);
    const file = element("input", {type: "file", id: "file", accept: ".yaml", class: "away", tabindex: -1, "aria-hidden": "true"});
    let opening = 0;
    file.addEventListener("change", async () => {
      if (!file.files.length) return;
      this.open(opening, await file.files[0].text());
      file.value = "";
    });
    const of = (n) => element("span", {class: "pair"}, element("span", {class: `tag of-${letters[n]}`}, letters[n]),
      button(`save-${letters[n]}`, say("keep.save", {letter: letters[n]}), () => this.save(n)),
      button(`open-${letters[n]}`, say("keep.open", {letter: letters[n]}), () => {
        opening = n;
        file.click();
      }));
    this.link = element("input", {type: "text", id: "link", readonly: true, hidden: true, "aria-label": say("keep.link.label")});
    return element("div", {class: "keeping"},
      button("reset", say("keep.reset"), () => {
        this.state = {...beginning(), language: this.state.language, projector: this.state.projector};
        this.hour = null;
        history.replaceState(null, "", location.pathname);
        this.lay();
        this.tell(say("keep.reset.done"));
      }),
      button("share", say("keep.link"), () => this.share()), of(0), of(1), file, this.link);
  }

  // ---- What the hand does -----------------------------------------------------------------

  change(id, baby, value) {
    for (const n of [0, 1]) if (baby === null || baby === n) this.state.babies[n].set[id] = value;
    this.soon();
  }
  part(id, apart) {
    const others = this.state.apart.filter((other) => other !== id);
    this.state.apart = apart ? [...others, id] : others;
    if (!apart) this.state.babies[1].set[id] = this.controls.find((control) => control.id === id).get(this.cases[0]);
    this.refresh();
  }
  /** At most once for each picture that the screen shows. */
  soon() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.refresh();
    });
  }
  toStep(lesson, step) {
    const {first, second} = lesson.steps[step];
    const same = this.state.lesson === lesson.id && step > 0 && lesson.steps[step - 1].first === first && lesson.steps[step - 1].second === second && this.state.step === step - 1;
    if (!same) this.state.babies = [{from: first, set: {}}, {from: second, set: {}}];
    Object.assign(this.state, {lesson: lesson.id, step, hours: lesson.hours});
    if (!same) this.state.apart = [];
    this.hour = null;
    this.lay();
    document.getElementById("lesson-title").focus();
    document.getElementById("lesson").scrollIntoView({block: "start"});
  }
  leave() {
    Object.assign(this.state, {lesson: null, step: 0});
    this.lay();
    document.getElementById("lessons").focus();
  }
  hide(on) {
    this.hiding = on;
    this.results.hidden = on;
    this.hidden.hidden = !on;
    if (!on && this.cases) this.refresh();
  }
  print(lesson) {
    document.querySelector(".worksheet")?.remove();
    document.body.append(worksheet(lesson, this.state.language, this.view.babies.map((baby) => say("chart.of", baby)), say("caution")));
    document.body.classList.add("printing-worksheet");
    print();
  }
  share() {
    history.replaceState(null, "", `#${toFragment(this.state)}`);
    this.link.hidden = false;
    this.link.value = location.href;
    this.link.focus();
    this.link.select();
    this.tell(say("keep.link.done"));
  }
  save(n) {
    const one = {...this.cases[n], title: `${letters[n]}: ${this.view.babies[n].title}`};
    save(`serosa-${letters[n]}.yaml`, "application/yaml", writeCase(one, this.data));
    this.tell(say("keep.save.done", {letter: letters[n]}));
  }
  open(n, text) {
    let own;
    try {
      own = asSaved(text, this.data);
    } catch (fault) {
      this.tell(`${say("keep.open.refused")} ${say(`unread.${fault.why}`, {about: fault.about})}`, true);
      return;
    }
    this.state.babies[n] = {text: own, set: {}};
    this.state.apart = [];
    this.lay();
    this.tell(say("keep.open.done", {letter: letters[n]}));
  }
  tell(words, wrong = false) {
    this.said.textContent = words;
    this.said.classList.toggle("wrong", wrong);
  }

  // ---- From what is chosen to what is seen --------------------------------------------------

  /** The two cases and their courses; false when the model would not run one. */
  compute() {
    const {data, state} = this;
    this.cases = state.babies.map((baby) => built(baby, data, this.controls));
    const until = Math.max(...this.cases.map((one) => one.until));
    const hours = Math.min(state.hours, until);
    const steps = 120;
    const times = Array.from({length: steps + 1}, (_, i) => (i === steps ? hours : (hours * i) / steps));
    const asked = this.currentGuess();
    if (asked && asked.at <= hours && !times.some((t) => Math.abs(t - asked.at) < 1e-9)) times.push(asked.at);
    times.sort((a, b) => a - b);
    const ordinaryCare = data.cases[ordinary];
    const before = performance.now();
    let results;
    try {
      results = this.cases.map((one) => {
        const grid = one.until > hours ? [...times, one.until] : times.filter((t) => t < one.until).concat(one.until);
        return this.run([one], grid)[0];
      });
    } catch (fault) {
      if (fault instanceof Refused) this.tell(refusal(fault), true);
      else this.tell(say("failed", {message: fault.message}), true);
      return false;
    }
    this.timing.model = performance.now() - before;
    const twins = this.cases.map((one) => this.twin(one, ordinaryCare, times, until));
    this.view.times = times;
    this.titles = this.titlesOf();
    this.view.babies = results.map((result, n) => {
      const cut = (list) => Float64Array.from(times, (_, i) => (i < list.length ? list[i] : NaN));
      const values = Object.fromEntries(Object.entries(result.values).map(([name, list]) => [name, cut(list)]));
      const one = this.cases[n];
      return {
        letter: letters[n], title: this.titles[n], weight: result.body.weight, values, exposed: Boolean(one.exposed),
        done: result.done, finished: result.finished, status: data.statuses[result.status], end: result.end, mattress: result.mattress,
        against: twins[n].map((volume, i) => volume - values.blood_volume[i]),
        cover: (hour) => {
          const acts = one.timeline.filter((act) => ["cover", "uncover", "close"].includes(act.act) && act.at <= hour).sort((a, b) => a.at - b.at);
          return acts.at(-1)?.act === "cover" && acts.at(-1).cover !== "none";
        },
      };
    });
    return true;
  }

  /** Blood volume of the same newborn, bowel inside, under ordinary care; kept while nothing of it changes. */
  twin(one, care, times, until) {
    const clamped = one.timeline.filter((act) => act.act === "clamp-cord").at(-1)?.at ?? one.baby.cord_clamped_at;
    const twin = {...care, baby: one.baby, cord_clamped_at: clamped, parameters: one.parameters, until: one.until};
    const name = JSON.stringify([twin.baby, clamped, one.parameters, times, one.until]);
    this.twins ??= new Map();
    if (!this.twins.has(name)) {
      const grid = one.until > times[times.length - 1] ? [...times, one.until] : times.filter((t) => t < one.until).concat(one.until);
      if (this.twins.size > 50) this.twins.clear();
      this.twins.set(name, this.run([twin], grid)[0].values.blood_volume);
    }
    const list = this.twins.get(name);
    return times.map((_, i) => (i < list.length ? list[i] : NaN));
  }

  currentGuess() {
    const lesson = this.data.lessons.find(({id}) => id === this.state.lesson);
    return lesson?.steps[this.state.step].guess ?? null;
  }

  /** Controls in which the two differ. */
  differing() {
    return this.controls.filter((control) => {
      const [a, b] = this.cases.map((one) => control.get(one));
      return a !== null && b !== null && a !== b;
    });
  }

  /** What each of the two is called: by what tells them apart. */
  titlesOf() {
    const differing = this.differing();
    return [0, 1].map((n) => {
      if (!differing.length) return say("title.same");
      const words = differing.slice(0, 2).map((control) => {
        const text = `${labelOf(control)}: ${valueWords(control, control.get(this.cases[n]))}`;
        // A wrap's name says more with its time.
        const wrapped = control.id === "cover" ? this.controls.find(({id}) => id === "wrapped_at").get(this.cases[n]) : null;
        return wrapped === null ? text : `${text}, ${say("title.at", {time: time(wrapped / 60)})}`;
      });
      return words.join("; ") + (differing.length > 2 ? " …" : "");
    });
  }

  refresh() {
    const before = performance.now();
    if (!this.compute()) return;
    if (this.said.classList.contains("wrong")) this.tell("");
    const values = this.cases.map((one) => Object.fromEntries(this.controls.map((control) => [control.id, control.get(one)])));
    this.panel.update(values, new Set(this.state.apart));
    this.showDifference();
    this.showFurther();
    for (const baby of this.view.babies)
      if (!baby.finished) this.tell(say("ended", {letter: baby.letter, time: time(baby.end), message: say(known(`status.${baby.status}`) ? `status.${baby.status}` : "status.other")}), true);
    const last = this.view.times.length - 1;
    this.cursor.max = String(last);
    this.hour = Math.min(this.hour ?? Infinity, this.view.times[last]);
    this.view.index = this.nearest(this.hour);
    if (!this.hiding) {
      this.charts.update();
      this.showTime();
    }
    this.timing.redraw = performance.now() - before;
    this.root.setAttribute("data-ready", "");
    this.root.setAttribute("data-timing", JSON.stringify(this.timing));
  }

  /** What stays in sight below the caution begins where it ends, however many lines it has. */
  placeCaution() {
    document.documentElement.style.setProperty("--below", `${document.getElementById("caution").offsetHeight}px`);
  }

  followWidth() {
    this.placeCaution();
    const width = this.root.clientWidth;
    if (width === this.width) return;
    this.width = width;
    if (!this.hiding && this.view.babies.length) this.charts.update();
    this.lesson?.ready();
  }

  nearest(hour) {
    let best = 0;
    this.view.times.forEach((t, i) => {
      if (Math.abs(t - hour) < Math.abs(this.view.times[best] - hour)) best = i;
    });
    return best;
  }

  point(hour) {
    this.view.index = this.nearest(hour);
    this.hour = this.view.times[this.view.index];
    this.charts.point();
    this.showTime();
  }

  showTime() {
    const {index, times, babies} = this.view;
    const hour = times[index];
    this.cursor.value = String(index);
    this.cursor.setAttribute("aria-valuetext", say("time.after", {time: time(hour)}));
    this.clock.textContent = say("time.after", {time: time(hour)});
    this.drawings.replaceChildren(...babies.map((baby) =>
      element("figure", {}, element("figcaption", {}, element("h3", {}, say("chart.of", baby))), drawing(baby, index, hour, this.state.projector ? 1.25 : 1))));
    this.showTable(hour);
  }

  showTable(hour) {
    const {babies, index} = this.view;
    const row = (style, label, of, {area = true, count = 1, total = false} = {}) => {
      const [a, b] = babies.map(of);
      return element("tr", {class: total ? "total" : null},
        element("th", {scope: "row", class: "swatch"}, style ? sample(style, area) : null, label),
        ...[a, b, b - a].map((x) => element("td", {}, digits(x, count))));
    };
    const perKg = (name, sign = 1) => (baby) => (sign * baby.values[name][index]) / baby.weight;
    const now = (name, scale = 1) => (baby) => baby.values[name][index] * scale;
    const head = (text) => element("tr", {class: "part"}, element("th", {scope: "colgroup", colspan: 4}, text));
    this.table.replaceChildren(element("table", {},
      element("caption", {}, say("numbers.caption", {time: time(hour)})),
      element("thead", {}, element("tr", {}, ...["", "A", "B", say("numbers.difference")].map((text) => element("th", {scope: "col"}, text)))),
      element("tbody", {},
        head(say("numbers.routes")),
        ...routes.map(({style, of, sign}) => row(style, say(`route.${style}`), perKg(of[0], sign))),
        head(say("numbers.deficits")),
        ...deficits.map(({style, of}) => row(style, say(`deficit.${style}`), perKg(of), {area: false, total: style === "circulating"})),
        row("against_ordinary", say("deficit.against_ordinary"), (baby) => baby.against[index] / baby.weight, {area: false}),
        row(null, say("output.third_space"), perKg("third_space")),
        head(say("numbers.others")),
        row(null, `${say("output.core_temperature")}, °C`, now("core_temperature")),
        row(null, `${say("output.bowel_temperature")}, °C`, now("bowel_temperature")),
        row(null, `${say("output.haematocrit")}, %`, now("haematocrit", 100)),
        row(null, `${say("output.plasma_sodium")}, mmol/L`, now("plasma_sodium")),
        row(null, `${say("output.weight_change")}, g`, now("weight_change")))));
  }

  showDifference() {
    const differing = this.differing();
    const words = (control) => element("p", {class: "one-difference"}, element("strong", {}, `${labelOf(control)}: `),
      element("span", {class: "tag of-A"}, "A"), ` ${valueWords(control, control.get(this.cases[0]))} `,
      element("span", {class: "tag of-B"}, "B"), ` ${valueWords(control, control.get(this.cases[1]))}`);
    this.difference.replaceChildren(
      element("h3", {}, say(differing.length === 0 ? "difference.none" : differing.length === 1 ? "difference.one" : "difference.many", {count: differing.length})),
      ...differing.map(words));
  }

  showFurther() {
    const list = (words, rows) => (rows.length ? [element("p", {}, words), element("ul", {}, ...rows.map((text) => element("li", {}, text)))] : []);
    const further = this.cases.flatMap((one, n) => furtherActs(one).map((act) => `${letters[n]}: ${say(`act.${act.act}`)} (${time(act.at)})`));
    const followed = this.cases.flatMap((one, n) => {
      if (!one.protocol) return [];
      const {rules, title, name} = one.protocol;
      // Each rule with the hours at which it acted, told by what it does.
      const acted = rules.map((rule, r) => [rule, this.view.babies[n].done.filter((done) => done.rule === r).map(({at}) => time(at))]);
      return [`${letters[n]}: ${known(`protocol.${name}`) ? say(`protocol.${name}`) : title}. ` +
        (acted.filter(([, hours]) => hours.length).map(([rule, hours]) => `${say(`act.${rule.deed.act}`)} (${hours.join(", ")})`).join("; ") || say("further.no_rule"))];
    });
    this.further.replaceChildren(...list(say("further.protocol"), followed), ...list(say("further.acts"), further));
  }
}

async function build() {
  const data = JSON.parse(document.getElementById("data").textContent);
  try {
    const run = await start(bytesOf(document.getElementById("module").textContent), data);
    const page = new Page(data, run);
    // For tests: figures of a shipped case at some hours, and the page itself.
    window.serosa = {data, page, known, writeCase: (one) => writeCase(one, data), readCase: (text) => readCase(text, data), asSaved: (text) => asSaved(text, data), refusal, run: (name, times) => run([data.cases[name]], times)[0], runOf: (one, times) => run([one], times)[0]};
  } catch (fault) {
    document.getElementById("page").replaceChildren(element("p", {class: "wrong", role: "alert"}, String(fault.message ?? fault)));
    throw fault;
  }
}

build();
