// A batch named by its label: a photo is sent as soon as it is taken; the camera, where somebody taps
// for it, looks until it has read one. Both go through the field and the form that typing goes through.

import { camera } from "./camera.js";

const typed = document.getElementById("batch");
const photo = document.getElementById("image");

if (typed) {
  const read = () => typed.form.requestSubmit(typed.form.elements.namedItem("read"));
  const eye = camera(document.getElementById("batch-camera"), ([text]) => {
    eye.stop();
    photo.value = "";
    typed.value = text;
    read();
  });
  photo.addEventListener("change", () => {
    if (photo.files.length) read();
  });
}
