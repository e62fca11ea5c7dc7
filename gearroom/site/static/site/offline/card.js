// The card of a kit on the page without a network: how it stands, as far as the phone knows, and what
// can be written down of it. All words stand in the page's template.

import { counted, fill, standing } from "./copy.js";

const language = document.documentElement.lang;
const format = (how, when) => new Intl.DateTimeFormat(language, how).format(when);

/** The sentences of the page. */
export const words = document.getElementById("words").dataset;
/** A new element from a template of the page. */
export const copy = (id) => document.getElementById(id).content.firstElementChild.cloneNode(true);
/** A day (ISO) and an instant (ISO) in words; today as ISO, where the phone is. */
export const day = (iso) => format({ dateStyle: "long" }, new Date(`${iso}T12:00`));
export const time = (iso) =>
  format(
    { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" },
    new Date(iso),
  );
export const today = () => new Intl.DateTimeFormat("en-CA").format(new Date());

/** The card of a kit, by the name or code that it was scanned by; `submitted` takes its forms. */
export function draw(ref, { kits, book }, submitted) {
  const made = copy("card");
  const kit = kits.get(ref);
  const part = (selector) => made.querySelector(selector);
  made.dataset.kit = ref;
  made.addEventListener("pointerdown", () => {
    made.dataset.touched = Date.now();
  });
  part(".name").textContent = ref;
  part(".name").href = `/kits/${encodeURIComponent(ref)}/`;
  const stands = kit ? standing(kit, today(), book.judged_until) : null;
  if (stands) made.classList.add(TONES[stands.verdict]);
  showVerdict(part(".mark"), kit, stands);
  part(".beside").textContent = kit ? beside(kit, stands) : "";
  part(".lead").textContent = kit
    ? sentence(kit)
    : document.getElementById("answer").dataset.unknown;
  const phone = kit?.out?.phone;
  part(".phone").hidden = !phone;
  if (phone)
    Object.assign(part(".phone a"), {
      href: `tel:${phone.replace(/[^+\d]/g, "")}`,
      textContent: phone,
    });
  part(".seal").hidden = !(kit?.out && kit.seal);
  part(".not-ours").hidden = !kit?.not_ours;
  part(".seal").textContent = fill(words.seal, { SEAL: kit?.seal.slice(-3) ?? "" });
  const out = part("[data-act=take-out]");
  const taker = out.querySelector("[name=person]");
  people(taker, book.people, kit?.next?.person, true);
  const guide = book.people.find((each) => each.id === kit?.next?.person);
  if (guide) out.querySelector("button").textContent = fill(words.takenBy, { NAME: guide.name });
  taker.addEventListener("change", () => {
    const person = book.people.find((each) => String(each.id) === taker.value);
    if (person)
      out.querySelector("button").textContent = fill(words.takenBy, { NAME: person.name });
  });
  // What fits what the phone knows stands open and first; what is in the hand may be otherwise.
  const likely = part(`[data-for=${kit?.out ? "hand-back" : "take-out"}]`);
  likely.open = true;
  if (kit?.out) part("[data-for=take-out]").before(likely);
  // What no seal is on record for is not sealed; a label that this phone does not know may be.
  part("[value=sealed-and-dry]").hidden = Boolean(kit && !kit.seal);
  part("[value=closed]").hidden = !kit || Boolean(kit.seal);
  part("[data-act=look-inside]").hidden =
    !kit?.may_check || Boolean(kit.out) || kit.here === "checked";
  part("[data-act=look-inside] button").textContent =
    kit?.lacks || kit?.used_here ? words.checkAsBook : words.checkAll;
  part("[data-for=seal]").hidden = !kit?.may_check || Boolean(kit.out);
  part("[data-for=pass]").hidden = !book.people.length;
  people(part("[data-act=pass] [name=person]"), book.people);
  for (const name of ["use", "borrow", "inside"]) part(`[data-for=${name}]`).hidden = !kit;
  if (kit) {
    tiles(made, counted(kit, book));
    loans(made, kit, { kits, book });
    inside(made.querySelector(".inside"), kit, book);
  }
  for (const form of made.querySelectorAll("form")) form.addEventListener("submit", submitted);
  return made;
}

const TONES = {
  ready: "ok",
  low: "low",
  short: "short",
  "do-not-take": "stop",
  "not-set-up": "unset",
};

/** Put a kit's verdict into an element: in words, with what it answers. */
export function showVerdict(mark, kit, stands) {
  mark.hidden = !kit;
  if (!kit) return;
  mark.textContent = stands ? (stands.text ?? words[stands.why]) : words.tooOld;
  if (!stands) return;
  mark.classList.add(TONES[stands.verdict]);
  const { through, trip, verdict } = stands;
  Object.assign(mark.dataset, { kit: kit.name, through, trip: trip ?? "", verdict });
}

/** What stands beside a verdict: the question that it answers, the first expiry, and what it does not count. */
export function beside(kit, stands) {
  const said = [];
  const near = (iso) =>
    format({ weekday: "short", day: "numeric", month: "short" }, new Date(`${iso}T12:00`));
  if (stands)
    said.push(
      fill(stands.trip_name ? words.judgedTrip : words.judged, {
        DAY: near(stands.through),
        TRIP: stands.trip_name,
      }),
    );
  if (kit.first_expiry)
    said.push(
      fill(words.firstExpiry, {
        DAY: format(
          { day: "numeric", month: "short", year: "numeric" },
          new Date(`${kit.first_expiry}T12:00`),
        ),
      }),
    );
  if (kit.used_here) said.push(words.usedHere);
  if (kit.here === "checked") said.push(words.checkedHere);
  return said.join(" · ");
}

function sentence(kit) {
  if (kit.out) {
    const due = kit.out.due ? fill(words.due, { WHEN: time(kit.out.due) }) : "";
    return [kit.out.name ? fill(words.has, { NAME: kit.out.name }) : words.somebody, due].join(" ");
  }
  const next =
    kit.next &&
    fill(kit.next.name ? words.promised : words.promisedTrip, {
      NAME: kit.next.name,
      TRIP: kit.next.trip,
    });
  return [next, ...kit.withheld.map((why) => `${why}.`)].filter(Boolean).join(" ");
}

function people(select, all, chosen, none = false) {
  if (none || !chosen) select.append(new Option("–", ""));
  for (const person of all)
    select.append(new Option(person.name, person.id, false, person.id === chosen));
}

function tiles(made, things) {
  const place = made.querySelector(".tiles");
  for (const thing of things) {
    const tile = copy("tile");
    const field = tile.querySelector("input");
    const label = tile.querySelector("label");
    label.textContent = `${thing.name} (${thing.units})`;
    field.name = `used-${thing.id}`;
    label.htmlFor = field.id = `${made.dataset.kit}-used-${thing.id}`;
    place.append(tile);
  }
  place.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    const field = button?.parentElement.querySelector("input");
    if (!field) return;
    if (button.classList.contains("more")) field.stepUp();
    else field.stepDown();
  });
  made.querySelector("[data-for=use]").hidden = !things.length;
}

