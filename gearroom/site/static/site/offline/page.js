// The scan page without a network: what was scanned as cards with what can be written down, the acts
// that wait, and the kits as they were last known. All words stand in the page's template.

import { camera } from "../scripts/camera/camera.js";
import { untouched } from "../scripts/touch.js";
import "./queue.js";
import { makers } from "./acts.js";
import { batchesFor, counted, fill, kitsNow, meaning, standing } from "./copy.js";
import { drawHandOver, startHandOver, takeCode } from "./hand-over.js";
import { isCode } from "./packing.js";
import { beside, copy, draw, line, showVerdict, time, today, words } from "./card.js";

const queue = globalThis.gearQueue;
const find = (id) => document.getElementById(id);
const make = makers(words);
const reach = find("reach");
const answer = find("answer");
const PATIENCE_MS = 90_000; // how long a kit waits for its guide's tag, or a tag for its kit
const AGAIN_MS = 10_000;
const TWICE_MS = 400; // what is pressed twice is pressed again within
const TOUCHED_MS = 20_000; // a card that was touched so long ago is not replaced by what is scanned

let book = null;
let acts = [];
let kits = new Map();
let waiting = {}; // {ref} or {person} of the last scan, and when
let timer = 0;
let turn = Promise.resolve();

/** Do something once all that was begun before it is done: what is drawn is never of before. */
const inTurn = (work) => {
  turn = turn.then(work, work);
  return turn;
};

// ------------------------------------------------------------------------------- what was scanned
async function read(text) {
  await untouched();
  if (!book) return;
  if (isCode(text)) return takeCode(text, send);
  const meant = meaning(text, book);
  const recent = Date.now() - (waiting.at ?? 0) < PATIENCE_MS ? waiting : {};
  answer.querySelector(".problem")?.remove();
  if (meant.kind === "nothing") return complain(answer.dataset.nothing);
  if (meant.kind === "batch") return complain(answer.dataset.batch);
  if (meant.kind === "person") {
    const person = book.people.find((each) => each.id === meant.id);
    const kit = recent.ref && kits.get(recent.ref);
    if (recent.ref && !kit?.out && person) {
      waitFor({});
      return write(make.takeOut(recent.ref, person));
    }
    if (kit && person && kit.out.person !== person.id) return offerPass(kit.name, person.id);
    if (person) waitFor({ person });
    return;
  }
  const kit = kits.get(meant.ref);
  if (recent.person && !kit?.out) {
    waitFor({});
    return write(make.takeOut(meant.ref, recent.person));
  }
  waitFor({ ref: meant.ref });
  show(meant.ref);
}

/** Remember the kit or the person of this scan for the next one. */
function waitFor(next) {
  waiting = { ...next, at: Date.now() };
  find("waits").hidden = !next.person;
  if (next.person)
    find("waits").textContent = fill(find("waits").dataset.next, { NAME: next.person.name });
}

function complain(text) {
  answer.querySelector(".problem")?.remove();
  const note = document.createElement("p");
  note.className = "problem";
  note.setAttribute("role", "alert");
  note.textContent = text;
  answer.prepend(note);
}

/** Write an act down, and say so; then try to send it. */
async function write(act) {
  await inTurn(async () => {
    try {
      await queue.add(act);
    } catch {
      return complain(reach.dataset.lost);
    }
    navigator.vibrate?.(60);
    await drawAll();
    show(act.kit, true);
    const shown = card(act.kit);
    shown.inert = true; // what stands there now is not what a second press meant
    setTimeout(() => {
      shown.inert = false;
    }, TWICE_MS);
  });
  send();
}

// -------------------------------------------------------------------------------------------- cards
const card = (ref) =>
  [...answer.querySelectorAll("article")].find((each) => each.dataset.kit === ref);
const inUse = (shown) =>
  shown.contains(document.activeElement) || Date.now() - (shown.dataset.touched ?? 0) < TOUCHED_MS;

function show(ref, anew = false) {
  const old = card(ref);
  if (old && inUse(old) && !anew) return;
  const made = draw(ref, { kits, book }, submitted);
  if (old) old.replaceWith(made);
  const first = answer.querySelector("article");
  if (first !== made && !(first && inUse(first))) answer.prepend(made);
  else if (!made.isConnected) first.after(made);
  [...answer.querySelectorAll("article")].slice(4).forEach((each) => each.remove());
}

function offerPass(ref, person) {
  show(ref, true);
  const form = card(ref).querySelector("[data-act=pass]");
  form.closest("details").open = true;
  form.querySelector("[name=person]").value = String(person);
  form.querySelector("button").focus();
}

