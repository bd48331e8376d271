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
  button.setAttribute("aria-busy", "true");
  await give(JSON.parse(button.dataset.give));
  button.removeAttribute("aria-busy");
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
