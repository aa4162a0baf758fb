// A second press of a save button sends nothing. The server refuses the double as well; this spares the keeper the doubt.
// data-many on a form leaves it alone (a download stays on the page).

function free(form) {
  form.classList.remove("is-busy");
  delete form.dataset.sent;
  form.removeAttribute("aria-busy");
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post" || "many" in form.dataset) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  form.classList.add("is-busy");
  form.setAttribute("aria-busy", "true");
});

// Back from the next page.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) free(form);
});
