// A season as bars: a trip's bar is moved to another kit by mouse, finger or keyboard. What is sent is
// the form beside the picture: moving a bar ticks there what it means, and ticking there moves the bar.

const figure = document.querySelector(".season-bars");
const form = document.querySelector(".season-form");
const EDGE = 40; // pixels from the picture's edges within which it scrolls along
const STEP = 6; // pixels a frame

const picture = figure?.querySelector(".rows");
const box = figure?.querySelector(".across");
const bars = figure ? [...picture.querySelectorAll("a")] : [];
const rows = figure
  ? [...picture.querySelectorAll(".place")].map((place) => ({
      kit: place.dataset.kit,
      apart: Number(place.dataset.apart),
      y: yOf(place),
      height: Number(place.querySelector("rect").getAttribute("height")),
      place,
    }))
  : [];
const remarks = figure ? JSON.parse(document.getElementById("season-remarks").textContent) : {};
const begin = new Map(); // where each bar stood at first
let held = null; // the bar that is being moved, and the row that it is over

function rowOf(kit) {
  return rows.find((row) => row.kit === kit);
}

function yOf(bar) {
  return Number(bar.querySelector("rect").getAttribute("y"));
}

function say(text, facts = {}) {
  const says = figure.querySelector(".says");
  says.textContent = text.replace(/TRIP|KIT|OTHER|REMARK/g, (name) => facts[name] ?? name);
}

/** What the kit of a row does on the days of a bar, or so near to them that it is not sorted between. */
function inTheWay(bar, row) {
  if (!row.kit) return null;
  const near = (other) =>
    Number(bar.dataset.first) < Number(other.dataset.last) + row.apart &&
    Number(other.dataset.first) < Number(bar.dataset.last) + row.apart;
  return bars.find(
    (other) =>
      other !== bar && other.dataset.kit === row.kit && !other.matches(".back") && near(other),
  );
}

function remarkOf(bar, row) {
  return remarks.texts[remarks.kits[row.kit]?.[Number(bar.dataset.at)]] ?? "";
}

/** The row's first lane in which the bar covers no other. */
function laneIn(bar, row) {
  const covers = (y) =>
    bars.some(
      (other) =>
        other !== bar &&
        (placed.get(other) ?? yOf(other)) === y &&
        Number(other.dataset.first) <= Number(bar.dataset.last) &&
        Number(bar.dataset.first) <= Number(other.dataset.last),
    );
  const first = row.y + 6;
  for (let y = first; y + 30 <= row.y + row.height; y += 36) if (!covers(y)) return y;
  return first;
}

const placed = new Map(); // where bars stand that were moved

function draw(bar, row) {
  const home = row.kit === begin.get(bar);
  const y = home ? yOf(bar) : laneIn(bar, row);
  placed.set(bar, y);
  bar.setAttribute("transform", `translate(0, ${y - yOf(bar)})`);
  bar.classList.toggle("moved", !home);
}

function fieldOf(name, value) {
  return [...form.querySelectorAll(`[name="${name}"]`)].find((each) => each.value === value);
}

/** The box of a kit for a trip in the form, made where there is none. */
function tickOf(trip, kit) {
  const value = `${trip}:${kit}`;
  const there = fieldOf("reserve", value);
  if (there) return there;
  const made = document.getElementById("new-tick").content.cloneNode(true);
  const box = made.querySelector("input");
  box.value = value;
  made.querySelector("span").textContent = kit;
  form.querySelector(`li[data-trip="${trip}"] .ticks`).append(made);
  return box;
}

/** Ticks in the form what it means that a bar stands where it does. */
function choose(bar, row) {
  const { trip, kit } = bar.dataset;
  const home = begin.get(bar);
  const reserved = bar.matches(".reserved, .clash") ? fieldOf("release", `${trip}:${home}`) : null;
  const before = fieldOf("reserve", `${trip}:${kit}`);
  if (before) before.checked = false;
  if (reserved) reserved.checked = row.kit !== home;
  if (row.kit && !(reserved && row.kit === home)) tickOf(trip, row.kit).checked = true;
  bar.dataset.kit = row.kit;
  label(bar);
  form.dispatchEvent(new Event("unsaved"));
}

function label(bar) {
  const { kit, name } = bar.dataset;
  const text = bar.dataset.label;
  bar.setAttribute("aria-label", kit ? `${kit}: ${text}` : text || name);
}

function preview(bar, row) {
  held = { ...held, bar, row };
  const other = inTheWay(bar, row);
  for (const each of rows) each.place.classList.toggle("target", each === row);
  draw(bar, row);
  bar.classList.toggle("stopped", Boolean(other));
  const facts = { TRIP: bar.dataset.name, KIT: row.kit };
  if (other) say(figure.dataset.away, { ...facts, OTHER: other.dataset.name });
  else if (!row.kit) say(figure.dataset.without, facts);
  else say(figure.dataset.would, { ...facts, REMARK: remarkOf(bar, row) });
}

function end() {
  for (const each of rows) each.place.classList.remove("target");
  held?.bar.classList.remove("stopped", "dragged");
  held = null;
}

/** Puts the bar back to where it was before it was picked up. */
function giveUp() {
  if (!held) return;
  const { bar } = held;
  draw(bar, rowOf(bar.dataset.kit));
  end();
  const { kit, name } = bar.dataset;
  say(kit ? figure.dataset.stays : figure.dataset.without, { TRIP: name, KIT: kit });
}

