// Asks before a page is left on which something was typed and not sent yet: of each form with
// `data-asks`. Whatever else changes such a form says so by an "unsaved" event; `data-typed` says
// that it came with something typed.

for (const form of document.querySelectorAll("form[data-asks]")) {
  let typed = Boolean(form.dataset.typed);
  for (const kind of ["input", "unsaved"]) {
    form.addEventListener(kind, () => {
      typed = true;
    });
  }
  window.addEventListener("submit", (event) => {
    if (event.target === form && !event.defaultPrevented) typed = false;
  });
  window.addEventListener("beforeunload", (event) => {
    if (typed) event.preventDefault();
  });
}
