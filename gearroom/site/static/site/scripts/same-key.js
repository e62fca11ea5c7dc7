// A form that was sent and is come back to (the browser's *Back*) keeps the key that it was sent
// with: the page is new then and what was typed still stands in it, so that sending it again would
// do the same a second time. With the same key it is done once.

const KEY = "input[name=key]";
const OTHERS = ["key", "csrfmiddlewaretoken", "since"];

// What says which form it is: where it goes, and what it names without being typed.
function name(form) {
  const hidden = [...form.querySelectorAll("input[type=hidden]")];
  const named = hidden.filter((field) => !OTHERS.includes(field.name));
  return JSON.stringify([form.action, ...named.map((field) => [field.name, field.defaultValue])]);
}

document.addEventListener("submit", (event) => {
  const key = event.target.querySelector(KEY);
  if (event.defaultPrevented || !key) return; // answered within the page
  const sent = { ...history.state?.sent, [name(event.target)]: key.value };
  history.replaceState({ ...history.state, sent }, "");
});

const [visit] = performance.getEntriesByType("navigation");
if (visit?.type === "back_forward" && history.state?.sent) {
  for (const key of document.querySelectorAll(KEY)) {
    const before = history.state.sent[name(key.form)];
    if (before) key.value = before;
  }
}
