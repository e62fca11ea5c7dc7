// Acts that wait on this phone until the gear room can be reached, in IndexedDB, and how they are
// sent: in order, each under its own key, so that it counts once however often it is sent.
//
// Pages import this file, the service worker loads it with importScripts: so it exports nothing, and
// leaves `gearQueue` behind instead.
//
// An act:  seq      its place in the order
//          key      the UUID under which it counts once
//          by       who wrote it down (a person's id), name
//          path     the address that it is sent to, below /api/v1/
//          body     what is sent, without the times
//          at       when it was done, by this phone's clock (ISO)
//          offset   how far this phone's clock was ahead of the gear room's then (ms), or null
//          says     the sentence that people see
//          kit      the kit that it is of, by name or code; kind, facts: see offline/acts.js
//          state    "waits", "done", "irregular" (in the book, though it broke a rule), "refused"
//          tried    whether it was ever sent, so that nobody can know that it is not in the book
//          proof    signed by whose it is, so that somebody else's login may send it; null: it may not
//          handed   who took it in from another phone, and sends it; handedName
//          answer   what came of it: entry, codes, texts

(() => {
  const READY = "/offline/ready/";
  const BOOK = "/offline/kits/";
  const LOCK = "gearroom-queue";
  const ASK_MS = 10_000; // a network that takes so long for a question, or
  const ACT_MS = 60_000; // for an act, is none
  const SHIFTED_MS = 60_000; // a clock that moved so far between act and sending was set
  const KEEP_DONE_MS = 2 * 24 * 3600_000;
  const KEEP_SETTLED_MS = 60 * 24 * 3600_000;
  const CHANNEL = "gearroom-queue";
  const news = new BroadcastChannel(CHANNEL);
  let opened = null;

  /** JSON with the members of objects in order, as the server writes it to check a signature. */
  const inOrder = (value) =>
    JSON.stringify(value, (name, each) =>
      each && typeof each === "object" && !Array.isArray(each)
        ? Object.fromEntries(Object.entries(each).sort(([a], [b]) => (a < b ? -1 : 1)))
        : each,
    );

  /** An act's signature (HMAC-SHA-256, hexadecimal) with what its person's login gave this phone. */
  async function proof({ by, key, path, offset, body, at }, secret) {
    if (!secret || !crypto.subtle) return null;
    const bytes = (text) => new TextEncoder().encode(text);
    const how = { name: "HMAC", hash: "SHA-256" };
    const signer = await crypto.subtle.importKey("raw", bytes(secret), how, false, ["sign"]);
    const text = inOrder([by, key, decodeURIComponent(path), offset, { ...body, occurred_at: at }]);
    const signed = new Uint8Array(await crypto.subtle.sign("HMAC", signer, bytes(text)));
    return [...signed].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  // -------------------------------------------------------------------------------- the database
  function database() {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open("gearroom", 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("acts", { keyPath: "seq", autoIncrement: true });
        asked.result.createObjectStore("kept");
      };
      asked.onsuccess = () => {
        asked.result.onversionchange = () => {
          asked.result.close();
          opened = null;
        };
        asked.result.onclose = () => {
          opened = null;
        };
        resolve(asked.result);
      };
      asked.onerror = () => {
        opened = null;
        reject(asked.error);
      };
    });
    return opened;
  }

  /** Do something in a transaction; resolves once it is on the disk, with what was asked for. */
  async function within(store, mode, work) {
    const db = await database();
    return new Promise((resolve, reject) => {
      const deal = db.transaction(store, mode, { durability: "strict" });
      const asked = work(deal.objectStore(store));
      deal.oncomplete = () => resolve(asked?.result);
      deal.onabort = deal.onerror = () => reject(deal.error);
    });
  }

  const acts = () => within("acts", "readonly", (store) => store.getAll());
  const kept = (name) => within("kept", "readonly", (store) => store.get(name));
  const keep = (name, value) => within("kept", "readwrite", (store) => store.put(value, name));
  const put = (act) => within("acts", "readwrite", (store) => store.put(act)).then(tell);
  const tell = () => news.postMessage("changed");
  /** Have something done whenever acts or kits have changed, in this page or elsewhere. */
  const listen = (what) => {
    new BroadcastChannel(CHANNEL).onmessage = () => what();
  };
  const alone = (work) => (navigator.locks ? navigator.locks.request(LOCK, work) : work());

  /** Write an act down; it is on the disk when this resolves. */
  async function add(act) {
    const book = await kept("book");
    if (!book) throw new Error("nobody has signed in on this phone");
    const clock = await kept("clock");
    const made = {
      key: crypto.randomUUID(),
      by: book.person,
      name: book.name,
      at: new Date().toISOString(),
      offset: clock ?? null,
      state: "waits",
      tried: false,
      ...act,
    };
    made.proof = await proof(made, book.signs);
    await within("acts", "readwrite", (store) => store.add(made));
    tell();
    navigator.storage?.persist?.().then(tell, () => {}); // some browsers ask: nothing waits for it
    askToSend(); // nothing waits for it either
  }

  /** Have the worker send what waits once there is a network, where there is Background Sync. */
  async function askToSend() {
    const worker = await navigator.serviceWorker?.getRegistration?.().catch(() => null);
    await worker?.sync?.register("send").catch(() => {});
  }

  /** Whether the browser promised to keep what waits here; unless it did, it may clear it away. */
  const isKept = async () => (await navigator.storage?.persisted?.().catch(() => false)) ?? false;

  /**
   * Take acts in that another phone handed over, to be sent by whoever is signed in here; how many
   * are new. One that is here already is the same act; one that was refused is tried again.
   */
  const takeIn = (others) =>
    alone(async () => {
      const book = await kept("book");
      if (!book) throw new Error("nobody has signed in on this phone");
      const here = new Map((await acts()).map((act) => [act.key, act]));
      let taken = 0;
      for (const act of others) {
        const old = here.get(act.key);
        if (old && !(old.handed && old.state === "refused")) continue;
        const { seq } = old ?? {};
        const taker = { handed: book.person, handedName: book.name };
        await put({ ...act, ...(seq && { seq }), ...taker, state: "waits", tried: false });
        taken += 1;
      }
      return taken;
    });

  /** Take an act back that was never sent; false where it may be in the book already. */
  const takeBack = (seq) =>
    alone(async () => {
      const act = (await acts()).find((each) => each.seq === seq);
      if (!act || act.state !== "waits" || act.tried) return false;
      await within("acts", "readwrite", (store) => store.delete(seq));
      tell();
      return true;
    });

  /** Say that what came of an act is settled; it is put away. */
  const settle = (seq) =>
    alone(async () => {
      const act = (await acts()).find((each) => each.seq === seq);
      if (act && act.state !== "waits") await put({ ...act, settled: Date.now() });
    });

  /** Send a refused act once more, as a new one: what stood against it was put right. */
  const again = (seq) =>
    alone(async () => {
      const act = (await acts()).find((each) => each.seq === seq);
      if (act?.state !== "refused" || act.settled) return;
      const { seq: old, answer, ...same } = act;
      const next = { ...same, key: crypto.randomUUID(), state: "waits", tried: false };
      const book = await kept("book");
      next.proof = book?.person === act.by ? await proof(next, book.signs) : null;
      await put(next);
      await put({ ...act, settled: Date.now() });
    });

  /** Forget what belongs to whoever signed in. Acts that wait stay theirs, and what is to settle
   * stays for whoever comes next. */
  async function forget() {
    await within("kept", "readwrite", (store) => store.clear());
    for (const act of await acts()) {
      if (act.state === "done" || act.settled)
        await within("acts", "readwrite", (store) => store.delete(act.seq));
    }
    tell();
  }

  // ------------------------------------------------------------------------------------- sending
  /** Who is signed in: their facts, null for nobody, undefined where the room is out of reach. */
  async function ready() {
    let answer;
    try {
      answer = await fetch(READY, {
        cache: "no-store",
        credentials: "same-origin",
        signal: AbortSignal.timeout(ASK_MS),
      });
      if (answer.status === 401) return null;
      if (!answer.ok) return undefined;
      const who = await answer.json(); // no JSON: something on the way answered for it
      if (!who.person) return undefined;
      await keep("clock", Date.now() - Date.parse(who.now));
      return who;
    } catch {
      return undefined;
    }
  }

  /**
   * Send what waits, in order. Returns `reach` ("here", "away", "signed-out"), `sent` (how many) and
   * `retry` (seconds after which to go on, where it was told).
   */
  const send = () =>
    alone(async () => {
      const who = await ready();
      if (who === undefined) return { reach: "away", sent: 0 };
      if (who === null) return { reach: "signed-out", sent: 0 };
      let sent = 0;
      for (const act of await acts()) {
        if (act.state !== "waits" || sender(act) !== who.person) continue;
        const outcome = await sendOne(act, who);
        if (outcome !== "sent") return { sent, ...outcome };
        sent += 1;
      }
      await prune();
      return { reach: "here", sent, who };
    });

  /** Who sends an act: whose it is, or who took it in. */
  const sender = (act) => act.handed ?? act.by;

  /** What the clock that timed an act shows now, had it not been set since. */
  function clockOf(act, who) {
    const offset = Date.now() - Date.parse(who.now);
    const shift = act.offset === null ? 0 : offset - act.offset;
    return new Date(Date.now() - (Math.abs(shift) > SHIFTED_MS ? shift : 0)).toISOString();
  }

  async function sendOne(act, who) {
    act.tried = true;
    await put(act);
    const from = `${act.by} ${act.offset ?? "-"} ${act.proof}`;
    let answer, told;
    try {
      answer = await fetch(act.path, {
        method: "POST",
        credentials: "same-origin",
        cache: "no-store",
        signal: AbortSignal.timeout(ACT_MS),
        headers: {
          "Content-Type": "application/json",
          "Idempotency-Key": act.key,
          "X-CSRFToken": who.csrf,
          ...(act.by !== who.person && { "Gearroom-Handed-Over": from }),
        },
        body: JSON.stringify({
          ...act.body,
          occurred_at: act.at,
          device_now: clockOf(act, who),
        }),
      });
      told = await answer.json();
    } catch {
      return { reach: "away" };
    }
    if (answer.ok) {
      const entry = told.entry ?? told.checkout?.entry ?? null;
      const codes = [
        ...new Set([...(entry?.irregular ?? []), ...(told.used?.entry?.irregular ?? [])]),
      ];
      const texts = Object.fromEntries(
        (told.verdict?.reasons ?? []).map((each) => [each.code, each.text]),
      );
      await put({
        ...act,
        state: codes.length ? "irregular" : "done",
        ended: Date.now(),
        answer: { entry: entry?.id ?? null, codes, texts },
      });
      return "sent";
    }
    const retry = Number(answer.headers.get("Retry-After")) || told.retry_after || 0;
    if (answer.status === 401) return { reach: "signed-out" };
    if (answer.status === 403 && told.code === "not-allowed") return { reach: "signed-out" };
    if (answer.status === 429 || answer.status >= 500 || told.code === "in-flight")
      return { reach: "busy", retry };
    if (!told.code) return { reach: "away" }; // no answer of ours
    const texts = Object.values(told.errors ?? {}).flat();
    await put({
      ...act,
      state: "refused",
      ended: Date.now(),
      answer: {
        entry: null,
        codes: [told.code],
        says: [told.detail, ...texts].filter(Boolean).join(" "),
      },
    });
    return "sent";
  }

  async function prune() {
    const now = Date.now();
    const old = (await acts()).filter(
      (act) =>
        (act.state === "done" && now - act.ended > KEEP_DONE_MS) ||
        now - (act.settled ?? now) > KEEP_SETTLED_MS,
    );
    for (const act of old) await within("acts", "readwrite", (store) => store.delete(act.seq));
  }

  // -------------------------------------------------------------------------------- the kits, kept
  /** Fetch the pocket book anew where what is kept is older than so many seconds; whether it is
   * fresh now. Only while somebody is signed in. */
  async function refresh(seconds) {
    const old = await kept("book");
    if (old && Date.now() - old.fetched < seconds * 1000) return true;
    try {
      const headers = old ? { "If-None-Match": old.tag } : {};
      const answer = await fetch(BOOK, {
        headers,
        cache: "no-store",
        credentials: "same-origin",
        signal: AbortSignal.timeout(ACT_MS),
      });
      if (!(answer.ok || answer.status === 304)) return false;
      const book = answer.status === 304 ? old : await answer.json();
      await keep("book", { ...book, tag: answer.headers.get("ETag") ?? "", fetched: Date.now() });
      tell();
      return true;
    } catch {
      return false;
    }
  }

  globalThis.gearQueue = {
    acts,
    add,
    again,
    forget,
    isKept,
    kept,
    listen,
    ready,
    refresh,
    send,
    sender,
    settle,
    takeBack,
    takeIn,
  };
})();
