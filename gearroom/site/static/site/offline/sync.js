// On every page: keep the kits of one's rooms for when there is no network, send what waits on this
// phone, and say how much that is.

import "./queue.js";

const queue = globalThis.gearQueue;
const bar = document.getElementById("pocket");
const FRESH_S = 120; // how old the kept kits may be before they are fetched again
const HIDDEN_S = 20; // the same, when the phone is put away
const AGAIN_MS = 15_000;
let timer = 0;

async function show() {
  const open = (await queue.acts()).filter((act) => act.state !== "done" && !act.settled);
  const waits = open.filter((act) => act.state === "waits").length;
  const settle = open.length - waits;
  bar.hidden = open.length === 0;
  const words = [];
  if (waits) words.push(bar.dataset[waits === 1 ? "one" : "waits"].replace("COUNT", waits));
  if (settle) words.push(bar.dataset[settle === 1 ? "settle" : "settles"].replace("COUNT", settle));
  bar.querySelector("a").textContent = words.join(" ");
  return waits;
}

async function send() {
  clearTimeout(timer);
  if (!(await show())) return;
  const told = await queue.send();
  const waits = await show();
  if (told.sent) await queue.refresh(0);
  if (waits && told.reach !== "signed-out") timer = setTimeout(send, 1000 * told.retry || AGAIN_MS);
}

async function start() {
  const workerIsKept = keepWorker();
  await send();
  await keepFresh(workerIsKept);
}

/** Keep worker and kits as they are now, and again before long; sooner where one did not come. */
async function keepFresh(workerIsKept) {
  const fresh = document.hidden || ((await refresh(FRESH_S)) && (await workerIsKept));
  setTimeout(() => keepFresh(keepWorker()), fresh ? 1000 * FRESH_S : AGAIN_MS);
}

const keepWorker = () =>
  navigator.serviceWorker?.register("/worker.js").then(
    ({ active }) => Boolean(active), // not while it is being installed, which can fail
    () => false,
  ) ?? true; // without one, all but keeping works

const refresh = (seconds) => (bar.dataset.keeps ? queue.refresh(seconds) : true);

document.querySelector("form[action='/sign-out/']")?.addEventListener("submit", async (event) => {
  event.preventDefault(); // whoever signs out takes the kits with them
  await queue.forget().catch(() => {});
  event.target.submit();
});
queue.listen(show);
addEventListener("online", send);
document.addEventListener("visibilitychange", () => (document.hidden ? refresh(HIDDEN_S) : send())); // off to the hills
if (globalThis.indexedDB) start().catch(() => {}); // a browser that keeps nothing: the network alone
