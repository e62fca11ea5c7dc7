// Asks before a page is left on which something was typed and not sent yet: of each form with
// `data-asks`. Whatever else changes such a form says so by an "unsaved" event; `data-typed` says
// that it came with something typed.

const typed = new Set(document.querySelectorAll("form[data-asks][data-typed]"));

for (const kind of ["input", "unsaved"]) {
  document.addEventListener(
    kind,
    ({ target }) => {
      const form = target.closest("form[data-asks]");
      if (form) typed.add(form);
    },
    { capture: true }, // "unsaved" does not bubble
  );
}
window.addEventListener("submit", (event) => {
  if (!event.defaultPrevented) typed.delete(event.target);
});
window.addEventListener("beforeunload", (event) => {
  if ([...typed].some((form) => form.isConnected)) event.preventDefault();
});
