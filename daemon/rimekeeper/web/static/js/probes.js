import "./shell.js";
import { believed, number } from "./fresh.js";
import { calibrationLine } from "./instrument.js";
import { kitchen, onView, presentInstant } from "./live.js";
import { spark, strip } from "./small.js";
import { clock } from "./time.js";
import { h, show } from "./tree.js";

const place = (name) => document.getElementById(name);
let sources = JSON.parse(place("data").textContent);

const testWords = (probe) => probe.tested_until && probe.tested_until > presentInstant()
  ? `Being tested until ${clock(probe.tested_until, kitchen.view.kitchen.zone)}: decides nothing.` : "";

function probeCard(probe) {
  const now = believed(probe);
  const well = now.fresh && probe.health === "normal" && probe.quality === "good";
  const measured = sources.measured.find((one) => one.probe === probe.id);
  return h("article", { class: "card probe-card", "data-key": probe.id, "data-fresh": now.fresh ? "yes" : "no", "data-state": well ? "" : "unknown" },
    h("h3", {}, h("a", { href: `/probes/${encodeURIComponent(probe.id)}` }, probe.name)),
    number(probe, now.fresh),
    h("p", {}, testWords(probe) || now.words),
    measured ? instrumentLines(measured) : null,
    h("p", { class: "small" }, "Health ", h("b", {}, probe.health), probe.health_why ? `: ${probe.health_why}` : "", ", quality ", h("b", {}, probe.quality), probe.reason ? `: ${probe.reason}` : ""),
    h("p", { class: "small" }, `${probe.id}, ${probe.source_name} channel ${probe.channel}; ${probe.readings} readings, ${probe.late} late`, probe.batch ? `; in batch ${probe.batch} as ${probe.role}` : "; free"));
}

function instrumentLines(measured) {
  const { calibration, lag, pace, day } = measured;
  return [
    h("div", { class: "day" }, spark(day), strip(day)),
    calibrationLine(calibration),
    h("p", { class: "small" }, "Shown ", h("b", {}, measured.uncorrected_shown), ", corrected ", h("b", {}, measured.corrected_shown), ", U ", h("b", {}, measured.counted_shown), calibration.number === null ? " assumed" : ""),
    h("p", { class: "small" }, lag.known ? ["Lag ", h("b", {}, lag.words), lag.ahead_shown ? [", heading for ", h("b", {}, lag.ahead_shown)] : null] : "Lag not measured"),
    h("p", { class: "small" }, `Sends ${pace.every}, ${pace.gaps_words}; ${pace.offset_words}`),
  ];
}

const table = (head, rows) => h("table", {},
  h("thead", {}, h("tr", {}, head.map((name) => h("th", { scope: "col" }, name)))),
  h("tbody", {}, rows.map((row) => h("tr", {}, row.map((cell, at) => h(at ? "td" : "th", at ? {} : { scope: "row" }, cell))))));

function paint() {
  show(place("probes"), kitchen.view.probes.map(probeCard));
  show(place("sources"), table(
    ["Name", "Kind", "Health", "Since", "Messages", "Stored", "Again", "Rejected", "Dropped", "Unclaimed"],
    sources.sources.map((one) => [one.name, one.kind, one.why ? `${one.health}: ${one.why}` : one.health, one.since_shown,
      one.messages, one.stored, one.duplicates, one.rejected, one.dropped, one.unknown].map(String))));
  show(place("unclaimed"), sources.unclaimed.length
    ? table(["Source", "Channel", "Says", "Times", "Last"], sources.unclaimed.map((one) => [one.source, one.channel, one.text || String(one.value ?? "not a number"), String(one.count), one.age_shown]))
    : h("p", { class: "plain" }, "Nothing. Every channel that was heard belongs to a probe."));
  show(place("rejected"), sources.rejected.length
    ? h("ol", { class: "rejected" }, sources.rejected.map((one) => h("li", {}, h("p", {}, `${one.at_shown}, ${one.source}: ${one.why}`), h("code", {}, one.text))))
    : h("p", { class: "plain" }, "Nothing since the start."));
}

async function again() {
  try {
    const response = await fetch("/api/probes");
    if (response.ok) sources = await response.json();
  } catch {
    return; // The page already says that it is not live.
  }
  paint();
}

onView(paint);
setInterval(paint, 1_000);
setInterval(again, 5_000);
again();
