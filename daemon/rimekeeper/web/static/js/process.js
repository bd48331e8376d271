// The rows of a heat table and the checkpoints of a cooling, on a lane and on the batch page.

import { h } from "./tree.js";

const state = (one) => (one.met ? "met" : one.missed ? "missed" : one.running ? "running" : "open");
const WORDS = { met: "✓ ", missed: "✗ ", running: "… ", open: "" };

const line = (one) => h("li", { "data-state": state(one) },
  h("b", {}, one.wanted), h("span", {}, `${WORDS[state(one)]}${one.words}`));

export function heatRows(heat) {
  return heat ? h("div", { class: "proof", "data-key": "heat" },
    h("p", { class: "proof-title", title: heat.source }, `One row is enough: ${heat.title}`),
    h("ul", {}, heat.rows.map(line)),
    heat.lethality_shown ? h("p", { class: "proof-note" }, heat.lethality_shown) : null) : null;
}

// What lies ahead is said only of readings of this moment; what was met stays said.
export function checkpoints(cooling, known = true) {
  return cooling ? h("div", { class: "proof", "data-key": "cooling" },
    h("p", { class: "proof-title", title: cooling.source },
      cooling.started_shown ? `${cooling.title}, from ${cooling.start_shown} at ${cooling.started_shown}` : `${cooling.title}: its clock begins as it falls through ${cooling.start_shown}`),
    h("ul", {}, cooling.checkpoints.map(line)),
    known && cooling.ahead ? h("p", { class: "proof-note", "data-late": cooling.late ? "yes" : "no" }, cooling.ahead) : null) : null;
}
