import "./shell.js";
import { Chart } from "./chart.js";
import { h } from "./tree.js";

const night = JSON.parse(document.getElementById("data").textContent);

const hardening = document.getElementById("hardening");
if (hardening) {
  const targets = [...new Set(night.hardening.map((one) => one.target_value).filter((one) => one !== null))];
  const chart = h("div");
  hardening.append(chart);
  const colors = ["--series-1", "--series-2", "--series-3", "--series-4"];
  let mine = 0, earlier = 0;
  new Chart(chart, {
    label: "Hardening curves, minutes since each stage began", zone: null, unit: night.unit, below: night.hot, keys: targets.length ? ["target"] : [],
    series: night.hardening.map((one) => ({
      label: one.label, x: one.minutes, y: one.values,
      ...(one.this_night ? { width: 4, color: colors[mine++ % 4] } : { width: 1.6, dash: [[7, 5], [2, 4], [10, 3, 2, 3]][earlier++ % 3], color: ["--edge", "--series-2", "--series-3", "--series-4"][earlier % 4] }),
    })),
    lines: targets.map((value) => ({ value, kind: "target", label: "target" })),
  });
}

for (const place of document.querySelectorAll(".station-chart")) {
  const station = night.stations.find((one) => one.id === place.dataset.station);
  if (!station.curve.times.length) {
    place.append(h("p", { class: "plain" }, "No readings in this night."));
    continue;
  }
  const chart = h("div");
  place.append(chart);
  new Chart(chart, {
    label: `${station.name}, the night's curve`, zone: night.zone, unit: night.unit, keys: station.limits.map((limit) => limit.side),
    series: [{ label: "Reading", x: [night.begins - 1, ...station.curve.times, night.until], y: [null, ...station.curve.values, null], color: "--series-2" }],
    bands: station.excursions.filter((one) => one.source === "limit").map((one) => ({ from: one.begins, to: one.ends, label: "", kind: "excursion" })),
    lines: station.limits.map((limit) => ({ value: limit.value, kind: limit.side, label: limit.label })),
  });
}
