// Forms that are answered on the same page, one after another and never lost, and the page's
// reaction to what came of them. A form says where by data-in-place="ID". Where that place is a part
// of whole pages (data-away, which says that the server is away), it becomes what the answer has
// there, below what was done, with its undo; a refusal without it stands above what was typed. What a
// page asks before it acts (#question) is asked in that place, over what is there.

import { untouched } from "./touch.js";

const queue = [];
const sending = new Set(); // forms that are sent and will be replaced by their answer
let busy = false;

/** Send a form, once what was sent before it is answered. `more` is added to its fields. */
export function send(form, more = {}, submitter = null) {
  return new Promise((resolve) => {
    queue.push({ form, more, submitter, resolve });
    if (!busy) next();
  });
}

async function next() {
  const job = queue.shift();
  busy = Boolean(job);
  if (!job) return;
  const { form, more, submitter, resolve } = job;
  const place = document.getElementById(form.dataset.inPlace);
  // The key and what waits stand in the answer before: a form is read only when its turn comes.
  const data = new FormData(form, submitter);
  for (const [name, values] of Object.entries(more)) {
    data.delete(name);
    for (const value of [values].flat()) data.append(name, value);
  }
  place.setAttribute("aria-busy", "true");
  let done = false;
  try {
    const answer = await ask(form, data);
    if (answer.status === 401) return location.reload(); // which asks to sign in
    const text = await answer.text();
    if (await showQuestion(place, text)) {
      // what is there comes back where it is left as it is
    } else if (place.dataset.away) {
      if (!(await becomePage(place, answer, text))) {
        // Another page: where it asks something about what was sent, by sending it again.
        return answer.redirected ? location.assign(answer.url) : form.submit();
      }
    } else {
      const other = answer.redirected && new URL(answer.url).pathname !== location.pathname;
      if (other) return location.assign(answer.url);
      await untouched();
      place.innerHTML = text;
      if (place.querySelector(".message")) document.querySelector("main > .message")?.remove();
    }
    done = answer.ok;
  } catch {
    // Nothing came back, so nobody knows whether it was done: the very form is still there, with
    // its key, and pressing again does it once.
    const own = place.dataset.away;
    const note = refuse(place, own ?? document.getElementById("camera").dataset.away);
    if (own) return;
    const onward = document.querySelector("#pocket a").cloneNode();
    onward.href += `?${new URLSearchParams({ text: data.get("text") ?? "" })}`;
    onward.textContent = document.getElementById("pocket").dataset.onward;
    note.append(" ", onward);
  } finally {
    place.removeAttribute("aria-busy");
    sending.delete(form);
    resolve(done ? place : null);
    next();
  }
}

function ask(form, data) {
  const how = { headers: { "HX-Request": "true" }, credentials: "same-origin" };
  if (form.method === "post") return fetch(form.action, { ...how, method: "POST", body: data });
  const to = new URL(form.action);
  to.search = new URLSearchParams(data);
  return fetch(to, how);
}

/** Show in a place what an answer has there; false where the answer is another page. */
async function becomePage(place, answer, text) {
  const other = new DOMParser().parseFromString(text, "text/html");
  const part = other.getElementById(place.id);
  await untouched();
  if (part) {
    document.querySelector("main > .message")?.remove();
    place.replaceChildren(...other.querySelectorAll("main > .message"), ...part.childNodes);
  } else if (!answer.ok) {
    refuse(place, other.body.innerText.trim());
  }
  return part || !answer.ok;
}

/** Ask in a place what a page asks before it acts; false where it asks nothing. */
async function showQuestion(place, text) {
  const question = new DOMParser().parseFromString(text, "text/html").getElementById("question");
  if (!question) return false;
  for (const form of question.querySelectorAll("form")) form.dataset.inPlace = place.id;
  question.querySelector("a").addEventListener("click", (event) => {
    event.preventDefault();
    question.remove();
    document.dispatchEvent(new CustomEvent("answered", { detail: place }));
  });
  await untouched();
  place.querySelector("#question")?.remove();
  place.prepend(question);
  return true;
}

function refuse(place, says) {
  const before = place.dataset.away ? ":scope > .problem" : ".away";
  for (const each of place.querySelectorAll(before)) each.remove();
  const note = document.createElement("p");
  note.className = "problem away";
  note.setAttribute("role", "alert");
  note.textContent = says;
  place.prepend(note);
  return note;
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  const whole = document.querySelector("main > [data-away]") ?? document.getElementById("answer");
  if (whole && form.closest(".message")) form.dataset.inPlace = whole.id; // to undo what was done
  if (!form.dataset.inPlace) return;
  event.preventDefault();
  if (sending.has(form)) return; // pressed twice
  const place = document.getElementById(form.dataset.inPlace);
  if (place.contains(form)) sending.add(form);
  const more = {};
  const text = form.elements.namedItem("text");
  if (text?.type === "text") {
    more.text = text.value;
    if (!place.contains(form)) text.value = "";
  }
  send(form, more, event.submitter).then((answered) => {
    if (answered) document.dispatchEvent(new CustomEvent("answered", { detail: place }));
    else document.dispatchEvent(new CustomEvent("refused", { detail: place }));
  });
});
