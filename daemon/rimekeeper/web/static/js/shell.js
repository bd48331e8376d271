// What every page does: the clock, alarms on top, "not live", title and icon, announcements, the screen kept awake.

import { h, show, sign } from "./tree.js";
import { clock, length } from "./time.js";
import { kitchen, onView, presentInstant, trouble } from "./live.js";
import { pause } from "./give.js";
import { speak, tone } from "./sound.js";

const AGAIN = { critical: 10_000, high: 20_000, medium: 60_000, low: 300_000 };
const FRESH_PROMPT = 60_000;

const notLive = document.getElementById("not-live");
const alarmsPlace = document.getElementById("alarms");
const polite = document.getElementById("say-polite");
const urgent = document.getElementById("say-now");
const onNow = document.documentElement.dataset.page === "now";
const onAlarmPage = document.documentElement.dataset.page === "alarm";
const told = new Set();
const sounded = new Map();
// The page of an alarm has its own way to acknowledge that one.
const ownAlarm = onAlarmPage ? JSON.parse(document.getElementById("data").textContent).key : null;
let icon = "";
let height = null;

const alarmPath = (key) => `/alarms/${key.split("/").map(encodeURIComponent).join("/")}`;

// A big bar for what stands and nobody has answered, on the page that is watched; a slim row for everything else.
function alarmCard(alarm, present) {
  const seen = alarm.acknowledged;
  const calm = seen || alarm.returned;
  const slim = calm || !onNow;
  const state = seen ? `acknowledged by ${alarm.acknowledged_by || "somebody"}` : alarm.returned ? "over, not acknowledged" : "not acknowledged";
  const value = alarm.present ? (alarm.present.fresh ? `now ${alarm.present.shown}` : `now unknown: ${alarm.present.note}`) : "";
  const facts = [value, calm || alarm.limit_celsius === null ? "" : `limit ${alarm.limit_shown}`, alarm.returned ? `back to normal at ${alarm.returned_shown}` : `for ${length(present - alarm.since)}`].filter(Boolean).join(", ");
  const name = `${alarm.where}: ${alarm.what}`;
  const acknowledge = seen ? null : h("button", { type: "button", "data-give": JSON.stringify({ command: "acknowledge", alarm: alarm.key }), "aria-label": `Acknowledge ${name}` }, sign("seen"), "Acknowledge");
  return h("article", { class: `alarm ${slim ? "slim" : "big"}`, "data-key": alarm.key, "data-rank": alarm.priority, "data-calm": calm ? "yes" : "no" },
    sign(alarm.priority),
    h("div", {},
      h("p", { class: "word" }, `${alarm.priority}${slim ? "" : " alarm"}, ${state}`),
      h("p", { class: "what" }, slim ? h("a", { href: alarmPath(alarm.key) }, name) : name),
      h("p", { class: "facts-now" }, facts),
      alarm.action && !slim ? h("p", { class: "action" }, `Do: ${alarm.action}`) : null),
    slim && !acknowledge ? null : h("p", { class: "buttons" }, acknowledge,
      slim ? null : h("a", { class: "button", href: alarmPath(alarm.key), "aria-label": `Details of ${name}` }, "Details")));
}

export const promptWords = (prompt) => prompt.celsius === null ? prompt.sentence : `${prompt.sentence} (${prompt.shown})`;

function announce(view) {
  for (const prompt of view.prompts) {
    if (told.has(prompt.id)) continue;
    told.add(prompt.id);
    if (view.now - prompt.at > FRESH_PROMPT) continue;
    polite.textContent = promptWords(prompt);
    tone("prompt");
    speak(prompt.sentence);
  }
  const standing = view.alarms.filter((alarm) => !alarm.acknowledged);
  for (const alarm of standing) {
    const last = sounded.get(alarm.alarm_id);
    if (last === undefined) urgent.textContent = `${alarm.priority} alarm. ${alarm.where}: ${alarm.what}. ${alarm.action}`;
    if (last === undefined || performance.now() - last > AGAIN[alarm.priority]) {
      sounded.set(alarm.alarm_id, performance.now());
      tone(alarm.priority);
      speak(`Alarm. ${alarm.where}: ${alarm.what}. ${alarm.action}`, true);
    }
  }
  for (const id of sounded.keys()) if (!standing.some((alarm) => alarm.alarm_id === id)) sounded.delete(id);
}

function dress(view, wrong) {
  const standing = view.alarms.filter((alarm) => !alarm.acknowledged).length;
  const front = wrong ? "Not live · " : standing ? `${standing === 1 ? "ALARM" : `${standing} ALARMS`} · ` : "";
  const title = front + document.body.dataset.title;
  if (document.title !== title) document.title = title;
  const wanted = wrong ? "unknown" : standing ? "alarm" : "calm";
  if (wanted !== icon) {
    icon = wanted;
    document.getElementById("favicon").href = `${document.body.dataset.static}/signs/${wanted}.svg`;
  }
}

function paint() {
  const view = kitchen.view;
  const wrong = trouble();
  document.body.dataset.live = wrong ? "no" : "yes";
  notLive.hidden = !wrong;
  if (notLive.textContent !== wrong) notLive.textContent = wrong;
  document.getElementById("clock").textContent = clock(presentInstant(), view.kitchen.zone);
  const others = view.alarms.filter((alarm) => alarm.key !== ownAlarm);
  alarmsPlace.hidden = others.length === 0;
  const cards = others.map((alarm) => alarmCard(alarm, presentInstant()));
  const big = cards.filter((card) => card.classList.contains("big")).length;
  show(alarmsPlace, cards.slice(0, big), big && big < cards.length ? h("span", { class: "line-break", "data-key": "line-break" }) : null, cards.slice(big));
  const row = alarmsPlace.offsetHeight;
  if (height !== null && row !== height) pause(400);
  height = row;
  dress(view, wrong);
}

onView((view) => {
  paint();
  announce(view);
});
setInterval(paint, 1_000);

// One thing answers on every page, also when the view has not changed for a while.
setInterval(() => announce(kitchen.view), 5_000);

let lock = null;
async function stayAwake() {
  if (!("wakeLock" in navigator) || document.visibilityState !== "visible" || lock) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
  } catch {
    lock = null; // The device decides (battery low, say); nothing else depends on it.
  }
}
document.addEventListener("visibilitychange", stayAwake);
document.addEventListener("pointerdown", stayAwake);
stayAwake();
