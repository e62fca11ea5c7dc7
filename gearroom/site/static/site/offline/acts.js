// What can be done without a network, as acts for the queue. Each is a report of what happened, not
// a request: the book takes it, and says where it broke a rule.

import { fill as said } from "./copy.js";

const address = (ref, act) => `/api/v1/kits/${encodeURIComponent(ref)}/${act}/`;

const HAND_BACK_WORDS = {
  "sealed-and-dry": "sealed",
  closed: "closed",
  "sort-later": "later",
  opened: "opened",
};

/** The makers of acts; `words` are the sentences of the page (see `templates/site/overview/phone/copy.html`). */
export const makers = (words) => ({
  takeOut: (ref, person) => ({
    kind: "take-out",
    kit: ref,
    path: address(ref, "check-out"),
    body: { already_gone: true, ...(person && { person: String(person.id) }) },
    facts: { person: person?.id ?? null, name: person?.name ?? "" },
    says: said(person ? words.takeOut : words.takeOutAlone, { KIT: ref, NAME: person?.name ?? "" }),
  }),
  handBack: (ref, asFound, { sharps, wet, needed, givenBack }) => ({
    kind: "hand-back",
    kit: ref,
    path: address(ref, "check-in"),
    body: {
      as_found: asFound,
      sharps_or_blood: sharps,
      wet,
      ...(needed.length && { needed: needed.map((line) => ({ words: line })) }),
      ...(givenBack && { given_back: true }),
    },
    facts: {},
    says: said(words[HAND_BACK_WORDS[asFound]], { KIT: ref }),
  }),
  check: (ref) => ({
    kind: "look-inside",
    kit: ref,
    path: address(ref, "look-inside"),
    body: {},
    facts: {},
    says: said(words.check, { KIT: ref }),
  }),
  seal: (ref, number, closed, mass) => ({
    kind: "seal",
    kit: ref,
    path: address(ref, "reseal"),
    body: {
      seal: number,
      anyway: true, // it is on already: what is not replaced stays on the restock list
      ...(closed && { closed: closed === "yes" }),
      ...(mass && { mass_g: mass }),
    },
    facts: {},
    says: said(words.newSeal, { KIT: ref, SEAL: number }),
  }),
  pass: (ref, person) => ({
    kind: "pass",
    kit: ref,
    path: address(ref, "pass"),
    body: { person: String(person.id) },
    facts: { person: person.id, name: person.name },
    says: said(words.pass, { KIT: ref, NAME: person.name }),
  }),
  use: (ref, used, inClass) => ({
    kind: "use",
    kit: ref,
    path: address(ref, "use"),
    facts: {},
    body: {
      used: used.map(({ id, units }) => ({
        item: id,
        units,
        ...(inClass && { went: "in-class" }),
      })),
    },
    says: said(words.use, {
      KIT: ref,
      ITEMS: used.map(({ name, units }) => `${units} × ${name}`).join(", "),
    }),
  }),
  borrow: (ref, giver, thing, lines) => ({
    kind: "borrow",
    kit: ref,
    path: address(ref, "borrow"),
    facts: {},
    body: { giver, lines, already_done: true },
    says: said(words.borrow, {
      KIT: ref,
      LENDER: giver,
      COUNT: lines.reduce((sum, line) => sum + line.units, 0),
      ITEM: thing,
    }),
  }),
});
