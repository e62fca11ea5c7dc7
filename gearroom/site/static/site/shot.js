// A photo of a label is sent as soon as it is taken, by the button beside it.

for (const photo of document.querySelectorAll("input[type=file][data-send]")) {
  photo.addEventListener("change", () => {
    if (photo.files.length) photo.form.requestSubmit(photo.form.elements.namedItem(photo.dataset.send));
  });
}
