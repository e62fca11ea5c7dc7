// A camera beside a field: it looks where somebody taps for it, types what it has read and sends the
// field's form. Of several codes on a box it takes the one that says most. Where the page waits for
// the next code (data-again) it goes on by itself, until it is switched off. Where forms are answered
// in place (data-stays names it), one stream is kept from code to code: the camera rests while what
// was read waits to be settled (a .tag), or the page asks something first (#question).

import { camera } from "./camera.js";

const ON = "eye-on";

for (const box of document.querySelectorAll("[data-into]")) {
  const stays = box.dataset.stays;
  const eye = camera(box, (texts) => {
    const field = document.getElementById(box.dataset.into);
    const at = document.activeElement;
    if (stays && at !== field && at.matches("input, select, textarea")) return; // somebody is typing
    if (stays) eye.rest();
    else eye.stop();
    field.value = texts.reduce((one, other) => (other.length > one.length ? other : one));
    field.form.requestSubmit();
  });
  const isOn = () => sessionStorage.getItem(ON) === location.pathname;
  const goOn = () => {
    if (!isOn()) return;
    if (document.getElementById(stays)?.querySelector(".tag, #question")) eye.rest();
    else {
      eye.start();
      box.scrollIntoView(); // what was done stands below it
    }
  };
  box.querySelector(".switch").addEventListener(
    "click",
    () => {
      if (box.classList.contains("on")) sessionStorage.removeItem(ON);
      else sessionStorage.setItem(ON, location.pathname);
    },
    { capture: true },
  );
  if (stays) for (const event of ["answered", "refused"]) document.addEventListener(event, goOn);
  if ("again" in box.dataset && isOn()) eye.start();
}
