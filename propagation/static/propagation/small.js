// Small courtesies, none of them needed.

// A list of what was wrong takes the focus, so that it is read first.
document.querySelector("[data-errors]")?.focus();

// The total of several fields in a button: <button data-sum="[name$=-frags]" data-sum-one="Save sitting · 1 frag"
// data-sum-many="Save sitting · {n} frags" data-sum-none="Save sitting"><span data-words>Save sitting</span></button>
function total() {
  for (const button of document.querySelectorAll("[data-sum]")) {
    const scope = button.form || document;
    const sum = [...scope.querySelectorAll(button.dataset.sum)].reduce((all, field) => all + (Number(field.value) || 0), 0);
    const words = sum === 0 ? button.dataset.sumNone : sum === 1 ? button.dataset.sumOne : button.dataset.sumMany;
    (button.querySelector("[data-words]") || button).textContent = words.replace("{n}", sum);
  }
}
for (const name of ["input", "change", "htmx:afterSettle", "ramet:restored", "ramet:rows"]) document.addEventListener(name, total);
window.addEventListener("pageshow", total);
total();

document.addEventListener("click", (event) => {
  event.target.closest?.("[data-dismiss]")?.closest(".toast, .notice")?.remove();
  if (event.target.closest?.("[data-print]")) window.print();
  // <button data-copy="#link"><span data-words>Copy</span></button> copies what stands in a field.
  const copier = event.target.closest?.("[data-copy]");
  if (copier) {
    const field = document.querySelector(copier.dataset.copy);
    field.select();
    const said = (words) => ((copier.querySelector("[data-words]") || copier).textContent = words);
    if (navigator.clipboard) navigator.clipboard.writeText(field.value).then(() => said("Copied"), () => said("Press Ctrl C"));
    else said(document.execCommand("copy") ? "Copied" : "Press Ctrl C");
  }
  // A tap outside closes the menu.
  for (const menu of document.querySelectorAll("details.menu[open]")) if (!menu.contains(event.target)) menu.open = false;
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});

// Cautions stand open until they have been read once on this device.
for (const box of document.querySelectorAll("details[data-cautions]")) {
  const name = `cautions:${box.dataset.cautions}`;
  try {
    if (localStorage.getItem(name)) box.open = false;
    box.addEventListener("toggle", () => {
      if (!box.open) localStorage.setItem(name, "read");
    });
  } catch {
    // Without storage they stay open.
  }
}

// Filters and rarer acts are shut on a phone and open on a wide page; a phone that is turned may become wide.
const phone = window.matchMedia("(max-width: 63.99rem)");
if (phone.matches) {
  for (const panel of document.querySelectorAll("details.filters:not([data-in-use])")) panel.open = false;
}
function showRarerActs() {
  for (const acts of document.querySelectorAll("details.more-acts")) acts.open = !phone.matches;
}
showRarerActs();
phone.addEventListener("change", showRarerActs);
