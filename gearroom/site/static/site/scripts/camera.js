// A camera on a page: the browser reads what it sees, and what it cannot read goes to the API, frame
// by frame, where the page says how (data-frames). Typing, a USB scanner and photos need none of this.

import { reader } from "./label-reader.js";

const WIDTH = 1280; // of a frame, in pixels: a label at arm's length has 3 pixels a module
const QUALITY = 0.8;
const BUDGET_MS = 200; // how long the reader may look at one frame
const REST_MS = 120; // between an answer and the next frame
const HELP_MS = 800; // between frames for the server, where the browser reads too
const BUSY_MS = 2000; // after "too many" or "busy", unless the answer says how long
const AWAY_MS = 2500; // a label counts as new when it was out of sight for so long

const wait = (ms) =>
  new Promise((resolve) => {
    setTimeout(resolve, ms);
  });

/**
 * The camera of a box, still off. In the box are a video, what the camera says (.says), its switch
 * (.switch) and perhaps its light (.torch); its data holds the words. `seen(texts)` is awaited when
 * labels come into sight. The camera is asked for by `start` and by the switch alone.
 */
export function camera(box, seen) {
  const { frames, reader: from } = box.dataset;
  const video = box.querySelector("video");
  const says = box.querySelector(".says");
  const toggle = box.querySelector(".switch");
  const torch = box.querySelector(".torch");
  const canvas = document.createElement("canvas");
  const last = new Map(); // text → when it was last in sight
  let stream = null;
  let asking = false;
  let readHere = null; // reads in the browser, once it is loaded

  const tell = (text) => {
    if (says.textContent !== text) says.textContent = text;
  };

  async function start() {
    if (stream || asking) return;
    if (!window.isSecureContext) return void tell(box.dataset.insecure);
    if (!navigator.mediaDevices?.getUserMedia) return void tell(box.dataset.none);
    asking = true;
    try {
      stream = await navigator.mediaDevices.getUserMedia({
        audio: false,
        video: {
          facingMode: { ideal: "environment" },
          width: { ideal: 1920 },
          height: { ideal: 1080 },
        },
      });
    } catch (error) {
      const refused = ["NotAllowedError", "SecurityError"].includes(error.name);
      return void tell(refused ? box.dataset.refused : box.dataset.none);
    } finally {
      asking = false;
    }
    const mine = stream;
    const [track] = mine.getVideoTracks();
    box.classList.add("on");
    video.srcObject = mine;
    track.addEventListener("ended", () => {
      if (stream === mine) stop();
    });
    if (torch) torch.hidden = !track.getCapabilities?.().torch;
    toggle.textContent = toggle.dataset.off;
    tell(box.dataset.looking);
    await video.play().catch(() => {});
    readHere ??= reader(from);
    readHere.then((found) => {
      if (!found && !frames && stream === mine) stop(box.dataset.unread);
    });
    watch(mine);
  }

  function stop(why = "") {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    video.srcObject = null;
    box.classList.remove("on");
    if (torch) {
      torch.hidden = true;
      torch.setAttribute("aria-pressed", "false");
    }
    toggle.textContent = toggle.dataset.on;
    tell(why);
  }

  function draw() {
    const scale = Math.min(1, WIDTH / video.videoWidth);
    canvas.width = Math.round(video.videoWidth * scale);
    canvas.height = Math.round(video.videoHeight * scale);
    canvas
      .getContext("2d", { willReadFrequently: true })
      .drawImage(video, 0, 0, canvas.width, canvas.height);
  }

  async function watch(mine) {
    let read = null;
    let next = 0; // when the server is asked for help
    readHere.then((found) => {
      read = found;
    });
    while (stream === mine) {
      if (document.hidden || !video.videoWidth || !(read || frames)) {
        await wait(REST_MS);
        continue;
      }
      draw();
      const texts = read ? await read(canvas) : [];
      if (!texts.length && frames && Date.now() >= next) {
        if (read) next = Date.now() + HELP_MS;
        const told = await ask(mine);
        texts.push(...told.texts);
        if (told.wait && read) next = Date.now() + told.wait;
        else if (told.wait) await wait(told.wait);
      }
      if (texts.length) await show(texts, mine);
      await wait(REST_MS);
    }
  }

  /** Have the server read what the canvas shows: the texts, or how long not to ask again. */
  async function ask(mine) {
    const body = new FormData();
    body.append(
      "image",
      await new Promise((done) => {
        canvas.toBlob(done, "image/jpeg", QUALITY);
      }),
      "frame.jpg",
    );
    body.append("frame", "true");
    body.append("budget_ms", String(BUDGET_MS));
    const token = document.querySelector("[name=csrfmiddlewaretoken]").value;
    let answer;
    try {
      answer = await fetch(frames, {
        method: "POST",
        body,
        credentials: "same-origin",
        headers: { "X-CSRFToken": token },
      });
    } catch {
      tell(box.dataset.away);
      return { texts: [], wait: BUSY_MS };
    }
    if (stream !== mine) return { texts: [] };
    if (answer.status === 401 || answer.status === 403) stop(box.dataset.expired);
    if (answer.status === 429 || answer.status >= 500) {
      tell(box.dataset.busy);
      return { texts: [], wait: 1000 * Number(answer.headers.get("Retry-After")) || BUSY_MS };
    }
    if (!answer.ok) return { texts: [] };
    tell(box.dataset.looking);
    const { outcomes } = await answer.json();
    return {
      texts: outcomes.filter((each) => each.means !== "nothing").map((each) => each.read.text),
    };
  }

  async function show(texts, mine) {
    if (stream !== mine) return;
    const now = Date.now();
    const fresh = texts.filter((text) => now - (last.get(text) ?? 0) > AWAY_MS);
    for (const text of texts) last.set(text, now);
    if (!fresh.length) return;
    box.classList.add("seen");
    await seen(fresh);
    for (const text of texts) last.set(text, Date.now());
    box.classList.remove("seen");
  }

  torch?.addEventListener("click", async () => {
    const on = torch.getAttribute("aria-pressed") !== "true";
    await stream?.getVideoTracks()[0].applyConstraints({ advanced: [{ torch: on }] });
    torch.setAttribute("aria-pressed", String(on));
  });
  toggle.addEventListener("click", () => (stream ? stop() : start()));
  return { start, stop };
}
