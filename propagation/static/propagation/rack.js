// Says what the next stage of the chosen plugs is ("Mark 6 as sealed"), and keeps a tap on a free cell from asking for
// nothing when no plug is chosen. Loaded after choose.js, so it has the last word on the button.

const NEXT = { fresh: "sealed", sealed: "encrusting", encrusting: "healed" };

function chosen(form) {
  return [...form.querySelectorAll("input[data-choose]:checked")];
}

function say(form) {
  const button = form.querySelector("[data-next-stage]");
  if (!button) return;
  const stages = new Set(chosen(form).map((box) => box.dataset.choose));
  const [only] = stages;
  const next = stages.size === 1 ? NEXT[only] : undefined;
  button.dataset.bulkWords = next
    ? `Mark {n} as ${next}`
    : stages.size === 1
      ? "Mark {n} as still healed"
      : "Move {n} to the next stage";
  const count = chosen(form).length;
  if (count) button.querySelector("[data-words]").textContent = button.dataset.bulkWords.replace("{n}", count);
  form.classList.toggle("has-chosen", count > 0);
}

function sayAll() {
  for (const form of document.querySelectorAll("form[data-rack]")) say(form);
}

document.addEventListener("change", (event) => {
  if (event.target.matches?.("[data-choose]") && event.target.form?.matches("[data-rack]")) say(event.target.form);
});

document.addEventListener("click", (event) => {
  const free = event.target.closest?.(".free-cell");
  if (free && chosen(free.form).length === 0) {
    event.preventDefault();
    const words = free.form.querySelector("[data-bulk-count]");
    if (words) words.textContent = "Choose a plug first, then its new cell";
    return;
  }
  if (event.target.closest?.("[data-bulk-choose]")) sayAll();
});

window.addEventListener("pageshow", sayAll);
sayAll();
