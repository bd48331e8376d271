// Calibrating a probe and plunging it, step by step, with wet hands. The numbers are the server's: this page says only
// which stretch of readings counts and what the probe was held in.

import { give, tell, who } from "./give.js";
import { kitchen, presentInstant, trouble } from "./live.js";
import { traced } from "./small.js";
import { clock } from "./time.js";
import { h, show } from "./tree.js";

const place = (name) => document.getElementById(name);
const ASK = 1_000;
const CAUTIONS = [
  "Clean and disinfect the probe before it goes back into food.",
  "Don't calibrate a probe that stands in a running batch, and look after its station by hand meanwhile.",
  "Boiling water, steam and hot baths burn. Below −20 °C bare skin freezes to metal.",
];
const TITLES = { calibration: "Calibrate", plunge: "Plunge test" };

let at = null; // {kind, id, live, after, points, latest, since, window}
let asking = 0;
let turn = 0; // answers to an earlier question don't count

export const testWords = (probe) => probe.tested_until && probe.tested_until > presentInstant()
  ? `Being tested until ${clock(probe.tested_until, kitchen.view.kitchen.zone)} at the latest: its readings decide nothing.` : "";

export function openMeasuring(kind, id, live, after) {
  if (!at || at.kind !== kind) {
    for (const name of ["preview", "points", "plunge-preview"]) show(place(name));
    for (const name of ["calibrate-trouble", "plunge-trouble"]) place(name).textContent = "";
    place("keep-calibration").disabled = place("keep-plunge").disabled = place("fit").disabled = true;
    at = { kind, id, live, after, points: [], latest: null, since: null, window: null };
    if (kind === "calibration") pointList();
  }
  place("measure").hidden = place("test-part").hidden = false;
  place("kept").hidden = true;
  place("measure-title").textContent = `${TITLES[kind]}: ${live().name}`;
  show(place("measure-cautions"), CAUTIONS.map((words) => h("li", {}, words)));
  place("calibrate-part").hidden = kind !== "calibration";
  place("plunge-part").hidden = kind !== "plunge";
  place("measure").scrollIntoView({ block: "start" });
  place("measure-title").focus({ preventScroll: true });
  clearInterval(asking);
  asking = setInterval(ask, ASK);
  steps();
  ask();
}

function close() {
  clearInterval(asking);
  place("measure").hidden = true;
  if (testWords(at.live())) tell("The test still goes on. End it when the probe is back in its place.");
  at = null;
}

const underTest = () => Boolean(testWords(at.live()));

function steps() {
  const on = underTest();
  place("tested-words").textContent = on ? testWords(at.live()) : "While it is tested its readings are kept, but raise no alarm and prove nothing.";
  place("begin").hidden = on;
  place("end").hidden = !on;
}

place("begin").addEventListener("click", async () => {
  await give({ command: "begin-test", probe: at.id, why: at.kind === "plunge" ? "plunge test" : "calibration" });
});
place("end").addEventListener("click", async () => {
  await give({ command: "end-test", probe: at.id });
});
place("measure-close").addEventListener("click", close);

// --- the live trace ---------------------------------------------------------------------------------------

async function ask() {
  if (!at) return;
  steps();
  const mine = at;
  // The next point comes from readings after the last one: a bath that was changed must settle anew.
  const query = at.kind === "plunge" && at.since ? `since=${Math.floor(at.since)}` : at.points.length ? `after=${Math.floor(at.points.at(-1).until + 1)}` : "";
  let view;
  try {
    const response = await fetch(`/api/probes/${encodeURIComponent(at.id)}/steadiness?${query}`);
    view = await response.json();
    if (!response.ok) view = { times: [], values: [], why: view.sentence, steady: false };
  } catch {
    view = { times: [], values: [], why: "The kitchen did not answer.", steady: false };
  }
  if (at !== mine) return;
  at.latest = view;
  const words = trouble() || view.why || "Steady.";
  const shown = view.last_shown ?? "—";
  if (at.kind === "plunge") {
    place("plunge-number").textContent = shown;
    place("plunge-words").textContent = at.since ? `Recording since ${clock(at.since, kitchen.view.kitchen.zone, true)}: ${view.times.length} readings.` : words;
    show(place("plunge-trace"), traced({ ...view, since: null }, "Trace of the probe"));
    place("fit").disabled = !at.since || view.times.length < 6;
    return;
  }
  place("live-number").textContent = shown;
  place("live-words").textContent = view.steady ? `Steady: mean ${view.mean_shown}, spread ${view.spread_shown}, ${view.drift_shown}.` : words;
  place("live-words").dataset.steady = view.steady ? "yes" : "no";
  show(place("live-trace"), traced(view, `Trace of the probe, uncorrected. ${words}`));
  offerTake();
}

