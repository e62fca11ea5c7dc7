// Forms that are answered on the same page, one after another and never lost, and the page's
// reaction to what came of them. A form says where by data-in-place="ID".

const queue = [];
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
    const answer = await fetch(form.action, {
      method: "POST",
      body: data,
      headers: { "HX-Request": "true" },
      credentials: "same-origin",
    });
    if (answer.redirected) return location.assign(answer.url);
    if (answer.status === 401) return location.reload(); // which asks to sign in
    place.innerHTML = await answer.text();
    done = answer.ok;
  } catch {
    // Nothing came back, so nobody knows whether it was done: the very form is still there, with
    // its key, and pressing again does it once.
    place.querySelector(".away")?.remove();
    const note = document.createElement("p");
    note.className = "problem away";
    note.setAttribute("role", "alert");
    note.textContent = document.getElementById("camera").dataset.away;
    const onward = document.querySelector("#pocket a").cloneNode();
    onward.href += `?${new URLSearchParams({ text: data.get("text") ?? "" })}`;
    onward.textContent = document.getElementById("pocket").dataset.onward;
    note.append(" ", onward);
    place.prepend(note);
  } finally {
    place.removeAttribute("aria-busy");
    resolve(done ? place : null);
    next();
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.inPlace) return;
  event.preventDefault();
  const more = {};
  const text = form.elements.namedItem("text");
  if (text?.type === "text") {
    more.text = text.value;
    text.value = "";
  }
  send(form, more, event.submitter).then((place) => {
    if (place) document.dispatchEvent(new CustomEvent("answered", { detail: place }));
  });
});
