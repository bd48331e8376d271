import "./shell.js";
import { believed, number } from "./fresh.js";
import { kitchen, onView } from "./live.js";
import { h, show } from "./tree.js";

const place = (name) => document.getElementById(name);
let sources = JSON.parse(place("data").textContent);

function probeCard(probe) {
  const now = believed(probe);
  const well = now.fresh && probe.health === "normal" && probe.quality === "good";
  return h("article", { class: "card probe-card", "data-key": probe.id, "data-fresh": now.fresh ? "yes" : "no", "data-state": well ? "" : "unknown" },
    h("h3", {}, probe.name),
    number(probe, now.fresh),
    h("p", {}, now.words),
    h("p", { class: "small" }, "Health ", h("b", {}, probe.health), probe.health_why ? `: ${probe.health_why}` : "", ", quality ", h("b", {}, probe.quality), probe.reason ? `: ${probe.reason}` : ""),
    h("p", { class: "small" }, `${probe.id}, ${probe.source_name} channel ${probe.channel}`),
    h("p", { class: "small" }, `${probe.readings} readings, ${probe.late} late`, probe.batch ? `, in batch ${probe.batch} as ${probe.role}` : ", free"));
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
    sources = await (await fetch("/api/probes")).json();
  } catch {
    return; // The page already says that it is not live.
  }
  paint();
}

onView(paint);
setInterval(paint, 1_000);
setInterval(again, 5_000);
