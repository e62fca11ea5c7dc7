// Packs scanned one after another: a photo is read as soon as it is taken, a USB scanner types on
// wherever the focus is, and each form is answered on this page, so that the camera stays on from pack
// to pack. Without this a button reads the photo, the field is tapped first, and every answer is a new
// page.

import "../in-place.js";

const place = document.getElementById(document.querySelector(".camera").dataset.stays);

function prepare() {
  document.getElementById("read-photo")?.setAttribute("hidden", "");
}

function show() {
  prepare();
  const first = place.querySelector("#question, .problem, .message, .tag, .waits");
  if (!first) return;
  first.tabIndex = -1;
  first.focus({ preventScroll: true });
  first.scrollIntoView({ block: "nearest" });
}

for (const event of ["answered", "refused"]) document.addEventListener(event, show);
place.addEventListener("change", ({ target }) => {
  if (target.id === "image" && target.files.length) target.form.requestSubmit();
});
document.addEventListener("keydown", (event) => {
  const busy = event.target.closest(
    "input:not([type=radio]), select, textarea, button, a, summary",
  );
  if (busy || event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey) return;
  document.getElementById("text")?.focus({ preventScroll: true });
});
prepare();
