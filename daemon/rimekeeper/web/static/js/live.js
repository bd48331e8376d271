// The line to the kitchen: the newest view, how old it is, and whether it may be called live.

const QUIET = 8_000; // the server sends a beat every 3 s; two missed beats and a bit
const AT_ONCE = 2_500;
const SILENCE = 15_000;

const listeners = new Set();
let source = null;
let down = false;
let received = marks();
let heard = marks();
let beatAge = 0;

export const kitchen = { view: JSON.parse(document.getElementById("first").textContent) };

function marks() {
  return { wall: Date.now(), steady: performance.now() };
}

function since(mark) {
  return Math.max(0, performance.now() - mark.steady, Date.now() - mark.wall);
}

export const elapsed = () => since(received);
export const presentInstant = () => kitchen.view.now + elapsed();

export function trouble() {
  const quiet = since(heard);
  if (quiet > QUIET || (down && quiet > AT_ONCE)) {
    return `Not live: last word from the kitchen ${spoken(quiet)} ago. Trying again.`;
  }
  if (kitchen.view.pulse.trouble) return kitchen.view.pulse.trouble;
  const silent = Math.max(kitchen.view.now - kitchen.view.at, beatAge);
  if (silent > SILENCE) return `Not live: last word from the kitchen ${spoken(silent)} ago.`;
  return "";
}

function spoken(ms) {
  const seconds = Math.round(ms / 1000);
  return seconds < 120 ? `${seconds} s` : `${Math.floor(seconds / 60)} min`;
}

export function onView(listener) {
  listeners.add(listener);
  listener(kitchen.view);
}

function open() {
  source = new EventSource("/live");
  source.addEventListener("now", (event) => {
    try {
      kitchen.view = JSON.parse(event.data);
    } catch {
      return;
    }
    received = heard = marks();
    beatAge = 0;
    down = false;
    for (const listener of listeners) listener(kitchen.view);
  });
  source.addEventListener("beat", (event) => {
    const beat = JSON.parse(event.data);
    heard = marks();
    down = false;
    beatAge = beat.now - beat.at;
    if (!beat.alive) kitchen.view.pulse.trouble ||= "The part that watches the kitchen has stopped. Nothing shown here is watched.";
  });
  source.addEventListener("error", () => {
    down = true;
    if (source.readyState === EventSource.CLOSED) {
      source.close();
      setTimeout(open, 3_000);
    }
  });
}

window.addEventListener("pagehide", () => source?.close());
window.addEventListener("pageshow", (event) => { if (event.persisted) open(); });
open();
