// A chart of temperatures over time: bands, lines and marks of ours around the chart library, and every way to zoom
// (drag, wheel, two fingers, buttons, keys).

import { clock, dayAndClock } from "./time.js";
import { h } from "./tree.js";

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const dark = matchMedia("(prefers-color-scheme: dark)");

/**
 * options: label, zone (null: the axis is minutes), unit, series [{label, x, y, dash, width, color}],
 * bands [{from, to, label}], lines [{from, to, value, kind, label}], marks [{at, label}], range(min, max) called
 * after a zoom.
 */
export class Chart {
  constructor(place, options) {
    this.options = options;
    this.plotPlace = h("div", { class: "plot", tabindex: "0", role: "group", "aria-label": `${options.label}. Keys: plus and minus zoom, arrows move, 0 shows all.` });
    this.buttons = h("p", { class: "bar-of-buttons" },
      [["Closer", () => this.zoom(0.5)], ["Farther", () => this.zoom(2)], ["Earlier", () => this.move(-0.35)], ["Later", () => this.move(0.35)], ["All", () => this.all()]]
        .map(([name, act]) => {
          const button = h("button", { type: "button" }, name);
          button.addEventListener("click", act);
          return button;
        }));
    place.replaceChildren(h("div", { class: "chart" }, this.plotPlace, this.buttons));
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
    const colors = ["--series-1", "--series-2", "--series-3", "--series-4"].map(ink);
    const axis = { stroke: ink("--soft"), grid: { stroke: ink("--line"), width: 1 }, ticks: { stroke: ink("--line"), width: 1 }, font: `${this.fontSize()}px ${getComputedStyle(document.body).fontFamily}` };
    const width = Math.max(240, this.plotPlace.clientWidth);
    const kept = this.plot ? { min: this.plot.scales.x.min, max: this.plot.scales.x.max } : null;
    this.plot?.destroy();
    this.plot = new uPlot({
      width, height: this.height(width), ms: 1,
      tzDate: zone ? (at) => uPlot.tzDate(new Date(at), zone) : undefined,
      scales: { x: { time: Boolean(zone) }, y: { range: (_, low, high) => this.limits(low, high) } },
      cursor: { drag: { x: true, y: false, setScale: true }, y: false },
      legend: { live: true },
      axes: [
        { ...axis, size: Math.round(this.fontSize() * 3.9), space: this.fontSize() * 5.5, values: zone ? (_, at) => at.map((one, place) => this.tick(one, at[place - 1])) : (_, at) => at.map((one) => `${one} min`) },
        { ...axis, size: Math.round(this.fontSize() * 4.2), values: (_, at) => at.map((one) => String(one).replace("-", "\u2212")) },
      ],
      series: [
        { label: zone ? "Time" : "Minutes", value: (_, at) => (at === null ? "—" : zone ? dayAndClock(at, zone) : at.toFixed(1)) },
        ...series.map((one, place) => ({
          label: one.label, stroke: one.color ? ink(one.color) : colors[place % colors.length], width: one.width ?? 2.5, dash: one.dash,
          points: { show: false }, value: (_, value) => (value === null || value === undefined ? "—" : `${value.toFixed(1).replace("-", "\u2212")} ${unit}`),
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

  fontSize() { return Math.max(12, Math.min(18, parseFloat(getComputedStyle(document.documentElement).fontSize) * 0.8)); }
  height(width) { return Math.round(Math.max(240, Math.min(window.innerHeight * 0.55, width * 0.5))); }

  tick(at, before) {
    const { zone } = this.options;
    const text = clock(at, zone);
    return before === undefined || dayAndClock(before, zone).slice(0, 10) !== dayAndClock(at, zone).slice(0, 10) ? `${text}\n${dayAndClock(at, zone).slice(0, 10)}` : text;
  }

  limits(low, high) {
    const { min, max } = this.plot?.scales.x ?? {};
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
      ctx.moveTo(x, top + height - size * 2); ctx.lineTo(x + size, top + height); ctx.lineTo(x - size, top + height);
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
