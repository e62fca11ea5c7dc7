// Counting what was used: one tap a thing; a batch that is scanned gets its own tile, in place.
// More of an item than is on record in the kit is said at once.
// Without this the number fields do the same, and the page comes again with the batch on it.

const form = document.getElementById("used");
const counts = document.getElementById("counts");
const finish = form.querySelector(".finish .go");
const batch = document.getElementById("batch");
const image = document.getElementById("image");

function total() {
  let sum = 0;
  const used = {};
  for (const tile of form.querySelectorAll(".tile")) {
    const count = Number(tile.querySelector("input").value) || 0;
    tile.classList.toggle("some", count > 0);
    tile.querySelector(".less").hidden = false; // always there, so that nothing moves under a thumb
    tile.querySelector(".more").hidden = false;
    sum += count;
    used[tile.dataset.item] = (used[tile.dataset.item] ?? 0) + count;
    const beyond = used[tile.dataset.item] > Number(tile.dataset.onRecord);
    tile.querySelector(".beyond").hidden = !(count && beyond);
  }
  finish.textContent = sum ? finish.dataset.some.replace("COUNT", sum) : finish.dataset.none;
}

form.addEventListener("click", (event) => {
  const button = event.target.closest(".less, .more");
  if (!button) return;
  const field = button.parentElement.querySelector("input");
  if (button.classList.contains("more")) field.stepUp();
  else field.stepDown();
  total();
});

form.addEventListener("submit", async (event) => {
  if (event.submitter?.name !== "read") return;
  event.preventDefault();
  counts.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, {
      method: "POST",
      body: new FormData(form, event.submitter),
      headers: { "HX-Request": "true" },
      credentials: "same-origin",
    });
    if (!answer.ok) return location.reload();
    counts.innerHTML = await answer.text();
    batch.value = image.value = "";
    if (document.activeElement === event.submitter) batch.focus();
    total();
  } catch {
    const note = document.createElement("p"); // what was counted is all still there
    note.className = "problem";
    note.setAttribute("role", "alert");
    note.textContent = form.dataset.away;
    counts.prepend(note);
  } finally {
    counts.removeAttribute("aria-busy");
  }
});
form.addEventListener("input", total);
window.addEventListener("pageshow", total); // a browser that goes back fills the fields by then
total();