/** What is said of a kit handed back besides how it was found; a need is a line of at most 120 characters. */
function besides(entered) {
  const lines = entered
    .get("needed")
    .split("\n")
    .map((line) => line.trim().slice(0, 120))
    .filter(Boolean);
  return {
    sharps: entered.has("sharps"),
    wet: entered.has("wet"),
    needed: lines.slice(0, 20),
    givenBack: entered.has("given_back"),
  };
}

async function submitted(event) {
  event.preventDefault();
  const shown = event.target.closest("article");
  shown.inert = true; // so that what is pressed twice is written once
  try {
    await record(event.target, shown.dataset.kit, event.submitter?.value);
  } catch (error) {
    complain(reach.dataset.lost);
    throw error;
  } finally {
    shown.inert = false;
  }
}

function record(form, ref, pressed) {
  const entered = new FormData(form); // under load, form.elements has been seen to miss a field
  const chosen = book.people.find((each) => String(each.id) === entered.get("person"));
  document.activeElement?.blur();
  waitFor({});
  switch (form.dataset.act) {
    case "take-out":
      return write(make.takeOut(ref, chosen));
    case "hand-back":
      return write(make.handBack(ref, pressed ?? "sort-later", besides(entered)));
    case "look-inside":
      return write(make.check(ref));
    case "seal": {
      const number = entered.get("seal").trim();
      const mass = Number(entered.get("mass_g"));
      return number ? write(make.seal(ref, number, entered.get("closed"), mass)) : undefined;
    }
    case "pass":
      return write(make.pass(ref, chosen));
    case "use": {
      const used = counted(kits.get(ref), book).map((thing) => ({
        ...thing,
        units: Number(entered.get(`used-${thing.id}`)),
      }));
      const some = used.filter((thing) => thing.units > 0);
      return some.length ? write(make.use(ref, some, entered.has("in_class"))) : undefined;
    }
    case "borrow": {
      const id = Number(entered.get("thing"));
      const units = Number(entered.get("units"));
      const lines = batchesFor(kits.get(entered.get("giver")), id, units, book);
      if (lines.reduce((sum, each) => sum + each.units, 0) < units) return complain(words.more);
      return write(make.borrow(ref, entered.get("giver"), book.things[id].name, lines));
    }
  }
}

// --------------------------------------------------------------------------------------- the queue
function drawQueue() {
  const open = acts.filter((act) => !act.settled);
  const unsent = acts.filter((act) => act.state === "waits");
  find("queue").hidden = !open.length;
  const { none, one, many, others } = find("waiting").dataset;
  const said = [
    unsent.length ? fill(unsent.length === 1 ? one : many, { COUNT: unsent.length }) : none,
  ];
  const theirs = new Map();
  for (const act of unsent) {
    const name = act.handedName ?? act.name;
    if (queue.sender(act) !== book?.person) theirs.set(name, (theirs.get(name) ?? 0) + 1);
  }
  for (const [name, count] of theirs) said.push(fill(others, { COUNT: count, NAME: name }));
  find("waiting").textContent = said.join(" ");
  find("acts").replaceChildren(...open.reverse().map(drawAct));
  drawHandOver(unsent);
}

function drawAct(act) {
  const row = copy("act");
  const mark = row.querySelector(".mark");
  row.dataset.state = act.state;
  row.querySelector("b").textContent = act.says;
  const from = act.handed && act.handed !== act.by ? words.handedOver : "";
  row.querySelector("small").textContent = [time(act.at), act.name, from]
    .filter(Boolean)
    .join(", ");
  mark.textContent = words[act.state];
  mark.classList.add(
    { waits: "short", done: "ok", irregular: "short", refused: "stop" }[act.state],
  );
  const { why, page } = explain(act);
  row.querySelector(".why").append(...why.map((text) => line(text, "")));
  const link = row.querySelector(".settle");
  link.hidden = !page;
  if (page)
    Object.assign(link, {
      href: page.getAttribute("href").replace("KIT", encodeURIComponent(act.kit)),
      textContent: page.textContent,
    });
  const use = (name, shown, what) => {
    const button = row.querySelector(`[data-do=${name}]`);
    button.hidden = !shown;
    button.addEventListener("click", what);
  };
  const own = queue.sender(act) === act.by; // another's key and signature cannot be made anew here
  use("again", act.state === "refused" && own, () => queue.again(act.seq).then(load).then(send));
  use("settled", act.state === "refused" || act.state === "irregular", () =>
    queue.settle(act.seq).then(load),
  );
  use("back", act.state === "waits" && !act.tried, async () => {
    if (!(await queue.takeBack(act.seq))) complain(words.tooLate);
    await load();
    if (card(act.kit)) show(act.kit, true);
  });
  return row;
}

