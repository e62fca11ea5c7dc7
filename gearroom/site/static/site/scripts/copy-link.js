// A button that copies the link beside it. Without this the link can be selected as it is.

const button = document.getElementById("copy");
const link = document.getElementById("link");

if (button && navigator.clipboard) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(link.value);
    button.textContent = button.dataset.done;
  });
}