// --- points of a calibration ------------------------------------------------------------------------------

const chosen = () => document.querySelector('input[name="method"]:checked')?.value ?? "";
const numberIn = (name) => {
  const text = place(name).value.trim().replace(",", ".").replace("−", "-");
  return text === "" || Number.isNaN(Number(text)) ? null : Number(text);
};

// What the probe is held in, or a sentence on what is missing.
function reference() {
  const method = chosen();
  if (!method) return "Choose what the probe is held in.";
  if (method === "boiling point") {
    const pressure = numberIn("pressure"), metres = numberIn("metres");
    if (pressure !== null) return { method, kilopascal: Math.round(pressure * Number(place("pressure-unit").value) * 1e4) / 1e4 };
    return metres === null ? "Give the air pressure of this place." : { method, metres };
  }
  if (method === "comparison") {
    const celsius = numberIn("reference"), expanded = numberIn("expanded");
    if (celsius === null) return "Give what the reference shows, in °C.";
    if (expanded === null) return "Give the reference's expanded uncertainty, from its certificate.";
    return { method, celsius, expanded, certificate: place("certificate").value.trim() };
  }
  return { method };
}

function offerTake() {
  const what = reference();
  const missing = !underTest() ? "Begin the test first." : typeof what === "string" ? what : at.latest?.steady ? "" : at.latest?.why ?? "";
  place("take").disabled = Boolean(missing);
  place("take-why").textContent = missing && missing !== at.latest?.why ? missing : "";
}

function dress() {
  const method = chosen();
  place("for-boiling").hidden = place("burns").hidden = method !== "boiling point";
  place("for-comparison").hidden = method !== "comparison";
  place("altitude-loud").hidden = !(numberIn("metres") !== null && numberIn("pressure") === null);
  if (at) offerTake();
}
place("calibrate-part").addEventListener("input", dress);

place("take").addEventListener("click", async () => {
  const what = reference();
  if (typeof what === "string" || !at.latest?.steady) return;
  at.points.push({ ...what, since: at.latest.since, until: at.latest.until });
  for (const radio of document.querySelectorAll('input[name="method"]')) radio.checked = false;
  dress();
  await work();
});

async function post(path, body) {
  try {
    const response = await fetch(`/api/probes/${encodeURIComponent(at.id)}/${path}`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Rimekeeper-Page": "1" },
      body: JSON.stringify({ ...body, who: who() }),
    });
    return await response.json();
  } catch {
    return { accepted: false, sentence: "The kitchen did not answer. Nothing may have been kept; look again when it is live." };
  }
}

const table = (head, rows) => h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": head[0] }, h("table", {},
  h("thead", {}, h("tr", {}, head.map((name) => h("th", { scope: "col" }, name)))),
  h("tbody", {}, rows.map((row) => h("tr", {}, row.map((cell, column) => h(column ? "td" : "th", column ? {} : { scope: "row" }, cell)))))));

function pointWords(point) {
  if (point.method === "boiling point") return point.metres === undefined ? `boiling point at ${point.kilopascal} kPa` : `boiling point at ${point.metres} m, pressure not measured`;
  return point.method === "comparison" ? `comparison at ${point.celsius} °C ± ${point.expanded} K` : point.method;
}

function pointList() {
  show(place("points"), at.points.length
    ? h("ol", { class: "taken" }, at.points.map((point, number) => h("li", { "data-key": String(point.until) },
        h("span", {}, `${pointWords(point)}, ${clock(point.since, kitchen.view.kitchen.zone, true)} to ${clock(point.until, kitchen.view.kitchen.zone, true)}`),
        h("button", { type: "button", "data-drop": String(number), "aria-label": `Leave out point ${number + 1}` }, "Leave out"))))
    : h("p", { class: "plain" }, "No point taken yet. One point corrects by the same everywhere; two or more, 20 °C apart, by straight lines."));
}

