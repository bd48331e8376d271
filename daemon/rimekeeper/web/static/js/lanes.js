// A batch on the Now page and at the head of its own page.

import { believed, number } from "./fresh.js";
import { presentInstant } from "./live.js";
import { promptWords } from "./shell.js";
import { length } from "./time.js";
import { h, sign } from "./tree.js";

const PROMPT_STAYS = 5 * 60_000;

const command = (name, batch, more = {}) => JSON.stringify({ command: name, batch: batch.id, ...more });

export function rail(batch) {
  return h("ol", { class: "rail", "aria-label": "Stages" }, batch.rail.map((stage) =>
    h("li", { "data-key": stage.id, "data-phase": stage.phase, "aria-current": stage.phase === "active" ? "step" : null, title: stage.name },
      stage.name, h("span", { class: "unseen" }, `, ${stage.phase}`))));
}

function prompts(view, batch, lane) {
  const mine = view.prompts.filter((p) => p.batch === batch.id && p.stage === lane.id && presentInstant() - p.at < PROMPT_STAYS);
  const last = mine.at(-1);
  return last ? h("p", { class: "prompt" }, promptWords(last)) : null;
}

function laneView(view, batch, lane) {
  const now = believed(lane);
  const known = now.fresh && now.live;
  const outlook = known ? lane.outlook : `no arrival time: ${now.fresh ? "not live" : now.note}`;
  const next = lane.next.length ? `next: ${lane.next.join(" and ")}` : "last stage";
  const ready = lane.awaiting_confirm || lane.hold_met || (lane.reached && !lane.hold_ms);
  return h("section", { class: "lane", "data-key": lane.id, "aria-label": `${lane.name}${lane.portion ? `, ${lane.portion}` : ""}` },
    h("div", { class: "temp", "data-fresh": now.fresh ? "yes" : "no", "data-sure": lane.quality === "good" ? "yes" : "no" },
      number(lane, now.fresh),
      h("p", { class: "age" }, `${lane.probe_name}, ${now.words}`)),
    h("p", { class: "stage" }, lane.portion ? `${lane.name}: ${lane.portion} ` : `${lane.name} `,
      h("small", {}, `${lane.ordinal} of ${lane.of}, ${next}, for ${lane.began === null ? "—" : length(presentInstant() - lane.began)}`)),
    h("p", { class: "target" },
      lane.target_shown ? ["Target ", h("b", {}, lane.target_shown)] : "No target",
      lane.ceiling_shown ? [", never above ", h("b", {}, lane.ceiling_shown)] : null,
      lane.floor_shown ? [", never below ", h("b", {}, lane.floor_shown)] : null),
    h("p", { class: "outlook", "data-code": known ? lane.outlook_code : "stale" }, outlook,
      now.fresh && lane.beyond ? h("span", { class: "beyond" }, ` ${lane.beyond}`) : null,
      lane.hold_shown ? h("span", { class: "hold" }, lane.hold_shown) : null),
    h("div", { class: "say" },
      prompts(view, batch, lane),
      lane.do ? h("p", { class: "do-next" }, h("b", {}, lane.reached ? "Do now: " : "Then: "), lane.do) : null,
      lane.caution ? h("p", { class: "caution-now" }, lane.caution) : null),
    h("p", { class: "go" },
      batch.held ? null : h("button", { type: "button", class: ready ? "do" : "", "data-give": command("advance", batch, { stage: lane.id }) }, sign("next"), lane.advance_label)));
}

export function batchCard(view, batch, { heading = "h3", link = true } = {}) {
  const undoing = batch.can_undo && batch.undo_until !== null && presentInstant() < batch.undo_until;
  return h("article", { class: "batch", "data-key": batch.id, "data-held": batch.held ? "yes" : "no" },
    h("div", { class: "batch-top" },
      h(heading, {}, link ? h("a", { href: `/batch/${encodeURIComponent(batch.id)}` }, batch.name) : batch.name),
      h("p", { class: "lot" }, batch.lot ? `lot ${batch.lot}` : batch.id, `, since ${batch.began_shown}`),
      h("p", { class: "buttons" },
        batch.can_undo ? h("button", { type: "button", "data-key": "undo", class: undoing ? "urgent" : "", "data-give": command("undo", batch) }, sign("undo"), undoing ? "Undo: wrong tap" : "Undo last step") : null,
        batch.held
          ? h("button", { type: "button", "data-key": "resume", class: "do", "data-give": command("resume", batch) }, sign("next"), "Go on")
          : h("button", { type: "button", "data-key": "hold", "data-give": command("hold", batch) }, sign("hold"), "Hold"))),
    rail(batch),
    batch.held ? h("p", { class: "held" }, `On hold for ${length(presentInstant() - (batch.held_since ?? presentInstant()))}. Its timers stand still and its stage alarms are quiet.`) : null,
    h("div", { class: "lanes", "data-lanes": String(Math.min(2, batch.stages.length)) }, batch.stages.map((lane) => laneView(view, batch, lane))));
}
