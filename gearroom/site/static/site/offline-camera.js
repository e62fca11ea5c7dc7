// The camera of the page without a network: the browser reads every picture itself.

import { reader } from "./offline-reading.js";

const WIDTH = 1280; // of a picture, in pixels
const REST_MS = 120; // between two pictures
const AWAY_MS = 2500; // a label counts as new when it was out of sight for so long

const wait = (ms) => new Promise((resolve) => { setTimeout(resolve, ms); });

/** The camera that belongs to a box; `seen(text)` is called for each label that comes into sight. */
export function camera(box, seen) {
  const video = box.querySelector("video");
  const says = box.querySelector(".says");
  const toggle = box.querySelector("button");
  const canvas = document.createElement("canvas");
  const last = new Map(); // text → when it was last in sight
  let stream = null;

  async function start() {
    if (!navigator.mediaDevices?.getUserMedia) return void (says.textContent = box.dataset.none);
    try {
      stream = await navigator.mediaDevices.getUserMedia({
        audio: false,
        video: { facingMode: { ideal: "environment" }, width: { ideal: 1920 }, height: { ideal: 1080 } },
      });
    } catch (error) {
      const refused = ["NotAllowedError", "SecurityError"].includes(error.name);
      return void (says.textContent = refused ? box.dataset.refused : box.dataset.none);
    }
    video.srcObject = stream;
    await video.play().catch(() => {});
    toggle.textContent = toggle.dataset.off;
    const read = await reader(box.dataset.reader);
    says.textContent = read ? box.dataset.looking : box.dataset.unread;
    if (read) watch(stream, read);
    else stop(says.textContent);
  }

  function stop(why = "") {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    video.srcObject = null;
    toggle.textContent = toggle.dataset.on;
    says.textContent = why;
  }

  async function watch(mine, read) {
    while (stream === mine) {
      if (!document.hidden && video.videoWidth) {
        const scale = Math.min(1, WIDTH / video.videoWidth);
        canvas.width = Math.round(video.videoWidth * scale);
        canvas.height = Math.round(video.videoHeight * scale);
        canvas.getContext("2d", { willReadFrequently: true }).drawImage(video, 0, 0, canvas.width, canvas.height);
        const now = Date.now();
        for (const text of await read(canvas)) {
          const fresh = now - (last.get(text) ?? 0) > AWAY_MS;
          last.set(text, now);
          if (fresh) await seen(text);
        }
      }
      await wait(REST_MS);
    }
  }

  toggle.addEventListener("click", () => (stream ? stop() : start()));
  start();
}