// Ask the server what the points taken so far would give.
async function work() {
  pointList();
  const mine = ++turn;
  place("keep-calibration").disabled = true;
  place("calibrate-trouble").textContent = "";
  if (!at.points.length) {
    show(place("preview"));
    return;
  }
  const found = await post("calibration", { points: at.points });
  if (!at || mine !== turn) return;
  if (!found.accepted) {
    show(place("preview"));
    place("calibrate-trouble").textContent = found.sentence;
    return;
  }
  const { preview } = found;
  show(place("preview"),
    table(["Point", "Reference", "Probe shows", "Error as found", "Error as left", "U (k = 2)"],
      preview.points.map((one) => [h("span", {}, one.method, h("small", {}, one.remark)), one.reference_shown, one.shown_shown, one.as_found_shown, one.as_left_shown, one.unsure_shown])),
    table(["At", "Reading moves by", `U before (${preview.before_words})`, "U with this one"], preview.places.map((one) => [one.where, one.moves_shown, one.before_shown, one.after_shown])),
    h("p", { class: "small" }, `The next calibration would be due on ${preview.due_shown}.`));
  place("keep-calibration").disabled = false;
}

place("points").addEventListener("click", (event) => {
  const button = event.target.closest("[data-drop]");
  if (!button) return;
  at.points.splice(Number(button.dataset.drop), 1);
  work();
});

// After something was kept the probe may still be hot and wet: the test goes on until somebody says that it is back.
async function kept(answer) {
  tell(answer.sentence);
  if (!at) return; // closed meanwhile: the notice on closing has said that the test goes on
  clearInterval(asking);
  place("kept-words").textContent = `Kept: ${answer.sentence}`;
  place("kept-record").href = `/certificates/${answer.number}`;
  place("kept").hidden = false;
  place("test-part").hidden = place("calibrate-part").hidden = place("plunge-part").hidden = true;
  place("kept").scrollIntoView({ block: "nearest" });
  place("kept-end").focus({ preventScroll: true });
  await at.after();
}

place("kept-end").addEventListener("click", async () => {
  const answer = await give({ command: "end-test", probe: at.id });
  if (answer.ignored) return;
  if (!answer.accepted && underTest()) return;
  close();
});

place("keep-calibration").addEventListener("click", async () => {
  place("keep-calibration").disabled = true;
  const answer = await post("calibration", { points: at.points, note: place("calibration-note").value.trim(), keep: true });
  if (answer.accepted) {
    await kept(answer);
    return;
  }
  place("calibrate-trouble").textContent = answer.sentence;
  place("keep-calibration").disabled = false;
});

// --- plunge -----------------------------------------------------------------------------------------------

place("record").addEventListener("click", () => {
  if (!underTest()) {
    place("plunge-trouble").textContent = "Begin the test first.";
    return;
  }
  place("plunge-trouble").textContent = "";
  at.since = presentInstant();
  at.window = null;
  place("keep-plunge").disabled = true;
  show(place("plunge-preview"));
  place("record").textContent = "Record anew from here";
});

place("fit").addEventListener("click", async () => {
  const { times } = at.latest;
  at.window = { since: times[0], until: times.at(-1), medium: place("medium").value };
  const found = await post("plunge", at.window);
  if (!at) return;
  place("keep-plunge").disabled = !found.accepted;
  place("plunge-trouble").textContent = found.accepted ? "" : found.sentence;
  if (!found.accepted) {
    show(place("plunge-preview"));
    return;
  }
  const { preview } = found;
  show(place("plunge-preview"),
    h("p", { class: "result" }, "Time constant ", h("b", {}, preview.words), ` in ${preview.medium} (k = 2)`),
    traced(preview, "Readings of the plunge with the fitted curve", preview.fitted),
    h("p", { class: "small" }, `From ${preview.began_shown} to ${preview.ended_shown}, ${preview.readings} readings; the fit (dashed) leaves ${preview.residual_shown}. 90 % after ${preview.seconds_90.toFixed(1)} s. ${preview.remark}`));
});

place("keep-plunge").addEventListener("click", async () => {
  place("keep-plunge").disabled = true;
  const answer = await post("plunge", { ...at.window, note: place("plunge-note").value.trim(), keep: true });
  if (answer.accepted) {
    await kept(answer);
    return;
  }
  place("plunge-trouble").textContent = answer.sentence;
  place("keep-plunge").disabled = false;
});
