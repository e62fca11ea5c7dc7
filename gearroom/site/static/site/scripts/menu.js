// Menus that are `details`: Escape closes one and goes back to what opened it; so does a press
// anywhere else.

const OPEN = "details:is(.menu, .who)[open]";

function close(menu) {
  menu.open = false;
}

document.addEventListener("keydown", (event) => {
  const menu = event.target.closest?.(OPEN);
  if (event.key !== "Escape" || !menu) return;
  close(menu);
  menu.querySelector("summary").focus();
});

document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll(OPEN)) {
    if (!menu.contains(event.target)) close(menu);
  }
});
