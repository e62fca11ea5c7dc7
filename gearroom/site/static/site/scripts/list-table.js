// The table of a kit list: rows are added, moved, removed and put back on the page, as the buttons
// do it by sending where scripts don't run. Saving is the form's own.

const form = document.querySelector("form.draft");
const table = form?.querySelector(".sheet-table:not(.out)");
let number = 1000;

function changed(says = form.dataset.unsaved) {
  form.dispatchEvent(new Event("unsaved"));
  form.querySelector(".unsaved").textContent = says;
}

function itemOf(row) {
  return row.querySelector("[name^='item-'], [name^='name-']")?.value ?? "";
}

function nextTo(row, step) {
  const rows = [...table.querySelectorAll("tr.line")];
  const group = row.closest("tbody");
  const beside = step < 0 ? row.previousElementSibling : row.nextElementSibling;
  if (beside?.matches(".line")) return step < 0 ? [group, beside] : [group, beside.nextSibling];
  const groups = [...table.querySelectorAll("tbody.group")];
  const other = groups[groups.indexOf(group) + step];
  if (!other) return [group, step < 0 ? rows[0] : row.nextSibling];
  return [other, step < 0 ? other.querySelector(".add") : other.querySelector(".head").nextSibling];
}

function put(row, group, before) {
  group.insertBefore(row, before);
  const to = row.querySelector("[name^='to-']");
  if (to) to.value = group.dataset.group;
  const place = [...group.querySelectorAll("tr.line")].indexOf(row) + 1;
  changed(
    form.dataset.moved
      .replace("ITEM", itemOf(row))
      .replace("PLACE", place)
      .replace("SECTION", itemOf(group.querySelector(".head"))),
  );
}

function move(row, step) {
  if (row.matches(".head")) {
    const group = row.closest("tbody");
    const other = step < 0 ? group.previousElementSibling : group.nextElementSibling;
    if (!other?.matches(".group")) return;
    if (step < 0) other.before(group);
    else other.after(group);
    changed();
  } else if (row.matches(".line")) {
    put(row, ...nextTo(row, step));
  }
}

function remove(row, gone) {
  if (row.matches(".line") && table.contains(row) && row.id.startsWith("row-+") && !itemOf(row)) {
    row.remove();
    return changed();
  }
  const id = row.querySelector("[name='order']").value.replace(/^\w+:/, "");
  const whole = row.matches(".head") || row.closest(".out") ? row.closest("tbody") : row;
  whole.classList.toggle("gone", gone);
  row.classList.toggle("gone", gone);
  row.querySelector("[name='gone']")?.remove();
  if (gone) {
    const said = document.createElement("input");
    Object.assign(said, { type: "hidden", name: "gone", value: id });
    row.cells[0].append(said);
    row.querySelector(".removed").textContent =
      itemOf(row) || row.querySelector("[name^='thing-']")?.value || "";
  }
  row.querySelector(gone ? ".back" : "[data-do='remove']").focus();
  changed();
}

function add(group) {
  const row = document.createElement("template");
  row.innerHTML = document.getElementById("new-row").innerHTML.replaceAll("+NEW", `+${++number}`);
  const made = row.content.querySelector("tr");
  group.insertBefore(made, group.querySelector(".add"));
  const to = made.querySelector("[name^='to-']");
  if (to) to.value = group.dataset.group;
  made.querySelector("[name^='item-']").focus();
  changed();
}

function act(button) {
  const row = button.closest("tr");
  const what = button.dataset.do;
  if (what === "row") add(row.closest("tbody"));
  else if (what === "remove" || what === "back") remove(row, what === "remove");
  else move(row, what === "up" ? -1 : 1);
  if (what === "up" || what === "down") button.focus();
}

function keys(event) {
  const row = event.target.closest("tr.line");
  if (!row || !event.target.matches("input")) return;
  if (event.altKey && (event.key === "ArrowUp" || event.key === "ArrowDown")) {
    event.preventDefault();
    move(row, event.key === "ArrowUp" ? -1 : 1);
    event.target.focus();
  } else if (event.key === "Enter" && table.contains(row)) {
    // As in a spreadsheet: on to the next row, and a new one after the last.
    event.preventDefault();
    const next = row.nextElementSibling;
    if (next.matches(".line")) next.querySelector("[name^='item-']").focus();
    else add(row.closest("tbody"));
  }
}

/** Several rows pasted into a cell go into the table by way of the server, which reads them. */
function pasted(event) {
  const text = event.clipboardData?.getData("text/plain") ?? "";
  if (!event.target.matches("[name^='item-']") || !/[\t\n]/.test(text.trim())) return;
  event.preventDefault();
  form.querySelector("[name='pasted']").value = text;
  form.requestSubmit(form.querySelector("[value='paste']"));
}

/** Rows are dragged by their grips, with a mouse, a finger or a pen. */
function drags() {
  const EDGE = 100; // pixels from the window's edges within which it scrolls along
  const STEP = 6; // pixels a frame
  let row = null;
  let over = null;
  let at = { x: 0, y: 0 };
  const mark = (next) => {
    over?.classList.remove("target");
    over = next === row ? null : next;
    over?.classList.add("target");
  };
  const end = () => {
    mark(null);
    row?.classList.remove("dragged");
    row = null;
  };
  const look = () => {
    const under = document.elementsFromPoint(at.x, at.y).find((each) => table.contains(each)); // bar or not
    mark(under?.closest("tr.line, tr.head, tr.add") ?? null);
  };
  /** As long as it is dragged: what is under it may change though it is held still. */
  const follow = () => {
    if (!row) return;
    if (at.y < EDGE) window.scrollBy(0, -STEP);
    else if (at.y > innerHeight - EDGE) window.scrollBy(0, STEP);
    look();
    requestAnimationFrame(follow);
  };
  table.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button !== 0 || !event.target.matches(".grip")) return;
    event.preventDefault(); // no text is selected meanwhile
    event.target.setPointerCapture(event.pointerId);
    at = { x: event.clientX, y: event.clientY };
    row = event.target.closest("tr.line");
    row.classList.add("dragged");
    follow();
  });
  table.addEventListener("pointermove", (event) => {
    at = { x: event.clientX, y: event.clientY };
  });
  table.addEventListener("pointerup", (event) => {
    if (!row) return;
    at = { x: event.clientX, y: event.clientY };
    look();
    if (over) put(row, over.closest("tbody"), over.matches(".head") ? over.nextSibling : over);
    end();
  });
  table.addEventListener("pointercancel", end);
  document.addEventListener("keydown", (event) => event.key === "Escape" && end());
}

if (form) {
  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-do]");
    if (!button) return;
    event.preventDefault();
    act(button);
  });
  form.addEventListener("input", () => changed());
  form.addEventListener("change", (event) => {
    const to = event.target.closest("[name^='to-']");
    const group = to && [...table.tBodies].find((each) => each.dataset.group === to.value);
    if (group) put(to.closest("tr"), group, group.querySelector(".add"));
  });
  form.addEventListener("keydown", keys);
  form.addEventListener("paste", pasted);
  if (form.dataset.typed) changed();
  drags();
}
