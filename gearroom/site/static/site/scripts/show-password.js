// A box, hidden without a script, shows what is typed in the password field that it names; what is
// sent is a password again, so that browsers offer to keep it and nobody reads it over a shoulder.
for (const box of document.querySelectorAll("input[data-shows]")) {
  const field = document.getElementById(box.dataset.shows);
  const show = () => {
    field.type = box.checked ? "text" : "password";
  };
  box.closest("[hidden]").hidden = false;
  box.addEventListener("change", show);
  field.form.addEventListener("submit", () => {
    field.type = "password";
  });
  show();
}
