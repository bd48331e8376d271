import "./shell.js";
import { give } from "./give.js";
import { kitchen, onView } from "./live.js";

const data = JSON.parse(document.getElementById("data").textContent);
const present = document.getElementById("present");

document.getElementById("ack-form")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const answer = await give({ command: "acknowledge", alarm: data.key, note: document.getElementById("ack-note").value });
  if (answer.accepted) location.reload();
});

onView(() => {
  const standing = kitchen.view.alarms.find((alarm) => alarm.key === data.key);
  if (present && standing?.present) present.textContent = standing.present.fresh ? standing.present.shown : standing.present.note;
  if (Boolean(standing) !== data.standing || (standing && standing.acknowledged !== data.acknowledged)) {
    if (document.activeElement?.id !== "ack-note") location.reload();
  }
});
