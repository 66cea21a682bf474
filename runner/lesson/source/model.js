// SPDX-License-Identifier: Apache-2.0
// The compiled model: cases of the page's data in, outputs on a time grid out. What goes over is a
// row of numbers, in the order that `layout` tells (runner/lesson/wire.hpp, core.cpp).

/** What the model said about a case that it would not run. */
export class Refused extends Error {
  constructor(message, baby, act) {
    super(message);
    this.baby = baby;
    this.act = act;
  }
}

const number = (x) => (x === null || x === undefined ? NaN : x);

function put(row, fields, values) {
  for (const key of fields) row.push(number(values[key]));
}

/**
 * The acts in the order of their times; at equal times the orders of a protocol come last. Orders after
 * the end are left out: a protocol is written for days.
 */
export function inOrder(one) {
  const order = (act) => (act.order ? 1 : 0);
  return one.timeline.filter((act) => !act.order || act.at <= one.until).sort((a, b) => a.at - b.at || order(a) - order(b));
}

function putDeed(row, deed, layout) {
  const kind = layout.acts.findIndex((entry) => entry.word === deed.act);
  row.push(kind);
  put(row, layout.acts[kind].fields, deed);
}

function putConditions(row, conditions, layout) {
  row.push(conditions.length);
  for (const condition of conditions) put(row, layout.condition, condition);
}

function putProtocol(row, one, layout) {
  const {protocol} = one;
  put(row, layout.chart, one);
  put(row, layout.protocol, protocol);
  row.push(protocol.readings.length);
  for (const reading of protocol.readings) put(row, layout.reading, reading);
  row.push(protocol.rules.length);
  for (const rule of protocol.rules) {
    put(row, layout.rule, rule);
    putConditions(row, rule.when, layout);
    putConditions(row, rule.unless, layout);
    putDeed(row, rule.deed, layout);
  }
}

function putCase(row, one, data) {
  const {layout, parameters} = data;
  const clamped = one.timeline.filter((act) => act.act === "clamp-cord").at(-1);
  // A newborn whose cord was clamped otherwise than its care says (a twin under ordinary care) says so.
  put(row, layout.baby, {...one.baby, cord_clamped_at: one.cord_clamped_at ?? clamped?.at ?? one.baby.cord_clamped_at});
  put(row, layout.case, one);
  put(row, layout.room, one.room);
  const changed = Object.entries(one.parameters);
  row.push(changed.length);
  for (const [name, value] of changed) row.push(parameters.names.indexOf(name), value);
  const timeline = inOrder(one);
  row.push(timeline.length);
  for (const act of timeline) {
    putDeed(row, act, layout);
    row.push(act.at);
  }
  row.push(one.protocol ? 1 : 0);
  if (one.protocol) putProtocol(row, one, layout);
}

/**
 * Starts the module.
 * @returns run(cases, times) => [{status, finished, end, evaluations, mattress, body, values: {name: Float64Array}, done: [{at, rule}]}]
 */
export async function start(bytes, data) {
  let memory = null;
  const {instance} = await WebAssembly.instantiate(bytes, {
    env: {emscripten_notify_memory_growth() {}},
    wasi_snapshot_preview1: {
      proc_exit(code) {
        throw new Error(`the model stopped (${code})`);
      },
    },
  });
  const {exports} = instance;
  memory = exports.memory;
  exports._initialize();
  const message = () => {
    const all = new Uint8Array(memory.buffer);
    const from = exports.serosa_message();
    return new TextDecoder().decode(all.subarray(from, all.indexOf(0, from)));
  };
  const count = data.outputs.length;
  return (cases, times) => {
    const row = [times.length, ...times, ...data.parameters.values, cases.length];
    for (const one of cases) putCase(row, one, data);
    const input = exports.serosa_input(row.length);
    new Float64Array(memory.buffer, input, row.length).set(row);
    const ended = exports.serosa_run();
    const output = new Float64Array(memory.buffer, exports.serosa_output(), exports.serosa_output_count());
    if (ended === 1) throw new Refused(message(), output[0], inOrder(cases[output[0]])[output[1]]);
    if (ended !== 0) throw new Error(message());
    let next = 0;
    return cases.map(() => {
      const [status, end, evaluations, mattress] = output.subarray(next, next + 4);
      next += 4;
      const body = Object.fromEntries(data.body.map((name) => [name, output[next++]]));
      const values = {};
      data.outputs.forEach(({name}, o) => {
        values[name] = Float64Array.from(times, (_, t) => output[next + t * count + o]);
      });
      next += times.length * count;
      const done = Array.from({length: output[next++]}, () => ({at: output[next++], rule: output[next++]}));
      return {status, finished: status === 0, end, evaluations, mattress, body, values, done};
    });
  };
}

/** Base 64 to bytes. */
export function bytesOf(text) {
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
}
