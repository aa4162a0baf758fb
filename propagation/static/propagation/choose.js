// Counts what is chosen in a rack or a list and writes the number into the buttons: "Mark 6 as sealed".
// Markup: parts/bulk_bar.html inside the form that holds the checkboxes.

function boxes(form) {
  return [...form.querySelectorAll("input[type=checkbox][data-choose]")].filter((box) => !box.disabled);
}

function refresh(form) {
  const bar = form.querySelector("[data-bulk]");
  if (!bar) return;
  const all = boxes(form);
  const count = all.filter((box) => box.checked).length;
  const words = bar.querySelector("[data-bulk-count]");
  if (words) words.textContent = count === 0 ? "None chosen" : `${count} of ${all.length} chosen`;
  for (const button of bar.querySelectorAll("[data-bulk-words]")) {
    button.querySelector("[data-words]").textContent = count
      ? button.dataset.bulkWords.replace("{n}", count)
      : button.dataset.bulkNone;
    button.disabled = count === 0;
  }
  for (const button of bar.querySelectorAll("[data-bulk-choose]")) {
    const wanted = matching(all, button.dataset.bulkChoose);
    button.setAttribute("aria-pressed", String(wanted.length > 0 && wanted.every((box) => box.checked)));
  }
}

function matching(all, what) {
  return what === "all" ? all : all.filter((box) => box.dataset.choose === what);
}

document.addEventListener("change", (event) => {
  if (event.target.matches?.("[data-choose]") && event.target.form) refresh(event.target.form);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-bulk-choose]");
  if (!button) return;
  const form = button.closest("form");
  const wanted = matching(boxes(form), button.dataset.bulkChoose);
  const on = !wanted.every((box) => box.checked);
  for (const box of wanted) box.checked = on;
  refresh(form);
});

function refreshAll() {
  for (const bar of document.querySelectorAll("[data-bulk]")) {
    const form = bar.closest("form");
    if (form) refresh(form);
  }
}
refreshAll();
window.addEventListener("pageshow", refreshAll);
document.addEventListener("htmx:load", refreshAll);
