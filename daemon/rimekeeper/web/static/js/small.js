// Small drawings: a line of the last day, a strip of qualities, a trace with the stretch that is judged.

import { h } from "./tree.js";

const finite = (value) => value !== null && value !== undefined;

// Pieces of a polyline; where there is no value the line breaks.
function pathOf(points) {
  let open = false;
  return points.map((point) => {
    if (!point) {
      open = false;
      return "";
    }
    const step = `${open ? "L" : "M"}${point[0].toFixed(1)} ${point[1].toFixed(1)}`;
    open = true;
    return step;
  }).join("");
}

function scaled(values, height, least) {
  const known = values.filter(finite);
  let low = Math.min(...known), high = Math.max(...known);
  if (high - low < least) [low, high] = [(low + high - least) / 2, (low + high + least) / 2];
  return (value) => 3 + (height - 6) * (1 - (value - low) / (high - low));
}

// The whole day is the width, so that a probe that was silent in the morning shows it.
export function spark(day, width = 288, height = 48) {
  if (!day) return h("p", { class: "small spark-none" }, "Looking at the last day …");
  if (day.values.filter(finite).length < 2) return h("p", { class: "small spark-none" }, "Nothing to draw of the last day.");
  const y = scaled(day.values, height, 1);
  const step = width / (day.values.length - 1);
  return h("svg", { class: "spark", viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: "none", role: "img", "aria-label": `Last 24 hours: ${day.lowest_shown} to ${day.highest_shown}` },
    h("path", { d: pathOf(day.values.map((value, place) => (finite(value) ? [place * step, y(value)] : null))) }));
}

// Quality is told by height and cut, not by colour alone; the sentence says the rest.
export function strip(day) {
  if (!day) return h("span", { class: "strip-none" });
  return h("div", { class: "strip", role: "img", "aria-label": day.words },
    day.halves.map((half) => h("i", { "data-quality": half.quality, title: `${half.at_shown}: ${half.quality === "none" ? "no readings" : half.quality}${half.reason ? `, ${half.reason}` : ""}` })));
}

/** trace: {times, values, since, until, steady, unit}; more: [{times, values}] drawn dashed over it. */
export function traced(trace, label, more = null, width = 640, height = 150) {
  if (trace.times.length < 2) return h("p", { class: "plain" }, "No readings yet.");
  const y = scaled([...trace.values, ...(more ?? [])], height, 0.4);
  const first = trace.times[0], span = Math.max(1, trace.times.at(-1) - first);
  const x = (at) => ((at - first) / span) * width;
  const low = Math.min(...trace.values), high = Math.max(...trace.values);
  return h("div", { class: "traced" },
    h("svg", { viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: "none", role: "img", "aria-label": label },
      trace.since !== undefined && trace.since !== null ? h("rect", { class: "judged", "data-steady": trace.steady ? "yes" : "no", x: x(trace.since).toFixed(1), y: 0, width: Math.max(1, x(trace.until) - x(trace.since)).toFixed(1), height }) : null,
      h("path", { class: "shown", d: pathOf(trace.times.map((at, place) => [x(at), y(trace.values[place])])) }),
      more ? h("path", { class: "fitted", d: pathOf(trace.times.map((at, place) => [x(at), y(more[place])])) }) : null),
    h("p", { class: "small" }, `${low.toFixed(2)} to ${high.toFixed(2)} ${trace.unit} over ${Math.round(span / 1000)} s`));
}
