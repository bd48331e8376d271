// A chart of temperatures over time: bands, lines and marks of ours around the chart library, and every way to zoom
// (drag, wheel, two fingers, buttons, keys).

import { clock, dayAndClock } from "./time.js";
import { h } from "./tree.js";

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const dark = matchMedia("(prefers-color-scheme: dark)");

// Readings with a gap on both sides: no line shows them, so they get a dot. (undefined: no point of this line, null: a gap.)
function alone(values, [from, to]) {
  const found = [];
  let before = null;
  let last = null;
  for (let at = from; at <= to; at += 1) {
    const value = values[at];
    if (value === undefined) continue;
    if (last !== null && before === null && value === null) found.push(last);
    before = last === null ? null : values[last];
    last = value === null ? null : at;
  }
  if (last !== null && before === null) found.push(last);
  return found;
}

/**
 * options: label, zone (null: the axis is minutes), unit, series [{label, x, y, dash, width, color}],
 * below (what is hotter does not stretch the axis), keys (kinds of lines to explain), bands [{from, to, label}], lines [{from, to, value, kind, label}], marks [{at, label}], range(min, max) called
 * after a zoom.
 */
export class Chart {
  constructor(place, options) {
    this.options = options;
    this.plotPlace = h("div", { class: "plot", tabindex: "0", role: "group", "aria-label": `${options.label}. Keys: plus and minus zoom, arrows move, 0 shows all.` });
    this.buttons = h("p", { class: "bar-of-buttons" },
      [["Zoom in", "+", () => this.zoom(0.5), false], ["Zoom out", "\u2212", () => this.zoom(2), true], ["Earlier", "\u2190", () => this.move(-0.35), true], ["Later", "\u2192", () => this.move(0.35), true], ["All", "\u2194", () => this.all(), true]]
        .map(([name, sign, act, closer]) => {
          const button = h("button", { type: "button", disabled: closer, "data-closer": closer ? "yes" : null }, h("span", { "aria-hidden": "true" }, sign), h("span", {}, name));
          button.addEventListener("click", act);
          return button;
        }));
    place.replaceChildren(h("div", { class: "chart" }, this.plotPlace, h("div", { class: "under" }, this.buttons, options.keys ? key(options.keys) : null)));
    this.draw();
    new ResizeObserver(() => this.resize()).observe(this.plotPlace);
    dark.addEventListener("change", () => this.draw());
    this.listen();
  }

  get data() {
    const tables = this.options.series.map((one) => [one.x, one.y]);
    return tables.length ? uPlot.join(tables, tables.map(() => [1])) : [[], []];
  }

  draw() {
    const { zone, unit, series } = this.options;
    const axis = { stroke: ink("--soft"), grid: { stroke: ink("--line"), width: 1 }, ticks: { stroke: ink("--line"), width: 1 }, font: `${this.fontSize()}px ${getComputedStyle(document.body).fontFamily}` };
    const width = Math.max(240, this.plotPlace.clientWidth);
    const kept = this.plot ? { min: this.plot.scales.x.min, max: this.plot.scales.x.max } : null;
    this.plot?.destroy();
    this.plot = new uPlot({
      width, height: this.height(width), ms: 1,
      tzDate: zone ? (at) => uPlot.tzDate(new Date(at), zone) : undefined,
      scales: { x: { time: Boolean(zone) }, y: { range: (plot, low, high) => this.limits(plot, low, high) } },
      cursor: { drag: { x: true, y: false, setScale: true }, y: false },
      legend: { live: true, markers: { width: 3, stroke: (_, place) => this.stroke(place - 1), dash: (_, place) => (series[place - 1]?.dash ? "dashed" : "solid") } },
      axes: [
        { ...axis, size: Math.round(this.fontSize() * 3.9), space: this.fontSize() * 5.5, values: zone ? (_, at) => at.map((one, place) => this.tick(one, at[place - 1], at[1] - at[0])) : (_, at) => at.map((one) => `${one} min`) },
        { ...axis, size: Math.round(this.fontSize() * 5), values: (_, at) => at.map((one) => String(one).replace("-", "\u2212")) },
      ],
      series: [
        { label: zone ? "Time" : "Minutes", value: (_, at) => (at === null ? "—" : zone ? dayAndClock(at, zone) : at.toFixed(1)) },
        ...series.map((one, place) => ({
          label: one.label, stroke: this.stroke(place), width: one.width ?? 2.5, dash: one.dash,
          points: { show: true, size: 4, filter: (plot, at) => alone(plot.data[at], plot.series[0].idxs) }, value: (_, value) => (value === null || value === undefined ? "—" : `${value.toFixed(1).replace("-", "\u2212")} ${unit}`),
        })),
      ],
      hooks: {
        drawClear: [(plot) => this.under(plot)],
        draw: [(plot) => this.over(plot)],
        setScale: [(plot, key) => { if (key === "x") this.ranged(plot); }],
      },
    }, this.data, this.plotPlace);
    if (kept && kept.min !== null && this.zoomed) this.plot.setScale("x", kept);
  }

