// The market table: says on the buttons what was typed as a price, lets a scanner type from anywhere, and says so when a
// tap did not get through. Without it the page works by its buttons.

function amountOf(field) {
  const text = field.value.trim().replace(/\s/g, "");
  if (!/^\d+([.,]\d{1,3})?$/.test(text)) return NaN;
  return Number(text.replace(",", "."));
}

function written(amount, currency) {
  return new Intl.NumberFormat("en", { style: "currency", currency }).format(amount);
}

function say(button, words, amount) {
  const place = button.querySelector("[data-words]");
  const { currency } = button.closest("[data-market]").dataset;
  place.textContent = Number.isNaN(amount) ? words.split(/ (?:for|·) \{sum\}/)[0] : words.replace("{sum}", written(amount, currency));
}

function sayPrices(form, field) {
  if (form?.matches("[data-market-sell]")) {
    for (const button of form.querySelectorAll("[data-price-words]")) say(button, button.dataset.priceWords, amountOf(field));
  }
  if (form?.matches("[data-market-basket]")) {
    const together = form.elements.together;
    const fields = together.value.trim() ? [together] : [...form.querySelectorAll("[name^=price-]")];
    const button = form.querySelector("[data-basket-sum]");
    say(button, button.dataset.basketSum, fields.reduce((sum, each) => sum + amountOf(each), 0));
  }
}

// What was typed before this was there to listen.
function sayWhatWasTyped() {
  for (const form of document.querySelectorAll("[data-market-sell], [data-market-basket]")) {
    const typed = [...form.querySelectorAll("input")].find((field) => /price|together/.test(field.name) && field.value !== field.defaultValue);
    if (typed) sayPrices(form, typed);
  }
}

document.addEventListener("input", (event) => sayPrices(event.target.form, event.target));
sayWhatWasTyped();

// A scanner that types needs no tap into the field first. Enter is left alone: it must never press what has the focus.
document.addEventListener("keydown", (event) => {
  const code = document.getElementById("market-code");
  const free = document.activeElement === document.body || document.activeElement?.matches("[data-market-plug]");
  if (!code || !free || event.ctrlKey || event.metaKey || event.altKey || !/^[a-z0-9]$/i.test(event.key)) return;
  code.value = "";
  code.focus();
});

document.addEventListener("htmx:afterSettle", () => {
  sayWhatWasTyped();
  const plug = document.querySelector("[data-market-plug]");
  if (plug && !document.querySelector("[data-errors]")) plug.focus({ preventScroll: true });
  document.querySelector("[data-market] [data-errors]")?.focus();
});

function notSent(words) {
  const place = document.querySelector("[data-not-sent]");
  if (!place) return;
  place.textContent = words;
  place.hidden = false;
  place.scrollIntoView({ block: "nearest" });
}
for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, () => notSent("That did not get through. Tap again once there is a connection: what was sold is never sold twice."));
}
document.addEventListener("htmx:responseError", () => notSent("The answer could not be read. Load the page again and look at Today: it tells what was sold."));
document.addEventListener("htmx:beforeRequest", () => {
  const place = document.querySelector("[data-not-sent]");
  if (place) place.hidden = true;
});
