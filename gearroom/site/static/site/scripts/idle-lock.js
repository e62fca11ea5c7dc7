// Locks a shared device when nobody touched it for a while; the server would do so all the same.

const form = document.getElementById("lock");
const after = Number(form.dataset.after) * 1000;
let timer;

function again() {
  clearTimeout(timer);
  timer = setTimeout(() => form.submit(), after);
}

for (const kind of ["pointerdown", "keydown", "input"])
  addEventListener(kind, again, { passive: true });
document.addEventListener("answered", again); // a label was scanned
again();