function loans(made, kit, { kits, book }) {
  const [giver, thing] = ["giver", "thing"].map((name) => made.querySelector(`[name=${name}]`));
  giver.append(new Option("–", ""));
  for (const other of kits.values()) if (other !== kit) giver.append(new Option(other.name));
  giver.addEventListener("change", () => {
    thing.replaceChildren();
    const from = kits.get(giver.value);
    for (const each of from ? counted(from, book) : [])
      thing.append(new Option(`${each.name} (${each.units})`, each.id));
  });
}

function inside(place, kit, book) {
  for (const section of kit.sections) {
    const head = document.createElement("h3");
    const list = document.createElement("ul");
    head.textContent = section.name;
    for (const [id, batch, units] of section.lines) {
      const { number, until } = book.batches[batch];
      const when = until ? fill(words.useBy, { DAY: day(until) }) : words.undated;
      list.append(line(`${units} × ${book.things[id].name}`, `${number} ${when}`));
    }
    for (const [id, level] of section.levels)
      list.append(line(book.things[id].name, words[level] ?? level));
    place.append(head, list);
  }
}

/** A row with something smaller beside it. */
export function line(what, more) {
  const row = document.createElement("li");
  const small = document.createElement("small");
  row.textContent = what;
  small.textContent = more;
  row.append(small);
  return row;
}
