// The scan page: what its camera reads goes through the page's own form, and what came of it can be
// heard and felt. Typing, a USB scanner and photos need none of this.

import { send } from "./in-place.js";
import { camera } from "./camera/camera.js";
import { isCode } from "../offline/packing.js";

const form = document.getElementById("scan");
const typed = document.getElementById("text");
const photo = document.getElementById("image");
const box = document.getElementById("camera");
let sound = null;
let rested = false; // the camera rests while the page asks something first

// ------------------------------------------------------------------------------ beep and vibrate
for (const id of ["beep", "buzz"]) {
  const choice = document.getElementById(id);
  choice.checked = localStorage.getItem(id) !== "off";
  choice.addEventListener("change", () => localStorage.setItem(id, choice.checked ? "on" : "off"));
}

function signal(good) {
  if (document.getElementById("buzz").checked) navigator.vibrate?.(good ? 60 : [60, 80, 60]);
  if (!document.getElementById("beep").checked) return;
  sound ??= new AudioContext();
  if (sound.state === "suspended") sound.resume().catch(() => {});
  const tone = new OscillatorNode(sound, { frequency: good ? 1320 : 330 });
  const volume = new GainNode(sound, { gain: 0.15 });
  tone.connect(volume).connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.12);
}

// --------------------------------------------------------------------------------------- the camera
const eye = camera(box, async (texts) => {
  const records = texts.some(isCode); // another phone hands over what it recorded: taken in there
  if (records) return location.assign(document.getElementById("take-in").href);
  const place = await send(form, { text: texts, image: [] });
  if (place) answered(place);
});

// ------------------------------------------------------------------------------------- what came of it
function answered(place) {
  signal(!place.querySelector(".problem, .tag.stop"));
  const question = place.querySelector("#question");
  (question ?? place.querySelector(".problem, .tag"))?.scrollIntoView({ block: "nearest" });
  if (question && box.classList.contains("on")) {
    rested = true;
    eye.rest();
  } else if (!question && rested) {
    rested = false;
    eye.start();
  }
}

document.addEventListener("answered", (event) => {
  answered(event.detail);
  photo.value = "";
  typed.focus({ preventScroll: true }); // a USB scanner types on
});
photo.addEventListener("change", () => {
  if (photo.files.length) form.requestSubmit();
});
// A USB scanner types wherever the focus is: catch it, unless a field has it already.
document.addEventListener("keydown", (event) => {
  const busy = event.target.closest("input, select, textarea, button, a, summary");
  if (!busy && event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey)
    typed.focus();
});

document.getElementById("signals").hidden = false;
eye.start();
