// Receiving: a photo is read as soon as it is taken, and a USB scanner types on wherever the focus
// is. Without this a button reads the photo, and the field is tapped first.

const form = document.getElementById("read");
const typed = document.getElementById("text");
const photo = document.getElementById("image");

document.getElementById("read-photo").hidden = true;
photo.addEventListener("change", () => {
  if (photo.files.length) form.requestSubmit();
});
document.addEventListener("keydown", (event) => {
  const busy = event.target.closest(
    "input:not([type=radio]), select, textarea, button, a, summary",
  );
  if (busy || event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey) return;
  typed.focus({ preventScroll: true });
});
