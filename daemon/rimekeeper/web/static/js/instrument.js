// What is known of a probe as an instrument, in words.

import { h, sign } from "./tree.js";

const SIGN = { in_force: "normal", due_soon: "entering", past_due: "abnormal", none: "unknown" };
const VERDICT = { in_force: "normal", due_soon: "entering", past_due: "abnormal", none: "unknown" };

export function calibrationLine(one) {
  const more = one.number === null ? "" : one.code === "in_force" ? `, ${one.due_words}` : `: ${one.due_words}`;
  return h("p", { class: `verdict verdict-${VERDICT[one.code]}` }, sign(SIGN[one.code]), `${one.state}${more}`);
}

export const recordPath = (number) => `/certificates/${number}`;

export function factsOf(measured) {
  const { calibration, lag, pace } = measured;
  const rows = [
    ["Shown before correction", measured.uncorrected_shown],
    ["Corrected", `${measured.corrected_shown} (${measured.corrected_by_shown})`],
    ["Counted against critical limits", `${measured.counted_shown}, ${measured.counted_why}`],
    ["Calibration", calibration.number === null
      ? "never calibrated"
      : [h("a", { href: recordPath(calibration.number) }, `No. ${calibration.number}`), ` of ${calibration.at_shown} by ${calibration.by}, due ${calibration.due_shown}`]],
    ...calibration.uncertainties.filter((one) => one.kelvin !== null).map((one) => [`U (k = 2) ${one.where}`, one.shown]),
    ["Lag (time constant)", lag.known ? [h("a", { href: recordPath(lag.number) }, lag.words), `, ${lag.at_shown}`] : lag.words],
    ["Where it is heading", lag.ahead_shown ? `${lag.ahead_shown} with its lag allowed for: for prompts, proves nothing` : lag.known ? "not known now" : "not known without a plunge test"],
    ["Sends", pace.every],
    ["Gaps", pace.gaps_words],
    ["Clock", pace.offset_words],
    ["Resolution", measured.resolution_shown],
    ["Class, as information", `${measured.class.accuracy} ${measured.class.interval} ${measured.class.caution}`],
  ];
  return h("dl", { class: "facts" }, rows.map(([name, value]) => [h("dt", {}, name), h("dd", {}, value)]));
}
