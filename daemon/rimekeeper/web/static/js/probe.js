import "./shell.js";
import { Chart } from "./chart.js";
import { believed, number } from "./fresh.js";
import { calibrationLine, factsOf, recordPath } from "./instrument.js";
import { kitchen, onView } from "./live.js";
import { openMeasuring, testWords } from "./measuring.js";
import { strip } from "./small.js";
import { h, show } from "./tree.js";

const place = (name) => document.getElementById(name);
const DAY = 86_400_000;
let data = JSON.parse(place("data").textContent);
let chart = null;
const id = data.probe.id;

const live = () => kitchen.view.probes.find((one) => one.id === id) ?? data.probe;

function head() {
  const probe = live();
  const now = believed(probe);
  const inBatch = Boolean(probe.batch);
  const tested = testWords(probe);
  show(place("head"),
    h("div", { class: "temp", "data-fresh": now.fresh ? "yes" : "no", "data-sure": probe.quality === "good" ? "yes" : "no" }, number(probe, now.fresh), h("p", { class: "age" }, now.words)),
    h("div", { class: "probe-words" },
      tested ? h("p", { class: "held" }, tested) : null,
      calibrationLine(data.measured.calibration),
      probe.ahead_shown ? h("p", {}, "Heading for ", h("b", {}, probe.ahead_shown), " with its lag allowed for. For prompts; it proves nothing.") : null,
      h("p", { class: "small" }, "Health ", h("b", {}, probe.health), probe.health_why ? `: ${probe.health_why}` : "", `. ${probe.id}, ${probe.source_name} channel ${probe.channel}.`),
      inBatch ? h("p", { class: "small" }, `In batch ${probe.batch} as ${probe.role}: it can be tested when the batch is over.`) : null),
    h("p", { class: "buttons" },
      h("button", { type: "button", class: "do", "data-open": "calibration", disabled: inBatch }, "Calibrate"),
      h("button", { type: "button", "data-open": "plunge", disabled: inBatch }, "Plunge test"),
      probe.tested_until
        ? h("button", { type: "button", "data-key": "end", "data-give": JSON.stringify({ command: "end-test", probe: id }) }, "End test")
        : h("button", { type: "button", "data-key": "begin", disabled: inBatch, "data-give": JSON.stringify({ command: "begin-test", probe: id, why: "looked at" }),
            "data-sure": JSON.stringify({ title: "Begin a test?", text: "Its readings are kept but decide nothing until you end the test, or for an hour: no alarm of a station or stage rests on them.", why: false, act: "Begin the test", leave: "Leave it in its place" }) }, "Begin test")));
}

function words() {
  show(place("strip"), strip(data.measured.day), h("p", { class: "small" }, data.measured.day.words));
  show(place("instrument"), factsOf(data.measured));
  show(place("history"), data.history.length
    ? h("ol", { class: "events records" }, data.history.map((one) => h("li", { "data-key": String(one.number) },
        h("time", {}, one.at_shown), h("span", {}, h("b", {}, one.kind), one.in_use ? " (in use)" : "", `: ${one.words}, by ${one.by}`), h("a", { class: "button", href: recordPath(one.number), "aria-label": `Record number ${one.number}` }, `No. ${one.number}`))))
    : h("p", { class: "plain" }, "Nothing was measured of it yet. Until then its stated accuracy is counted against every critical limit."));
}

async function drawCurve() {
  let curve;
  try {
    const query = new URLSearchParams({ probe: id, since: String(kitchen.view.now - DAY), until: String(kitchen.view.now + 1), points: "1500" });
    curve = await (await fetch(`/api/readings?${query}`)).json();
  } catch {
    return; // The page already says that it is not live.
  }
  if (!curve.times?.length) {
    return; // The words above the curve say so.
  }
  const options = { series: [{ label: live().name, x: curve.times, y: curve.values }] };
  if (chart) {
    chart.update(options);
    return;
  }
  const inside = h("div");
  place("curve").replaceChildren(inside);
  chart = new Chart(inside, { label: `Last 24 hours of ${live().name}`, zone: kitchen.view.kitchen.zone, unit: curve.unit, ...options });
}

async function again() {
  try {
    const response = await fetch(`/api/probes/${encodeURIComponent(id)}`);
    if (response.ok) data = await response.json();
  } catch {
    return; // The page already says that it is not live.
  }
  head();
  words();
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-open]");
  if (button && !button.disabled) openMeasuring(button.dataset.open, id, live, again);
});

onView(head);
words();
drawCurve();
setInterval(head, 1_000);
setInterval(again, 5_000);
setInterval(drawCurve, 60_000);
