// A camera beside a field: it looks where somebody taps for it, types what it has read and sends the
// field's form. Of several codes on a box it takes the one that says most. Where the page waits for
// the next code (data-again) it goes on by itself, until it is switched off.

import { camera } from "./camera.js";

const ON = "eye-on";

for (const box of document.querySelectorAll("[data-into]")) {
  const field = document.getElementById(box.dataset.into);
  const eye = camera(box, (texts) => {
    eye.stop();
    field.value = texts.reduce((one, other) => (other.length > one.length ? other : one));
    field.form.requestSubmit();
  });
  box.querySelector(".switch").addEventListener(
    "click",
    () => {
      if (box.classList.contains("on")) sessionStorage.removeItem(ON);
      else sessionStorage.setItem(ON, location.pathname);
    },
    { capture: true },
  );
  if ("again" in box.dataset && sessionStorage.getItem(ON) === location.pathname) eye.start();
}
