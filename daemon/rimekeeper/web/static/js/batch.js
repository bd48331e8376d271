import "./shell.js";
import { Chart } from "./chart.js";
import { give } from "./give.js";
import { batchCard, rail } from "./lanes.js";
import { kitchen, onView } from "./live.js";
import { checkpoints, heatRows } from "./process.js";
import { forField, instantsOf } from "./time.js";
import { h, show, sign } from "./tree.js";

const place = (name) => document.getElementById(name);
const AGAIN = 10_000;
let batch = JSON.parse(place("data").textContent);
let chart = null;
let detail = new Map();

// --- head -------------------------------------------------------------------------------------------------

const CHOICES = [["note", "Write a note"], ["retime", "A stage began earlier or later"], ["end", "End the batch"], ["scrap", "Scrap the batch"]];

function head() {
  const live = kitchen.view.batches.find((one) => one.id === batch.id);
  const running = Boolean(live);
  show(place("batch-head"), h("div", { class: "batch-head" },
    live
      ? batchCard(kitchen.view, live, { heading: "h1", link: false })
      : h("article", { class: "batch" },
          h("div", { class: "batch-top" }, h("h1", {}, batch.name), h("p", { class: "lot" }, batch.lot ? `lot ${batch.lot}` : batch.id)),
          rail(batch),
          h("p", {}, `${batch.phase_shown}; began ${batch.began_shown}${batch.ended ? `, ended ${batch.ended_shown}` : ""}`)),
    batch.allergens.length ? h("p", {}, h("b", {}, "Allergens: "), batch.allergens.join(", ")) : null,
    h("p", { class: "buttons" }, CHOICES.filter(([name]) => running || name === "note" || name === "retime").map(([name, words]) =>
      h("button", { type: "button", "data-ask": name, "data-key": name }, words)))));
}

// --- curve ------------------------------------------------------------------------------------------------

const curveOptions = () => ({
  series: batch.curves.map((curve) => {
    const shown = detail.get(curve.probe) ?? curve;
    return { label: curve.role_name === curve.probe_name ? curve.probe_name : `${curve.role_name} (${curve.probe_name})`, x: shown.times, y: shown.values };
  }),
  bands: batch.bands.map((band) => ({ from: band.begins, to: band.ends, label: band.stage_name })),
  lines: batch.lines.map((line) => ({ from: line.begins, to: line.ends, value: line.value, kind: line.kind, label: line.label })),
  marks: [
    ...batch.entries.map((entry) => ({ at: entry.at, kind: "entry" })),
    ...batch.alarms.map((alarm) => ({ at: alarm.at, kind: "alarm" })),
  ],
});

function drawCurve() {
  if (!batch.curves.some((curve) => curve.times.length)) {
    show(place("curve"), h("p", { class: "plain" }, "No readings yet."));
    return;
  }
  if (chart) {
    chart.update(curveOptions());
    return;
  }
  const inside = h("div");
  place("curve").replaceChildren(inside,
    h("p", { class: "hint" }, "At the foot of the curve, triangles are entries of the record below and diamonds are alarms."));
  chart = new Chart(inside, { label: `Curve of ${batch.name}`, zone: kitchen.view.kitchen.zone, unit: batch.unit, keys: batch.lines.map((line) => line.kind), ...curveOptions(), range: closer });
}

// When zoomed in, the same number of points for less time shows more.
async function closer(min, max, zoomed) {
  if (!zoomed) {
    if (detail.size) {
      detail = new Map();
      chart.update(curveOptions());
    }
    return;
  }
  const thin = batch.curves.filter((curve) => curve.thinned);
  if (!thin.length) return;
  const found = new Map();
  try {
    for (const curve of thin) {
      const query = new URLSearchParams({ probe: curve.probe, since: String(Math.floor(min)), until: String(Math.ceil(max) + 1), points: "2000" });
      const fine = await (await fetch(`/api/readings?${query}`)).json();
      const before = curve.times.findIndex((at) => at >= min);
      const after = curve.times.findIndex((at) => at > max);
      const cut = (list, more) => [...list.slice(0, before < 0 ? list.length : before), ...more, ...(after < 0 ? [] : list.slice(after))];
      found.set(curve.probe, { times: cut(curve.times, fine.times), values: cut(curve.values, fine.values) });
    }
  } catch {
    return;
  }
  detail = found;
  chart.update(curveOptions());
}

// --- facts and record -------------------------------------------------------------------------------------

const SIGN = { passed: "normal", not_passed: "abnormal", not_proven: "unknown", under_way: "entering", nothing_asked: "none" };