  stroke(place) { return ink(this.options.series[place]?.color ?? `--series-${(Math.max(0, place) % 4) + 1}`); }
  fontSize() { return Math.max(12, Math.min(18, parseFloat(getComputedStyle(document.documentElement).fontSize) * 0.8)); }
  height(width) { return Math.round(Math.max(230, Math.min(window.innerHeight * 0.5, width * 0.42))); }

  tick(at, before, step) {
    const { zone } = this.options;
    const text = clock(at, zone, step < 60_000);
    return before === undefined || dayAndClock(before, zone).slice(0, 10) !== dayAndClock(at, zone).slice(0, 10) ? `${text}\n${dayAndClock(at, zone).slice(0, 6).replace(/[ ,]+$/, "")}` : text;
  }

  // The x scale itself is still the old one while a new y scale is asked for; its series already knows what is seen.
  limits(plot, low, high) {
    const { min, max } = plot.series[0];
    if (this.options.below !== undefined && high > this.options.below) high = this.highestBelow(plot, low);
    for (const line of this.options.lines ?? []) {
      if (line.kind === "target" || line.kind === "ceiling" || line.kind === "floor") {
        const inside = min === undefined || min === null || !((line.to ?? Infinity) < min || (line.from ?? -Infinity) > max);
        if (inside && line.always !== false) { low = Math.min(low ?? line.value, line.value); high = Math.max(high ?? line.value, line.value); }
      }
    }
    if (low === null || low === undefined) return [0, 1];
    const pad = Math.max(0.5, (high - low) * 0.07);
    return [low - pad, high + pad];
  }

  // The highest of what is seen and not hotter than ``below``: one hot start must not flatten all the curves.
  highestBelow(plot, low) {
    const [from, to] = plot.series[0].idxs ?? [0, Infinity];
    let highest = low;
    for (const table of plot.data.slice(1)) {
      table.forEach((value, at) => {
        if (at >= from && at <= to && value !== null && value !== undefined && value <= this.options.below && value > highest) highest = value;
      });
    }
    return highest;
  }

  under(plot) {
    const { ctx } = plot;
    const { left, top, width, height } = plot.bbox;
    const size = this.fontSize() * devicePixelRatio;
    ctx.save();
    ctx.beginPath(); ctx.rect(left, top, width, height); ctx.clip();
    ctx.font = `${size}px ${getComputedStyle(document.body).fontFamily}`;
    ctx.textBaseline = "top";
    let row = 0, previous = -Infinity;
    (this.options.bands ?? []).forEach((band, place) => {
      const from = Math.max(left, plot.valToPos(band.from, "x", true));
      const to = Math.min(left + width, plot.valToPos(band.to ?? plot.scales.x.max, "x", true));
      if (to <= from) return;
      ctx.fillStyle = ink(band.kind === "excursion" ? "--bad-wash" : place % 2 ? "--band-b" : "--band-a");
      ctx.fillRect(from, top, to - from, height);
      row = from < previous ? (row + 1) % 2 : 0;
      const room = to - from - 10;
      if (ctx.measureText(band.label).width < room) {
        ctx.fillStyle = ink("--soft");
        ctx.fillText(band.label, from + 5, top + 5 + row * size * 1.25);
        previous = from + 5 + ctx.measureText(band.label).width;
      }
    });
    ctx.restore();
  }

  over(plot) {
    const { ctx } = plot;
    const { left, top, width, height } = plot.bbox;
    ctx.save();
    ctx.beginPath(); ctx.rect(left, top, width, height); ctx.clip();
    ctx.lineWidth = 2 * devicePixelRatio;
    for (const line of this.options.lines ?? []) {
      const y = plot.valToPos(line.value, "y", true);
      const from = line.from === undefined ? left : Math.max(left, plot.valToPos(line.from, "x", true));
      const to = line.to === undefined || line.to === null ? left + width : Math.min(left + width, plot.valToPos(line.to, "x", true));
      if (to <= from) continue;
      ctx.strokeStyle = ink(line.kind === "target" ? "--ok" : "--bad");
      ctx.setLineDash((line.kind === "target" ? [10, 6] : [3, 4]).map((one) => one * devicePixelRatio));
      ctx.beginPath(); ctx.moveTo(from, y); ctx.lineTo(to, y); ctx.stroke();
    }
    ctx.setLineDash([]);
    for (const mark of this.options.marks ?? []) {
      const x = plot.valToPos(mark.at, "x", true);
      if (x < left || x > left + width) continue;
      const size = 6 * devicePixelRatio;
      ctx.fillStyle = ink(mark.kind === "alarm" ? "--bad" : "--ink");
      ctx.beginPath();
      // The shape tells them apart, not the colour alone: an alarm is a taller diamond, an entry a triangle.
      const base = top + height;
      const corners = mark.kind === "alarm" ? [[0, -4], [1.2, -2], [0, 0], [-1.2, -2]] : [[0, -2], [1, 0], [-1, 0]];
      corners.forEach(([across, up], at) => ctx[at ? "lineTo" : "moveTo"](x + across * size, base + up * size));
      ctx.closePath(); ctx.fill();
    }
    ctx.restore();
  }

