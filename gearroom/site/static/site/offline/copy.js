// The pocket book read: what a scanned text means, and how kits stand with what was done on this
// phone since. Pure functions, as the rules of the house are.

const ALPHABET = "23456789BCDFGHJKNPRSTVX"; // of our labels' codes
const VALUES = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const ADDRESS = /^https?:\/\/[^/\s]+\/L\/([^\s/]{8,9})\/?$/i;

/** Whether this is one of our codes: eight characters, the check right (ISO/IEC 7064 MOD 37,36). */
export function isCode(code) {
  if (code.length !== 8 || /^\d+$/.test(code)) return false;
  let check = 18;
  for (const character of code) {
    if (!ALPHABET.includes(character)) return false;
    check = ((((check || 36) * 2) % 37) + VALUES.indexOf(character)) % 36;
  }
  return check === 1;
}

/** A sentence of the page with its WORDS in capitals put in. */
export const fill = (sentence, facts) =>
  sentence.replace(/[A-Z]{2,}/g, (word) => facts[word] ?? word);

/** A code as people see it. */
export const shown = (code) => `${code.slice(0, 4)}-${code.slice(4)}`;

/** What a scanned or typed text means: {kind: "kit", ref, name?}, {kind: "person" | "batch", id} or
 * {kind: "nothing"}. A code of ours that this phone does not know may be a kit's. */
export function meaning(text, book) {
  const said = text.trim();
  const written = ADDRESS.exec(said)?.[1] ?? said;
  const code = written
    .normalize("NFKC")
    .toUpperCase()
    .replace(/[^0-9A-Z]/g, "");
  if (isCode(code)) {
    const [kind, which] = book.labels[code] ?? ["kit", undefined];
    if (kind === "kit") return { kind, name: which, ref: which ?? shown(code) };
    return { kind, id: which };
  }
  const kit = book.kits.find((each) => each.name.toLowerCase() === said.toLowerCase());
  return kit ? { kind: "kit", name: kit.name, ref: kit.name } : { kind: "nothing" };
}

/** The kits by name, as they are after what was done here since the book was fetched. */
export function kitsNow(book, acts) {
  const kits = new Map(structuredClone(book.kits).map((kit) => [kit.name, kit]));
  for (const act of acts) {
    if (act.state === "refused" || (act.ended && act.ended < book.fetched)) continue;
    const kit = kits.get(act.kit);
    if (kit) APPLY[act.kind]?.(kit, act, kits);
  }
  return kits;
}

const APPLY = {
  "take-out": (kit, act) => {
    const trip = kit.next?.trip ?? "";
    kit.out = {
      person: act.facts.person,
      name: act.facts.name,
      phone: "",
      since: act.at,
      due: "",
      trip,
    };
  },
  "hand-back": (kit, act) => {
    const { as_found: found, wet } = act.body;
    kit.out = null;
    // Sealed and dry takes a seal on record: without one the book has it sorted.
    if (!(found === "closed" || (found === "sealed-and-dry" && kit.seal))) kit.here = "sorting";
    if (found === "opened") kit.seal = "";
    if (wet) kit.drying_here = true;
  },
  "look-inside": (kit) => {
    kit.here = "checked";
    kit.seal = "";
  },
  seal: (kit, act) => {
    kit.seal = act.body.seal;
  },
  pass: (kit, act) => {
    const had = kit.out ?? { since: act.at, due: "", trip: "" };
    kit.out = { ...had, person: act.facts.person, name: act.facts.name, phone: "" };
  },
  use: (kit, act) => {
    kit.used_here = true;
    kit.seal = "";
    for (const used of act.body.used) take(kit, (line) => line[0] === used.item, used.units);
  },
  borrow: (kit, act, kits) => {
    const giver = kits.get(act.body.giver);
    for (const each of [kit, giver]) if (each) each.seal = "";
    for (const { lot, units } of act.body.lines) {
      const batch = Number(lot);
      const thing = giver && take(giver, (line) => line[1] === batch, units);
      if (thing && kit.sections.length) kit.sections[0].lines.push([thing, batch, units]);
    }
  },
};

/** Take so many units of what matches out of a kit's lines; the thing that they were of. */
function take(kit, matches, units) {
  let thing = 0;
  for (const section of kit.sections) {
    for (const line of section.lines.filter(matches)) {
      const taken = Math.min(line[2], units);
      thing = line[0];
      line[2] -= taken;
      units -= taken;
    }
    section.lines = section.lines.filter((line) => line[2] > 0);
  }
  return thing;
}

/** How a kit stands on a day (ISO date): {verdict, text, through, trip, trip_name}, by the last of the
 * gear room's verdicts that begins by then; nothing on days that they do not reach. `text` is null for
 * what this phone knows better, which `why` names: it was handed back here, and is `drying` or needs
 * `sorting`. */
export function standing(kit, today, until) {
  if (until && today > until) return null;
  const last = kit.verdicts.findLast((each) => each.from <= today) ?? kit.verdicts[0];
  const now = { ...last, through: last.through > today ? last.through : today };
  const why = kit.drying_here ? "drying" : kit.here === "sorting" && "sorting";
  const counts = why === "drying" || now.verdict !== "not-set-up"; // nobody sorts what is not set up
  if (!why || !counts || now.verdict === "do-not-take") return now;
  return { ...now, verdict: "do-not-take", text: null, why };
}

/** The counted things in a kit: [{id, name, units}], what is used most first. */
export function counted(kit, book) {
  const units = new Map();
  for (const section of kit.sections) {
    for (const [thing, , count] of section.lines) units.set(thing, (units.get(thing) ?? 0) + count);
  }
  return [...units]
    .map(([id, count]) => ({ id, units: count, ...book.things[id] }))
    .filter((thing) => !thing.by_eye)
    .sort((one, other) => other.used - one.used || one.name.localeCompare(other.name))
    .map(({ id, name, units: count }) => ({ id, name, units: count }));
}

/** Which batches so many units of a thing come from in a kit, the oldest first, as lines of an act;
 * fewer where the kit is not known to hold so many. */
export function batchesFor(kit, thing, units, book) {
  const held = kit.sections.flatMap((section) =>
    section.lines
      .filter((line) => line[0] === thing)
      .map(([, batch, count]) => ({
        batch,
        count,
        section: section.key,
        until: book.batches[batch]?.until ?? "9999",
      })),
  );
  held.sort((one, other) => one.until.localeCompare(other.until));
  const lines = [];
  for (const { batch, count, section } of held) {
    const taken = Math.min(count, units);
    if (taken > 0) lines.push({ lot: String(batch), units: taken, from_section: section });
    units -= taken;
  }
  return lines;
}
