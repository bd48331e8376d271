// Tone and voice. A browser lets a page sound only after somebody touched it, so it starts off until then.

import { keep, remembered } from "./give.js";

const button = document.getElementById("sound");
const word = document.getElementById("sound-word");
const signUse = document.getElementById("sound-sign");
let wanted = remembered("sound") === "on";
let unlocked = false;
let audio = null;

function paint() {
  const on = wanted && unlocked;
  button.setAttribute("aria-pressed", String(on));
  word.textContent = on ? "Sound on" : wanted ? "Tap for sound" : "Sound off";
  button.setAttribute("aria-label", word.textContent);
  signUse.setAttribute("href", on ? "#sign-sound" : "#sign-mute");
}

function unlock() {
  if (!wanted || unlocked) return;
  try {
    audio ??= new AudioContext();
    audio.resume();
    unlocked = true;
  } catch {
    unlocked = false;
  }
  paint();
}

button.addEventListener("click", (event) => {
  event.stopPropagation();
  wanted = !(wanted && unlocked);
  keep("sound", wanted ? "on" : "off");
  if (wanted) {
    unlock();
    tone("prompt");
    speak("Sound is on.");
  } else {
    window.speechSynthesis?.cancel();
  }
  paint();
});
document.addEventListener("pointerdown", unlock);
document.addEventListener("keydown", unlock);
paint();

const TUNES = {
  prompt: [[520, 0, 0.16], [660, 0.2, 0.22]],
  low: [[440, 0, 0.3]],
  medium: [[560, 0, 0.22], [560, 0.35, 0.22]],
  high: [[740, 0, 0.2], [560, 0.25, 0.2], [740, 0.5, 0.3]],
  critical: [[880, 0, 0.2], [620, 0.22, 0.2], [880, 0.44, 0.2], [620, 0.66, 0.2], [880, 0.88, 0.35]],
};

export function tone(kind) {
  if (!wanted || !unlocked || !audio) return;
  for (const [pitch, after, lasts] of TUNES[kind] ?? TUNES.high) {
    const voice = audio.createOscillator();
    const loudness = audio.createGain();
    const begins = audio.currentTime + after;
    voice.type = "triangle";
    voice.frequency.value = pitch;
    loudness.gain.setValueAtTime(0.0001, begins);
    loudness.gain.exponentialRampToValueAtTime(0.5, begins + 0.02);
    loudness.gain.exponentialRampToValueAtTime(0.0001, begins + lasts);
    voice.connect(loudness).connect(audio.destination);
    voice.start(begins);
    voice.stop(begins + lasts + 0.05);
  }
}

export function speak(sentence, urgent = false) {
  if (!wanted || !unlocked || !window.speechSynthesis) return;
  if (urgent) window.speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(sentence.replaceAll("\u2212", "minus "));
  words.lang = "en";
  words.rate = 0.95;
  window.speechSynthesis.speak(words);
}