function drop() {
  const { bar, row } = held;
  if (row.kit === bar.dataset.kit) return giveUp();
  if (inTheWay(bar, row)) {
    const { textContent } = figure.querySelector(".says");
    draw(bar, rowOf(bar.dataset.kit));
    end();
    return say(textContent);
  }
  choose(bar, row);
  draw(bar, row);
  end();
  const { chosen, dropped } = figure.dataset;
  say(row.kit ? chosen : dropped, { TRIP: bar.dataset.name, KIT: row.kit });
}

/** Makes a bar the one that the keyboard comes to, and says what it is. */
function pick(bar) {
  for (const each of bars) {
    each.setAttribute("tabindex", each === bar ? "0" : "-1");
    each.classList.toggle("picked", each === bar);
  }
}

function tell(bar) {
  const facts = { TRIP: bar.dataset.name, KIT: bar.dataset.kit };
  if (!bar.dataset.trip) return say(figure.dataset.fixed, facts);
  const row = rowOf(bar.dataset.kit);
  if (!row.kit) return say(figure.dataset.without, facts);
  return say(figure.dataset.would, { ...facts, REMARK: remarkOf(bar, row) });
}

function keys(event) {
  const bar = event.target.closest("a");
  if (!bar || event.altKey || event.ctrlKey || event.metaKey) return;
  const down = { ArrowUp: -1, ArrowDown: 1 }[event.key];
  const along = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  if (down && !bar.dataset.trip) {
    event.preventDefault();
    tell(bar);
  } else if (down) {
    event.preventDefault();
    const at = rows.indexOf(held?.row ?? rowOf(bar.dataset.kit)) + down;
    if (rows[at]) preview(bar, rows[at]);
    bar.scrollIntoView({ block: "nearest", inline: "nearest" });
  } else if (along) {
    event.preventDefault();
    bars[(bars.indexOf(bar) + along + bars.length) % bars.length].focus();
  } else if (event.key === "Enter" && held) {
    event.preventDefault();
    drop();
  } else if (event.key === "Escape" && held) {
    event.preventDefault();
    giveUp();
  }
}

/** Bars are dragged with a mouse or a pen at once, with a finger once they were tapped. */
function drags() {
  let at = 0;
  let from = 0;
  let wasDragged = false;
  const follow = () => {
    if (!held?.dragged) return;
    const edges = box.getBoundingClientRect();
    if (at < Math.max(0, edges.top) + EDGE + 40) box.scrollBy(0, -STEP);
    else if (at > Math.min(innerHeight, edges.bottom) - EDGE) box.scrollBy(0, STEP);
    const y = at - picture.getBoundingClientRect().top;
    const row = rows.find((each) => y >= each.y && y < each.y + each.height);
    if (row && row !== held.row) preview(held.bar, row);
    requestAnimationFrame(follow);
  };
  picture.addEventListener("pointerdown", (event) => {
    wasDragged = false;
    const bar = event.target.closest("a");
    if (!bar?.dataset.trip || !event.isPrimary || event.button !== 0) return;
    if (event.pointerType === "touch" && !bar.matches(".picked")) return;
    if (held) giveUp();
    at = from = event.clientY;
    held = { bar, row: rowOf(bar.dataset.kit), dragged: false, pointer: event.pointerId };
  });
  picture.addEventListener("pointermove", (event) => {
    if (held?.pointer !== event.pointerId) return;
    at = event.clientY;
    if (held.dragged || Math.abs(at - from) < 6) return;
    wasDragged = held.dragged = true;
    picture.setPointerCapture(event.pointerId);
    held.bar.classList.add("dragged");
    follow();
  });
  picture.addEventListener("pointerup", (event) => {
    if (held?.pointer !== event.pointerId) return;
    if (held.dragged) drop();
    else end();
  });
  picture.addEventListener("pointercancel", giveUp);
  const keep = (event) => held?.pointer !== undefined && event.preventDefault(); // no scrolling then
  picture.addEventListener("touchmove", keep, { passive: false });
  picture.addEventListener("dragstart", (event) => event.preventDefault()); // the link itself
  picture.addEventListener("click", (event) => {
    const bar = event.target.closest("a");
    if (!bar || (!bar.dataset.trip && !wasDragged)) return;
    event.preventDefault();
    if (!wasDragged) {
      bar.focus();
      tell(bar);
    }
  });
}

/** A box of the form was ticked or cleared by hand: the bar that it means goes there. */
function follows({ target }) {
  if (target.name !== "reserve") return;
  const [trip, kit] = [
    target.closest("li").dataset.trip,
    target.value.slice(target.value.indexOf(":") + 1),
  ];
  const from = target.checked ? "" : kit;
  const bar = bars.find((each) => each.dataset.trip === trip && each.dataset.kit === from);
  const row = rowOf(target.checked ? kit : "");
  if (!bar || !row || bar.matches(".reserved")) return;
  bar.dataset.kit = row.kit;
  label(bar);
  draw(bar, row);
}

if (figure && form) {
  for (const bar of bars) {
    begin.set(bar, bar.dataset.kit);
    const text = bar.getAttribute("aria-label");
    bar.dataset.label = bar.dataset.kit ? text.slice(bar.dataset.kit.length + 2) : text;
  }
  pick(bars[0]);
  figure.querySelector(".moving").hidden = false;
  for (const each of form.querySelectorAll("[name='reserve']:not(:checked)"))
    follows({ target: each });
  for (const each of form.querySelectorAll("[name='reserve']:checked")) follows({ target: each });
  picture.addEventListener("keydown", keys);
  picture.addEventListener("focusin", (event) => {
    const bar = event.target.closest("a");
    if (bar) pick(bar);
  });
  picture.addEventListener("focusout", () => held && !held.dragged && !held.pointer && giveUp());
  form.addEventListener("change", follows);
  drags();
}