/** Why an act is irregular or refused, in sentences, and the link to the page that settles it. */
function explain(act) {
  const whys = find("whys");
  const why = [];
  let to = "";
  if (act.state === "refused") {
    why.push(act.answer.says, whys.querySelector("[data-code=refused]").textContent);
    to = "kit";
  }
  for (const code of act.state === "irregular" ? act.answer.codes : []) {
    const known = [...whys.querySelectorAll("[data-code]")].find(
      (each) => each.dataset.code === code,
    );
    why.push(act.answer.texts[code] ?? known?.textContent ?? code); // the verdict's own says which thing
    to ||= known?.dataset.to ?? "kit";
  }
  return { why, page: to && whys.querySelector(`[data-page=${to}]`) };
}

// ------------------------------------------------------------------------------------------ the kits
function drawKits() {
  find("as-of").hidden = !book;
  if (!book) return find("kits").replaceChildren();
  find("as-of").textContent = fill(find("as-of").dataset.asOf, {
    WHEN: time(new Date(book.fetched).toISOString()),
  });
  find("kits").replaceChildren(
    ...[...kits.values()].map((kit) => {
      const row = document.createElement("li");
      const button = document.createElement("button");
      const stands = standing(kit, today(), book.judged_until);
      const mark = Object.assign(document.createElement("span"), { className: "mark" });
      const name = Object.assign(document.createElement("b"), { textContent: kit.name });
      const more = Object.assign(document.createElement("small"), {
        textContent: [
          kit.out ? fill(words.outWith, { NAME: kit.out.name || words.nobody }) : kit.room,
          beside(kit, stands),
        ].join(" · "),
      });
      showVerdict(mark, kit, stands);
      row.className = mark.className.replace("mark", "").trim();
      button.type = "button";
      button.append(name, more, mark);
      button.addEventListener("click", () => {
        waitFor({ ref: kit.name });
        show(kit.name);
        card(kit.name).scrollIntoView({ block: "start" });
      });
      row.append(button);
      return row;
    }),
  );
}

const load = () => inTurn(drawAll);

async function drawAll() {
  book = (await queue.kept("book")) ?? null;
  acts = await queue.acts();
  kits = book ? kitsNow(book, acts) : new Map();
  await untouched();
  drawQueue();
  drawKits();
}

// ------------------------------------------------------------------------------------- out of reach?
async function send() {
  clearTimeout(timer);
  const told = await queue.send();
  if (told.reach === "here") await queue.refresh(told.sent ? 0 : 60);
  await load();
  await open();
  const state = !book && told.reach !== "signed-out" ? "empty" : told.reach;
  reach.textContent = reach.dataset[{ "signed-out": "signedOut" }[state] ?? state];
  find("onward").hidden = told.reach === "away";
  find("to-scan").hidden = told.reach === "signed-out";
  find("to-sign-in").hidden = told.reach !== "signed-out";
  timer = setTimeout(send, 1000 * told.retry || AGAIN_MS);
}

async function start() {
  try {
    await load();
  } catch {
    reach.textContent = reach.dataset.broken;
    return;
  }
  queue.listen(load);
  startHandOver(send);
  addEventListener("online", send);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) send();
  });
  find("scan").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = find("text");
    if (text.value.trim()) read(text.value);
    text.value = "";
    text.focus();
  });
  document.addEventListener("keydown", (event) => {
    // a USB scanner types wherever the focus is
    const busy = event.target.closest("input, select, textarea, button, a, summary");
    if (!busy && event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey)
      find("text").focus();
  });
  await open();
  await send();
}

let opened = false;

/** Show what the address asks for, and start the camera, once there are kits to look for. */
async function open() {
  if (opened || !book) return;
  opened = true;
  const here = /^\/(?:kits|L)\/([^/]+)\/?/i.exec(location.pathname); // a kit's page or label that is out of reach
  const asked = here
    ? decodeURIComponent(here[1])
    : new URLSearchParams(location.search).get("text");
  if (asked) await read(asked);
  const eye = camera(find("camera"), async (texts) => {
    for (const text of texts) await read(text);
  });
  eye.start();
}

start();
