// Says that work is under way where an answer takes longer than a moment: a form's or a page's.

const place = document.getElementById("working");
const MOMENT_MS = 700;
let soon = 0;
let asking = 0;

function rest() {
  clearTimeout(soon);
  clearInterval(asking);
  place.replaceChildren();
}

function begin() {
  rest();
  soon = setTimeout(
    () => place.append(document.createElement("progress"), place.dataset.says),
    MOMENT_MS,
  );
}

document.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return; // answered within the page
  begin();
  // Where a browser saves a file the page stays: the answer says by a cookie that it has come.
  const asked = event.target.querySelector("[name=asked]");
  if (!asked) return;
  asked.value = String(Date.now());
  asking = setInterval(() => {
    if (document.cookie.includes(`answered=${asked.value}`)) rest();
  }, MOMENT_MS);
});

// A link to another page of ours, opened here; where a browser saves a file (`download`) or goes on
// within the page nothing would end it.
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  const elsewhere =
    event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey;
  if (!link || event.defaultPrevented || elsewhere || link.target) return;
  if (link.hasAttribute("download") || link.origin !== location.origin) return;
  if (link.pathname === location.pathname && link.search === location.search) return;
  begin();
});
window.addEventListener("pageshow", rest);
