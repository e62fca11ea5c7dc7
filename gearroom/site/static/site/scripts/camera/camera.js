// A camera on a page: the browser reads what it sees, and what it cannot read goes to the API, frame
// by frame, where the page says how (data-frames). Typing, a USB scanner and photos need none of this.

import { reader } from "./label-reader.js";

const WIDTH = 1280; // of a frame, in pixels: a label at arm's length has 3 pixels a module
const QUALITY = 0.8;
const BUDGET_MS = 200; // how long the reader may look at one frame
const REST_MS = 120; // between an answer and the next frame
const HELP_MS = 800; // between frames for the server, where the browser reads too
const BUSY_MS = 2000; // after "too many" or "busy", unless the answer says how long
const LONGEST_REST_MS = 120_000; // then the camera is switched off
const AWAY_MS = 2500; // a label counts as new when it was out of sight for so long
const DEAD_MS = 1500; // a track that stays mute for so long shows nothing any more
const TRIES = 3; // to start again in a row
const AGAIN_MS = 500; // longer between tries, each time
const WELL_MS = 5000; // a stream that lasts so long went well

const wait = (ms) =>
  new Promise((resolve) => {
    setTimeout(resolve, ms);
  });

/**
 * The camera of a box, still off. In the box are a video, what the camera says (.says), its switch
 * (.switch) and perhaps its light (.torch); its data holds the words. `seen(texts)` is awaited when
 * labels come into sight. The camera is asked for by `start` and by the switch alone; one stream is
 * kept while it is on, and while it rests (`rest`: it shows and reads nothing until `start` or the
 * switch; after a while it goes off). Where the system takes it away, in the background or for
 * another program, it is started again as soon as the page is in front.
 */
export function camera(box, seen) {
  const { frames, reader: from } = box.dataset;
  const video = box.querySelector("video");
  const says = box.querySelector(".says");
  const toggle = box.querySelector(".switch");
  const torch = box.querySelector(".torch");
  const canvas = document.createElement("canvas");
  const last = new Map(); // text → when it was last in sight
  let inSight = []; // the texts of the last frame that had any
  let stream = null;
  let asking = false;
  let wanted = false; // it was started, and nobody has stopped it since
  let resting = 0; // the timer that ends a rest
  let lit = false; // the light is to be on
  let tries = 0; // to start again since it last went well
  let since = 0; // when the stream began
  let readHere = null; // reads in the browser, once it is loaded

  const tell = (text) => {
    if (says.textContent !== text) says.textContent = text;
  };

  async function start() {
    wanted = true;
    if (resting) wake();
    if (stream || asking) return;
    if (!window.isSecureContext) return void stop(box.dataset.insecure);
    if (!navigator.mediaDevices?.getUserMedia) return void stop(box.dataset.none);
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
      if (!refused && tries > 0 && tries < TRIES) return void again();
      return void stop(refused ? box.dataset.refused : box.dataset.none);
    } finally {
      asking = false;
      box.classList.remove("starting");
    }
    if (!wanted) return void stop(); // it was stopped while it was asked for
    const mine = stream;
    const [track] = mine.getVideoTracks();
    since = Date.now();
    video.srcObject = mine;
    track.addEventListener("ended", () => revive(mine));
    if (torch) torch.hidden = !track.getCapabilities?.().torch;
    if (lit) light(true);
    look();
    await video.play().catch(() => {});
    readHere ??= reader(from);
    readHere.then((found) => {
      if (!found && !frames && stream === mine) stop(box.dataset.unread);
    });
    watch(mine);
  }

  function look() {
    box.classList.add("on");
    toggle.textContent = toggle.dataset.off;
    tell(box.dataset.looking);
  }

  /** Show and read nothing for now; the stream is kept. */
  function rest() {
    if (!stream || resting) return;
    resting = setTimeout(stop, LONGEST_REST_MS);
    box.classList.remove("on", "seen");
    toggle.textContent = toggle.dataset.on;
    tell("");
  }

  /** Look again. What was in sight before the rest counts as in sight still. */
  function wake() {
    clearTimeout(resting);
    resting = 0;
    for (const text of inSight) last.set(text, Date.now());
    look();
  }

  function stop(why = "") {
    clearTimeout(resting);
    resting = 0;
    wanted = lit = false;
    tries = 0;
    release();
    tell(why);
  }

  function release() {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    video.srcObject = null;
    box.classList.remove("on", "starting");
    if (torch) {
      torch.hidden = true;
      torch.setAttribute("aria-pressed", "false");
    }
    toggle.textContent = toggle.dataset.on;
  }

  /** Start anew where this stream has ended; while the page is out of sight, wait until it is back. */
  function revive(mine) {
    if (stream !== mine || !wanted) return;
    if (resting) return void stop();
    release();
    if (Date.now() - since > WELL_MS) tries = 0;
    if (tries >= TRIES) return void stop(box.dataset.stopped);
    if (!document.hidden) again();
  }

  function again() {
    tries += 1;
    setTimeout(() => wanted && !document.hidden && start(), (tries - 1) * AGAIN_MS);
  }

  async function comeBack() {
    if (document.hidden || !wanted) return;
    tries = 0;
    const mine = stream;
    if (!mine) return void start();
    const [track] = mine.getVideoTracks();
    if (track.readyState === "ended") return void revive(mine);
    await video.play().catch(() => {});
    if (track.muted) setTimeout(() => track.muted && revive(mine), DEAD_MS);
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
      if (document.hidden || resting || !video.videoWidth || !(read || frames)) {
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
    if (stream !== mine || resting) return;
    inSight = texts;
    const now = Date.now();
    const fresh = texts.filter((text) => now - (last.get(text) ?? 0) > AWAY_MS);
    for (const text of texts) last.set(text, now);
    if (!fresh.length) return;
    box.classList.add("seen");
    await seen(fresh);
    for (const text of texts) last.set(text, Date.now());
    box.classList.remove("seen");
  }

  async function light(on) {
    const [track] = stream?.getVideoTracks() ?? [];
    await track?.applyConstraints({ advanced: [{ torch: on }] }).catch(() => {});
    lit = on;
    torch.setAttribute("aria-pressed", String(on));
  }

  torch?.addEventListener("click", () => light(torch.getAttribute("aria-pressed") !== "true"));
  document.addEventListener("visibilitychange", comeBack);
  addEventListener("pageshow", ({ persisted }) => persisted && comeBack());
  toggle.addEventListener("click", () => (stream && !resting ? stop() : start()));
  toggle.disabled = false; // until then a tap would have been lost
  return { start, stop, rest };
}
