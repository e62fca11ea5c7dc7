// The key / opens the search from every page, or puts the cursor into it.

const link = document.getElementById("search-link");

function typing(where) {
  return where.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(where.tagName);
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (!link || typing(event.target) || document.querySelector("dialog[open]")) return;
  event.preventDefault();
  const field = document.getElementById("q");
  if (field) field.select();
  else location.assign(link.href);
});
