// SPDX-License-Identifier: Apache-2.0
import {bytesOf, start} from "./model.js";

async function build() {
  const data = JSON.parse(document.getElementById("data").textContent);
  const run = await start(bytesOf(document.getElementById("module").textContent), data);
  // For tests: figures of a shipped case at some hours.
  window.serosa = {data, run: (name, times) => run([data.cases[name]], times)[0]};
  document.getElementById("page").setAttribute("data-ready", "");
}

build();
