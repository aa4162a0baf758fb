// The cutting form. Without this module it works by its buttons; here mothers stay chosen while others are searched for.

const form = document.querySelector("form[data-cut]");

function countOf(card) {
  return card.querySelector("[name$=-frags]");
}

function isChosen(card) {
  return card.querySelector(".mother-tick").checked;
}

// A line without a count of its own takes the last one entered in this sitting.
let lastCount = "";

function rememberCount(field) {
  if (Number(field.value) > 0) lastCount = field.value;
}

// As many are suggested for insurance as the line lacks, and no more than were cut, until the keeper says otherwise.
function suggestInsurance(card) {
  const field = card.querySelector("[name$=-insurance]");
  if (!field || field.dataset.touched || field.dataset.missing === "0") return;
  field.value = Math.min(Number(field.dataset.missing), Math.max(Number(countOf(card).value) || 0, 0));
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

function say(words) {
  document.querySelector("[data-cut-status]").textContent = words;
}

document.addEventListener("change", (event) => {
  const card = event.target.closest?.("form[data-cut] [data-mother]");
  if (!card) return;
  if (event.target.matches("[name$=-frags]")) {
    event.target.dataset.touched = "yes";
    rememberCount(event.target);
    suggestInsurance(card);
  }
  if (event.target.matches("[name$=-insurance]")) event.target.dataset.touched = "yes";
  if (!event.target.matches(".mother-tick")) return;
  const field = countOf(card);
  if (event.target.checked) {
    if ("noMemory" in field.dataset && !field.dataset.touched && lastCount) {
      field.value = lastCount;
      field.dispatchEvent(new Event("input", { bubbles: true }));
      suggestInsurance(card);
    }
    say(`${card.dataset.mother} chosen, ${field.value} frags.`);
  } else {
    say(`${card.dataset.mother} left out.`);
  }
});

// A number is replaced by typing, not added to.
document.addEventListener("focusin", (event) => {
  if (event.target.matches?.("[data-mother] input[type=number]")) event.target.select();
});

// What is chosen is not swept away by the next search: it moves up among the chosen first.
document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.target?.id !== "offered") return;
  const chosen = document.getElementById("chosen");
  for (const card of event.detail.target.querySelectorAll("[data-mother]")) {
    if (isChosen(card)) chosen.append(card);
  }
});
document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target?.id !== "offered") return;
  const chosen = document.getElementById("chosen");
  for (const card of event.detail.target.querySelectorAll("[data-mother]")) {
    // Chosen while the answer was on its way.
    if (chosen.querySelector(`[data-mother="${CSS.escape(card.dataset.mother)}"]`)) card.remove();
  }
  form.dispatchEvent(new Event("ramet:rows", { bubbles: true }));
});
