// Says that work is under way where a form's answer takes longer than a moment.

const place = document.getElementById("working");
const MOMENT_MS = 700;
let soon = 0;
let asking = 0;

function rest() {
  clearTimeout(soon);
  clearInterval(asking);
  place.replaceChildren();
}

document.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return; // answered within the page
  rest();
  soon = setTimeout(
    () => place.append(document.createElement("progress"), place.dataset.says),
    MOMENT_MS,
  );
  // Where a browser saves a file the page stays: the answer says by a cookie that it has come.
  const asked = event.target.querySelector("[name=asked]");
  if (!asked) return;
  asked.value = String(Date.now());
  asking = setInterval(() => {
    if (document.cookie.includes(`answered=${asked.value}`)) rest();
  }, MOMENT_MS);
});
window.addEventListener("pageshow", rest);
