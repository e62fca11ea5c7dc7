// The service worker: keeps the scan page's shell for when there is no network, and sends what waits
// when the browser says that it is back. FACTS stands above: the version, the page, its files.
//
// Nothing of anybody's is kept here: pages of people go to the network alone.

importScripts(FACTS.queue);

const SHELL = `shell-${FACTS.version}`;
const READER = `${FACTS.static}reading/`; // kept once the camera has asked for it, not before
const SLOW_MS = 4000; // a network that takes so long is none
const AWAY_MS = 30_000; // after it was none, what is kept is served at once for so long
let awayUntil = 0;

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      const cache = await caches.open(SHELL);
      await cache.addAll(
        [FACTS.page, ...FACTS.files].map((url) => new Request(url, { cache: "no-cache" })),
      );
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const names = await caches.keys();
      const before = names.filter((name) => name.startsWith("shell-") && name !== SHELL);
      const cache = await caches.open(SHELL);
      for (const name of before) {
        const old = await caches.open(name);
        for (const request of await old.keys()) {
          // a reader that was there stays for the trailhead
          const kept =
            new URL(request.url).pathname.startsWith(READER) && !(await cache.match(request));
          if (kept) await cache.put(request, await old.match(request));
        }
        await caches.delete(name);
      }
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("sync", (event) => {
  if (event.tag === "send")
    event.waitUntil(
      gearQueue.send().then((told) => {
        if (told.reach === "away" || told.reach === "busy") throw new Error("not yet"); // tried again later
      }),
    );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method !== "GET") {
    return; // what was to be done: the browser says that it could not be sent, and sends it again
  } else if (request.mode === "navigate") {
    event.respondWith(navigate(request, url));
  } else if (url.pathname.startsWith(FACTS.static)) {
    event.respondWith(file(request, url));
  }
});

const kept = async () => (await caches.match(FACTS.page)) ?? Response.error();

/** A page: from the network; where there is none, the shell, which looks at the address itself. */
async function navigate(request, url) {
  const hurry = url.pathname === FACTS.scan || url.pathname === FACTS.page;
  try {
    return await (hurry ? soon(fetch(request)) : fetch(request));
  } catch {
    awayUntil = Date.now() + AWAY_MS;
    return kept();
  }
}

/** A static file: from the network, so that a page never meets files of another version; where that
 * is away, as it was kept. */
async function file(request, url) {
  const cache = await caches.open(SHELL);
  const here = await cache.match(request);
  if (here && Date.now() < awayUntil) return here;
  try {
    const answer = await (here ? soon(fetch(request)) : fetch(request));
    if (answer.ok && url.pathname.startsWith(READER)) await cache.put(request, answer.clone());
    return answer;
  } catch (error) {
    awayUntil = Date.now() + AWAY_MS;
    if (here) return here;
    throw error;
  }
}

function soon(answer) {
  return Promise.race([
    answer,
    new Promise((resolve, reject) => {
      setTimeout(() => reject(new Error("slow")), SLOW_MS);
    }),
  ]);
}
