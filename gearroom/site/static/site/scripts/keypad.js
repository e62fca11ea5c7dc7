// Large digits for a PIN: the last one sends it.

const form = document.getElementById("pin");
const field = form.elements.namedItem("pin");
const pad = form.querySelector(".keypad");

function sendWhenWhole() {
  if (field.value.length === field.maxLength) form.requestSubmit();
}

pad.hidden = false;
pad.addEventListener("click", (event) => {
  const key = event.target.closest("button");
  if (!key || field.value.length >= field.maxLength) return;
  field.value += key.value;
  sendWhenWhole();
});
field.addEventListener("input", sendWhenWhole);
