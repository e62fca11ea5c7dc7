// Acts that wait here, handed to another phone or to the desk as a file or as codes; and those of
// other phones, taken in. All words stand in the page's template.

import "./queue.js";
import { actsIn, codesOf, collector, fileOf } from "./packing.js";
import { fill } from "./copy.js";
import { picture } from "./qr.js";

const queue = globalThis.gearQueue;
const find = (id) => document.getElementById(id);
const codes = find("codes");
const taken = find("taken");
const MOST_CODES = 40; // beyond that, a file
const read = collector();

const carried = async () =>
  (await queue.acts()).filter((act) => act.state === "waits" && act.proof);

/** Show what can be handed over, and whether what waits is kept. */
export async function drawHandOver(waiting) {
  const some = waiting.some((act) => act.proof);
  find("hand-over").hidden = !some;
  if (!some) codes.replaceChildren();
  const kept = find("kept");
  kept.hidden = !waiting.length;
  kept.textContent = (await queue.isKept()) ? kept.dataset.kept : kept.dataset.mayGo;
}

async function share() {
  const day = new Date().toISOString().slice(0, 10);
  const file = new File([fileOf(await carried())], `gearroom-${day}.txt`, { type: "text/plain" });
  const facts = { files: [file] };
  if (navigator.canShare?.(facts)) {
    try {
      return await navigator.share(facts);
    } catch (error) {
      if (error.name === "AbortError") return; // somebody changed their mind
    }
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file);
  link.download = file.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

async function showCodes() {
  const texts = await codesOf(await carried());
  const { label, many } = codes.dataset;
  if (texts.length > MOST_CODES) return void (codes.textContent = many);
  codes.replaceChildren(
    ...texts.map((text, index) => {
      const row = document.createElement("li");
      const name = fill(label, { NUMBER: index + 1, COUNT: texts.length });
      row.append(picture(text, name), name);
      return row;
    }),
  );
  codes.firstElementChild?.scrollIntoView({ block: "start" });
}

/** Take acts in, say what came of it, and have them sent. */
async function takeIn(acts, then) {
  const count = await queue.takeIn(acts);
  const { one, some, none } = taken.dataset;
  taken.textContent = fill(count === 0 ? none : count === 1 ? one : some, { COUNT: count });
  taken.scrollIntoView({ block: "nearest" });
  if (count) then();
}

/** Take in a code of another phone that was scanned; `then` is called once all of them are there. */
export async function takeCode(text, then) {
  try {
    const { acts, here, of } = await read.add(text);
    if (acts) return await takeIn(acts, then);
    taken.textContent = fill(taken.dataset.more, { NUMBER: here, COUNT: of });
  } catch {
    taken.textContent = taken.dataset.broken;
  }
}

/** Make the buttons and the field work. */
export function startHandOver(then) {
  find("share").addEventListener("click", share);
  find("show-codes").addEventListener("click", showCodes);
  find("show-codes").hidden = !globalThis.CompressionStream;
  find("records").addEventListener("change", async ({ target }) => {
    try {
      if (!(await queue.kept("book"))) return void (taken.textContent = taken.dataset.nobody);
      for (const file of target.files) await takeIn(actsIn(await file.text()), then);
    } catch {
      taken.textContent = taken.dataset.broken;
    } finally {
      target.value = "";
    }
  });
}