function facts() {
  const rows = batch.facts.map((one) => h("tr", {},
    h("th", { scope: "row" }, one.portion ? `${one.name}: ${one.portion}` : one.name),
    h("td", {}, one.verdict_code === "not_begun"
      ? one.phase
      : h("span", { class: `verdict verdict-${one.verdict_code}` }, sign(SIGN[one.verdict_code]), one.verdict), one.reasons.map((why) => h("div", {}, why)), one.counted_shown ? h("div", { class: "small" }, one.counted_shown) : null, one.measured_with ? h("div", { class: "small" }, one.measured_with) : null, one.phase === "active" ? null : [heatRows(one.heat), checkpoints(one.cooling, false)]),
    h("td", {}, one.began_shown), h("td", {}, one.took_shown), h("td", {}, one.target_shown || "—"),
    h("td", {}, one.reached_shown, one.reach_took_shown ? h("div", {}, one.reach_took_shown) : null),
    h("td", {}, one.held_shown, one.hold_wanted_shown ? h("div", {}, `asked: ${one.hold_wanted_shown}`) : null),
    h("td", {}, one.lowest_shown), h("td", {}, one.highest_shown),
    h("td", {}, `${one.readings}${one.bad || one.uncertain ? `, ${one.bad} bad, ${one.uncertain} uncertain` : ""}`)));
  show(place("facts"), h("table", {},
    h("thead", {}, h("tr", {}, ["Stage", "Verdict", "Began", "Took", "Target", "Reached", "Held", "Lowest", "Highest", "Readings"].map((name) => h("th", { scope: "col" }, name)))),
    h("tbody", {}, rows)));
}

function record() {
  show(place("record"), batch.entries.length
    ? h("ol", { class: "events" }, [...batch.entries].reverse().map((entry) => h("li", { "data-key": String(entry.number) },
        h("time", {}, entry.at_shown), h("span", {}, entry.sentence, entry.why ? ` Reason: ${entry.why}` : ""), h("small", {}, entry.who === entry.where ? entry.who : `${entry.who}, ${entry.where}`))))
    : h("p", { class: "plain" }, "Nothing is written down yet."));
}

function paint() {
  head();
  drawCurve();
  facts();
  record();
}

async function again() {
  try {
    const response = await fetch(`/api/batch/${encodeURIComponent(batch.id)}`);
    if (!response.ok) return;
    batch = await response.json();
  } catch {
    return; // The page already says that it is not live.
  }
  paint();
}

// --- asking -----------------------------------------------------------------------------------------------

const dialog = place("ask");
let asked = "";
const WORDS = {
  note: ["Write a note", "It goes into the record of this batch.", "What should be written down?", "Write it down"],
  retime: ["A stage began earlier or later", "The curve is tagged anew; its values stay, and the record says who changed it.", "Why?", "Change the beginning"],
  end: ["End the batch", "Its probes are free again. Before the last stage this needs a reason.", "Reason", "End the batch"],
  scrap: ["Scrap the batch", "It is marked as thrown away and its probes are free again. This needs a reason.", "Reason", "Scrap the batch"],
};

function fillBegan() {
  const stage = batch.retimable.find((one) => one.id === place("ask-stage").value);
  if (stage) place("ask-began").value = forField(stage.began, kitchen.view.kitchen.zone);
}

function ask(kind) {
  asked = kind;
  const [title, text, why, act] = WORDS[kind];
  place("ask-title").textContent = title;
  place("ask-text").textContent = text;
  place("ask-why-label").textContent = why;
  place("ask-do").textContent = act;
  place("ask-why").value = "";
  place("ask-trouble").textContent = "";
  place("ask-stage-part").hidden = place("ask-began-part").hidden = kind !== "retime";
  place("ask-stage").replaceChildren(...batch.retimable.map((stage) => h("option", { value: stage.id }, stage.name)));
  if (kind === "retime") fillBegan();
  dialog.showModal();
}

function commandAsked() {
  const words = place("ask-why").value.trim();
  if (asked === "note") return words ? { command: "note", batch: batch.id, text: words } : "Write something first.";
  if (asked !== "retime") return { command: asked, batch: batch.id, why: words };
  const instants = instantsOf(place("ask-began").value, kitchen.view.kitchen.zone);
  if (instants.length === 0) return "The kitchen's clock never showed that time. Choose another.";
  const stage = batch.retimable.find((one) => one.id === place("ask-stage").value);
  const near = instants.reduce((best, at) => (Math.abs(at - stage.began) < Math.abs(best - stage.began) ? at : best));
  return { command: "retime", batch: batch.id, stage: stage.id, began: near, why: words };
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-ask]");
  if (button) ask(button.dataset.ask);
});
place("ask-stage").addEventListener("change", fillBegan);
place("ask-leave").addEventListener("click", () => dialog.close());
place("ask-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const command = commandAsked();
  if (typeof command === "string") {
    place("ask-trouble").textContent = command;
    return;
  }
  const answer = await give(command);
  if (answer.accepted) {
    dialog.close();
    await again();
  } else if (!answer.ignored) {
    place("ask-trouble").textContent = answer.sentence;
  }
});

paint();
onView(head);
setInterval(head, 1_000);
setInterval(() => { if (batch.phase === "running" || batch.phase === "held" || kitchen.view.batches.some((one) => one.id === batch.id)) again(); }, AGAIN);
