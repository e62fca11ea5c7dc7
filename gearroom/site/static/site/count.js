// Counting what was used: one tap a thing. Without this the number fields do the same.

const form = document.getElementById("used");
const finish = form.querySelector(".finish .go");

function total() {
  let sum = 0;
  for (const tile of form.querySelectorAll(".tile")) {
    const count = Number(tile.querySelector("input").value) || 0;
    tile.classList.toggle("some", count > 0);
    tile.querySelector(".less").hidden = count === 0;
    sum += count;
  }
  finish.textContent = sum ? finish.dataset.some.replace("COUNT", sum) : finish.dataset.none;
}

for (const button of form.querySelectorAll(".more")) button.hidden = false;
form.addEventListener("click", (event) => {
  const button = event.target.closest(".less, .more");
  if (!button) return;
  const field = button.parentElement.querySelector("input");
  if (button.classList.contains("more")) field.stepUp();
  else field.stepDown();
  total();
});
form.addEventListener("input", total);
total();