  get whole() {
    const x = this.plot.data[0];
    return [x[0] ?? 0, x[x.length - 1] ?? 1];
  }

  set(min, max) {
    const [first, last] = this.whole;
    const span = Math.min(max - min, last - first);
    if (!(span > 0)) return;
    const from = Math.min(Math.max(min, first), last - span);
    this.zoomed = span < last - first;
    this.plot.setScale("x", { min: from, max: from + span });
  }

  zoom(by, at) {
    const { min, max } = this.plot.scales.x;
    const middle = at ?? (min + max) / 2;
    this.set(middle - (middle - min) * by, middle + (max - middle) * by);
  }

  move(by) {
    const { min, max } = this.plot.scales.x;
    this.set(min + (max - min) * by, max + (max - min) * by);
  }

  all() { const [first, last] = this.whole; this.zoomed = false; this.plot.setScale("x", { min: first, max: last }); }

  ranged(plot) {
    const { min, max } = plot.scales.x;
    const [first, last] = [plot.data[0][0], plot.data[0].at(-1)];
    this.zoomed = min > first || max < last;
    // What only works when zoomed in can't be pressed before; the focus is not lost by it.
    for (const button of this.buttons?.querySelectorAll("[data-closer]") ?? []) {
      if (!this.zoomed && document.activeElement === button) this.plotPlace.focus();
      button.disabled = !this.zoomed;
    }
    this.plotPlace.dataset.zoomed = this.zoomed ? "yes" : "no";
    this.plotPlace.dataset.span = String(Math.round(max - min));
    clearTimeout(this.later);
    this.later = setTimeout(() => this.options.range?.(min, max, this.zoomed), 300);
  }

  resize() {
    const width = this.plotPlace.clientWidth;
    if (width && width !== this.plot.width) this.plot.setSize({ width, height: this.height(width) });
  }

  update(options) {
    Object.assign(this.options, options);
    const { min, max } = this.plot.scales.x;
    const zoomed = this.zoomed;
    this.plot.setData(this.data, !zoomed);
    if (zoomed) { this.plot.setScale("x", { min, max }); }
  }

  listen() {
    const fingers = new Map();
    const at = (event) => this.plot.posToVal(event.clientX - this.plot.over.getBoundingClientRect().left, "x");
    this.plotPlace.addEventListener("wheel", (event) => {
      if (!event.target.closest(".u-over")) return;
      if (!event.ctrlKey && document.activeElement !== this.plotPlace) return;
      event.preventDefault();
      this.zoom(event.deltaY < 0 ? 0.8 : 1.25, at(event));
    }, { passive: false });
    this.plotPlace.addEventListener("pointerdown", (event) => { if (event.pointerType === "touch") fingers.set(event.pointerId, event); });
    this.plotPlace.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      if (fingers.size === 2) {
        const other = [...fingers.entries()].find(([id]) => id !== event.pointerId)[1];
        const apart = Math.abs(event.clientX - other.clientX), was = Math.abs(before.clientX - other.clientX);
        if (apart > 10 && was > 10) this.zoom(was / apart, (at(event) + at(other)) / 2);
      } else if (this.zoomed) {
        const shift = at(before) - at(event);
        this.set(this.plot.scales.x.min + shift, this.plot.scales.x.max + shift);
      }
      fingers.set(event.pointerId, event);
    });
    for (const end of ["pointerup", "pointercancel", "pointerleave"]) this.plotPlace.addEventListener(end, (event) => fingers.delete(event.pointerId));
    this.plotPlace.addEventListener("keydown", (event) => {
      const act = { "+": () => this.zoom(0.6), "=": () => this.zoom(0.6), "-": () => this.zoom(1.6), ArrowLeft: () => this.move(-0.2), ArrowRight: () => this.move(0.2), 0: () => this.all() }[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      act();
    });
  }
}

export const key = (kinds) => h("p", { class: "key" },
  kinds.includes("target") ? h("span", { class: "target" }, h("i"), "target") : null,
  kinds.some((kind) => kind !== "target") ? h("span", { class: "limit" }, h("i"), "limit") : null);
