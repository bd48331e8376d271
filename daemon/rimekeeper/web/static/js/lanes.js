// A batch on the Now page and at the head of its own page.

import { believed, number } from "./fresh.js";
import { presentInstant } from "./live.js";
import { promptWords } from "./shell.js";
import { length } from "./time.js";
import { checkpoints, heatRows } from "./process.js";
import { h, sign } from "./tree.js";

const PROMPT_STAYS = 5 * 60_000;
const BEGIN_STAYS = 30_000; // that a stage began is soon old news

const command = (name, batch, more = {}) => JSON.stringify({ command: name, batch: batch.id, ...more });

export function rail(batch) {
  return h("ol", { class: "rail", "aria-label": "Stages" }, batch.rail.map((stage) =>
    h("li", { "data-key": stage.id, "data-phase": stage.phase, "aria-current": stage.phase === "active" ? "step" : null, title: stage.name },
      stage.name, h("span", { class: "unseen" }, `, ${stage.phase}`))));
}

// The last thing said about a lane; what the lane itself says louder is not said twice.
function promptOf(view, batch, lane, doNow) {
  const mine = view.prompts.filter((p) => p.batch === batch.id && p.stage === lane.id && presentInstant() - p.at < (p.kind === "stage began" ? BEGIN_STAYS : PROMPT_STAYS));
  const last = mine.at(-1) ?? null;
  return last && doNow && lane.do ? null : last;
}

// A tap that ends the batch asks once more; one that ends a cook or hold before its critical limit is met asks why.
function advanceButton(batch, lane, doNow) {
  const sure = lane.asks_why
    ? { title: `End ${lane.name} early?`, text: `${lane.asks_why} That is a critical limit. To end it all the same, say why: it goes into the record.`, why: true, act: "End it early", leave: "Keep going" }
    : lane.ends_batch
      ? { title: "Finish the batch?", text: `${lane.name} is the last stage of ${batch.name}${batch.lot ? `, lot ${batch.lot}` : ""}. Its probes are free again afterwards.`, why: false, act: "Yes, finish the batch", leave: "No, not yet" }
      : null;
  return h("button", { type: "button", class: doNow && !lane.asks_why ? "do" : "", "data-give": command("advance", batch, { stage: lane.id }), "data-sure": sure ? JSON.stringify(sure) : null }, sign("next"), lane.advance_label);
}

function laneView(view, batch, lane) {
  const now = believed(lane);
  const known = now.fresh && now.live;
  const outlook = known ? lane.outlook : `no arrival time: ${now.fresh ? "not live" : now.note}`;
  const next = lane.next.length ? `, next: ${lane.next.join(" and ")}` : ", last stage";
  const [arrival, range] = outlook.split(/(?=, between )/);
  // "Do now" only when the readings of this moment show that target and hold are met; before that it is "Then".
  const doNow = known && lane.do_now;
  const hold = known || lane.hold_met || !lane.hold_shown ? lane.hold_shown : "whether it is held is not known";
  const prompt = promptOf(view, batch, lane, doNow);
  return h("section", { class: "lane", "data-key": lane.id, "aria-label": `${lane.name}${lane.portion ? `, ${lane.portion}` : ""}` },
    h("div", { class: "temp", "data-fresh": now.fresh ? "yes" : "no", "data-sure": lane.quality === "good" ? "yes" : "no" },
      number(lane, now.fresh),
      h("p", { class: "age" }, `${lane.probe_name}, ${now.words}`, lane.calibration_note ? h("span", {}, `, ${lane.calibration_note}`) : null)),
    h("p", { class: "stage" }, lane.portion ? `${lane.name}: ${lane.portion} ` : `${lane.name} `,
      h("small", {}, `${lane.ordinal} of ${lane.of}`, h("span", { class: "next-words" }, next), `, for ${lane.began === null ? "—" : length(presentInstant() - lane.began)}`)),
    h("p", { class: "target" },
      lane.target_shown ? ["Target ", h("b", {}, lane.target_shown)] : "No target",
      lane.ceiling_shown ? [", never above ", h("b", {}, lane.ceiling_shown)] : null,
      lane.floor_shown ? [", never below ", h("b", {}, lane.floor_shown)] : null),
    h("p", { class: "outlook", "data-code": known ? lane.outlook_code : "stale" }, arrival, range ? h("span", { class: "range" }, range) : null,
      now.fresh && lane.beyond ? h("span", { class: "beyond" }, ` ${lane.beyond}`) : null,
      known && lane.counted_shown ? h("span", { class: "counted" }, lane.counted_shown) : null,
      known && lane.frozen_shown ? h("span", { class: "counted" }, lane.frozen_shown) : null,
      known && lane.edge_shown ? h("span", { class: "counted" }, lane.edge_shown) : null,
      hold ? h("span", { class: "hold", "data-counts": known && lane.hold_left_ms !== null ? "yes" : "no" }, hold) : null),
    heatRows(lane.heat), checkpoints(lane.cooling, known),
    prompt ? h("p", { class: "prompt", "data-key": "prompt" }, promptWords(prompt)) : null,
    h("div", { class: "say" },
      lane.do ? h("p", { class: "do-next", "data-now": doNow ? "yes" : "no" }, h("b", {}, doNow ? "Do now: " : "Then: "), lane.do) : null,
      lane.caution && !prompt?.sentence.includes(lane.caution) ? h("p", { class: "caution-now" }, lane.caution) : null),
    h("p", { class: "go" }, batch.held ? null : advanceButton(batch, lane, doNow)));
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
