// The camera of the scan page: the browser reads what it sees, and what it cannot read goes to the
// API, frame by frame; what was read goes through the page's own form. Typing, a USB scanner and
// photos need none of this.

import { send } from "./answers.js";
import { reader } from "./offline-reading.js";

const WIDTH = 1280; // of a frame, in pixels: a label at arm's length has 3 pixels a module
const QUALITY = 0.8;
const BUDGET_MS = 200; // how long the reader may look at one frame
const REST_MS = 120; // between an answer and the next frame
const HELP_MS = 800; // between frames for the server, where the browser reads too
const BUSY_MS = 2000; // after "too many" or "busy", unless the answer says how long
const AWAY_MS = 2500; // a label counts as new when it was out of sight for so long

const box = document.getElementById("camera");
const video = document.getElementById("video");
const says = document.getElementById("camera-says");
const toggle = document.getElementById("camera-switch");
const torch = document.getElementById("torch");
const form = document.getElementById("scan");
const typed = document.getElementById("text");
const photo = document.getElementById("image");
const canvas = document.createElement("canvas");
const seen = new Map(); // text → when it was last in sight
let stream = null;
let readHere = null; // reads in the browser, once it is loaded
let sound = null;

const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
const tell = (text) => { if (says.textContent !== text) says.textContent = text; };

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
async function start() {
  if (!window.isSecureContext) return tell(box.dataset.insecure);
  if (!navigator.mediaDevices?.getUserMedia) return tell(box.dataset.none);
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: false,
      video: { facingMode: { ideal: "environment" }, width: { ideal: 1920 }, height: { ideal: 1080 } },
    });
  } catch (error) {
    const refused = ["NotAllowedError", "SecurityError"].includes(error.name);
    return tell(refused ? box.dataset.refused : box.dataset.none);
  }
  video.srcObject = stream;
  await video.play().catch(() => {});
  const [track] = stream.getVideoTracks();
  track.addEventListener("ended", stop);
  torch.hidden = !track.getCapabilities?.().torch;
  toggle.textContent = toggle.dataset.off;
  tell(box.dataset.looking);
  reader(box.dataset.reader).then((found) => { readHere = found; });
  watch(stream);
}

function stop() {
  stream?.getTracks().forEach((track) => track.stop());
  stream = null;
  video.srcObject = null;
  torch.hidden = true;
  torch.setAttribute("aria-pressed", "false");
  toggle.textContent = toggle.dataset.on;
  tell("");
}

torch.addEventListener("click", async () => {
  const on = torch.getAttribute("aria-pressed") !== "true";
  await stream?.getVideoTracks()[0].applyConstraints({ advanced: [{ torch: on }] });
  torch.setAttribute("aria-pressed", String(on));
});

function draw() {
  const scale = Math.min(1, WIDTH / video.videoWidth);
  canvas.width = Math.round(video.videoWidth * scale);
  canvas.height = Math.round(video.videoHeight * scale);
  canvas.getContext("2d", { willReadFrequently: true }).drawImage(video, 0, 0, canvas.width, canvas.height);
}

function frame() {
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
}

async function watch(mine) {
  let next = 0; // when the server is asked for help
  while (stream === mine) {
    if (document.hidden || !video.videoWidth) {
      await wait(REST_MS);
      continue;
    }
    draw();
    if (readHere) {
      const texts = await readHere(canvas);
      if (texts.length || Date.now() < next) {
        await read(texts.map((text) => ({ read: { text } })));
        await wait(REST_MS);
        continue;
      }
      next = Date.now() + HELP_MS;
    }
    const body = new FormData();
    body.append("image", await frame(), "frame.jpg");
    body.append("frame", "true");
    body.append("budget_ms", String(BUDGET_MS));
    let answer;
    try {
      answer = await fetch(box.dataset.frames, {
        method: "POST", body, credentials: "same-origin",
        headers: { "X-CSRFToken": form.elements.csrfmiddlewaretoken.value },
      });
    } catch {
      tell(box.dataset.away);
      if (readHere) next = Date.now() + BUSY_MS;
      else await wait(BUSY_MS);
      continue;
    }
    if (answer.status === 401 || answer.status === 403) {
      stop();
      return tell(box.dataset.expired);
    }
    if (answer.status === 429 || answer.status >= 500) {
      tell(box.dataset.busy);
      await wait(1000 * Number(answer.headers.get("Retry-After")) || BUSY_MS);
      continue;
    }
    const told = await answer.json();
    tell(box.dataset.looking);
    await read((told.outcomes ?? []).filter((each) => each.means !== "nothing"));
    await wait(REST_MS);
  }
}

async function read(outcomes) {
  const now = Date.now();
  const texts = outcomes.map((each) => each.read.text);
  const fresh = texts.filter((text) => now - (seen.get(text) ?? 0) > AWAY_MS);
  for (const text of texts) seen.set(text, now);
  if (!fresh.length) return;
  box.classList.add("seen");
  const place = await send(form, { text: fresh, image: [] });
  for (const text of texts) seen.set(text, Date.now());
  box.classList.remove("seen");
  if (place) answered(place);
}

// ------------------------------------------------------------------------------------- what came of it
function answered(place) {
  signal(!place.querySelector(".problem, .tag.stop"));
  place.querySelector(".problem, .tag")?.scrollIntoView({ block: "nearest" });
}

document.addEventListener("answered", (event) => {
  answered(event.detail);
  photo.value = "";
  typed.focus({ preventScroll: true }); // a USB scanner types on
});
photo.addEventListener("change", () => { if (photo.files.length) form.requestSubmit(); });
toggle.addEventListener("click", () => (stream ? stop() : start()));
// A USB scanner types wherever the focus is: catch it, unless a field has it already.
document.addEventListener("keydown", (event) => {
  const busy = event.target.closest("input, select, textarea, button, a, summary");
  if (!busy && event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) typed.focus();
});

document.getElementById("signals").hidden = false;
start();
