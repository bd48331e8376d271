// Whether a value may still be believed at this moment: the same rule as on the server, kept ticking in between.

import { kitchen, presentInstant, trouble } from "./live.js";
import { length } from "./time.js";
import { h } from "./tree.js";

export function believed(one) {
  const age = one.taken_at === null ? null : Math.max(0, presentInstant() - one.taken_at);
  const fresh = one.fresh && age !== null && age <= one.silent_after;
  let note = one.note;
  if (!one.fresh && note.startsWith("no fresh reading")) note = "";
  if (!fresh && !note) note = age === null ? "no reading yet" : `no fresh reading for ${length(age)}`;
  return { fresh, live: !trouble(), age, note, words: fresh ? ageWords(one, age) : [note, one.last_shown].filter(Boolean).join("; ") };
}

function ageWords(one, age) {
  const unsure = one.quality === "uncertain" ? `uncertain${one.reason ? `: ${one.reason}` : ""}, ` : "";
  return unsure + (age < 5_000 ? "just now" : `${length(age)} ago`);
}

export function number(one, fresh) {
  if (!fresh) return h("span", { class: "number" }, "—", h("span", { class: "unseen" }, "unknown"));
  return h("span", { class: "number" }, one.number, h("span", { class: "unit" }, kitchen.view.kitchen.unit));
}
