import "./shell.js";
import { believed, number } from "./fresh.js";
import { batchCard } from "./lanes.js";
import { kitchen, onView } from "./live.js";
import { h, show, sign } from "./tree.js";

const batches = document.getElementById("batches");
const stations = document.getElementById("stations");
const aside = document.getElementById("aside");

function stationCard(station) {
  const now = believed(station);
  const abnormal = station.state_code === "abnormal";
  const known = abnormal || (now.fresh && now.live);
  const code = known ? station.state_code : "unknown";
  const state = known ? station.state : `unknown: ${now.fresh ? "not live" : now.note}`;
  return h("article", { class: "card station", "data-key": station.id, "data-state": code, "data-fresh": now.fresh ? "yes" : "no" },
    h("h3", {}, station.name),
    number(station, now.fresh),
    h("p", { class: `verdict verdict-${code}` }, sign(code), state),
    h("p", { class: "limits" }, [station.limits.map((limit) => limit.sentence).join(", "), now.fresh ? now.words : station.last_shown, station.calibration_note].filter(Boolean).join("; ")));
}

function paint() {
  const view = kitchen.view;
  show(batches, view.batches.length
    ? view.batches.map((batch) => batchCard(view, batch))
    : h("p", { class: "plain" }, "No batch is running."));
  show(stations, view.stations.length ? view.stations.map(stationCard) : h("p", { class: "plain" }, "No station is watched."));
  show(aside, h("div", { class: "aside" },
    view.calls.waiting ? h("p", {}, `${view.calls.waiting} call-outs wait to be sent.`) : null,
    view.calls.failed ? h("p", { class: "trouble" }, `${view.calls.failed} call-outs could not be sent: ${view.calls.last_error}`) : null,
    view.backfill ? h("p", {}, view.backfill) : null));
}

onView(paint);
setInterval(paint, 1_000);
