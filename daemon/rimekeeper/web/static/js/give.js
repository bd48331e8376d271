// Gives a command in the name of who is at the screen, and says the answer.

const GUARD = 1_200; // after a tap, the same place must not be tapped again at once by a wet finger

let quietUntil = 0;
let hideAt = 0;
const answer = document.getElementById("answer");
const whoName = document.getElementById("who-name");

function kept(name) {
  try {
    return localStorage.getItem(`rimekeeper.${name}`);
  } catch {
    return null;
  }
}

export function keep(name, value) {
  try {
    localStorage.setItem(`rimekeeper.${name}`, value);
  } catch {
    // A screen that may not keep anything still works.
  }
}

export const remembered = kept;
export const who = () => kept("who") || "kitchen screen";

export function tell(sentence, refused = false) {
  answer.textContent = sentence;
  answer.classList.toggle("refused", refused);
  answer.hidden = false;
  clearTimeout(hideAt);
  hideAt = setTimeout(() => { answer.hidden = true; }, refused ? 12_000 : 6_000);
}

export async function give(command) {
  if (performance.now() < quietUntil) return { accepted: false, sentence: "", ignored: true };
  quietUntil = performance.now() + GUARD;
  let body;
  try {
    const response = await fetch("/api/commands", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Rimekeeper-Page": "1" },
      body: JSON.stringify({ ...command, who: who() }),
    });
    body = await response.json();
  } catch {
    body = { accepted: false, sentence: "The kitchen did not answer. Nothing may have been changed; look again when it is live." };
  }
  quietUntil = performance.now() + GUARD;
  tell(body.sentence, !body.accepted);
  return body;
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-give]");
  if (!button || button.disabled) return;
  if (button.dataset.sure) {
    askFirst(JSON.parse(button.dataset.give), JSON.parse(button.dataset.sure));
    return;
  }
  button.setAttribute("aria-busy", "true");
  await give(JSON.parse(button.dataset.give));
  button.removeAttribute("aria-busy");
});

// When something new pushes the page down, the finger that was already on its way must not hit what is there now.
export function pause(ms) {
  quietUntil = Math.max(quietUntil, performance.now() + ms);
}

// --- one more tap, or a reason, before what can't be done lightly -------------------------------------------

const UNANSWERED = 90_000; // a question nobody answers must not cover the screen for ever
const sure = document.getElementById("sure");
const part = (name) => document.getElementById(`sure-${name}`);
let wanted = null;
let forgetAt = 0;

function askFirst(command, words) {
  if (performance.now() < quietUntil) return;
  pause(GUARD);
  wanted = { command, why: words.why };
  part("title").textContent = words.title;
  part("text").textContent = words.text;
  part("do").textContent = words.act;
  part("leave").textContent = words.leave;
  part("why").value = part("trouble").textContent = "";
  part("why-part").hidden = !words.why;
  sure.showModal();
  (words.why ? part("title") : part("leave")).focus();
  stillThere();
}

function stillThere() {
  clearTimeout(forgetAt);
  forgetAt = setTimeout(() => sure.close(), UNANSWERED);
}

for (const kind of ["input", "pointerdown", "keydown"]) sure.addEventListener(kind, stillThere);
part("leave").addEventListener("click", () => sure.close());
part("reasons").addEventListener("click", (event) => {
  const reason = event.target.closest("button");
  if (reason) part("why").value = reason.textContent;
});
part("form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const why = part("why").value.trim();
  if (wanted.why && !why) {
    part("trouble").textContent = "Choose a reason or write one first.";
    return;
  }
  const answered = await give(wanted.why ? { ...wanted.command, why } : wanted.command);
  if (answered.accepted) sure.close();
  else if (!answered.ignored) part("trouble").textContent = answered.sentence;
});

const dialog = document.getElementById("who-dialog");
const input = document.getElementById("who-input");
document.getElementById("who").addEventListener("click", () => {
  input.value = kept("who") ?? "";
  dialog.returnValue = "";
  dialog.showModal();
});
dialog.addEventListener("close", () => {
  if (dialog.returnValue === "keep") keep("who", input.value.trim());
  showWho();
});
function showWho() {
  whoName.textContent = who();
  document.getElementById("who").setAttribute("aria-label", `Who is at the screen: ${who()}. Change`);
}
showWho();
