// Keeps what was typed through an accidental reload, in this tab only.
//   <form data-draft="cut">                        the name under which it is kept
//   <div data-draft-rows="mothers"> … </div>       rows that come and go are kept whole, with their values
// A refused form comes back from the server with its values, so it is kept as it comes and nothing is restored over it.

const DAY = 24 * 60 * 60 * 1000;

function nameOf(form) {
  return `draft:${form.dataset.draft}:${location.pathname}`;
}

function controls(form) {
  return [...form.elements].filter(
    (each) => each.name && !["csrfmiddlewaretoken"].includes(each.name) && !["file", "submit", "button", "password"].includes(each.type),
  );
}

// A clone of the rows whose attributes say what its fields hold now.
function rowsOf(area) {
  const copy = area.cloneNode(true);
  const now = area.querySelectorAll("input, select, textarea");
  copy.querySelectorAll("input, select, textarea").forEach((field, index) => {
    const live = now[index];
    if (field.type === "checkbox" || field.type === "radio") field.toggleAttribute("checked", live.checked);
    else if (field.tagName === "TEXTAREA") field.textContent = live.value;
    else if (field.tagName === "SELECT") [...field.options].forEach((option, at) => option.toggleAttribute("selected", live.options[at].selected));
    else if (field.type !== "file" && field.type !== "password") field.setAttribute("value", live.value);
  });
  return copy.innerHTML;
}

function keep(form, sent = false) {
  const rows = {};
  for (const area of form.querySelectorAll("[data-draft-rows]")) rows[area.dataset.draftRows] = rowsOf(area);
  const values = controls(form)
    .filter((each) => !each.closest("[data-draft-rows]"))
    .map((each) => [each.name, ["checkbox", "radio"].includes(each.type) ? `${each.value}\n${each.checked}` : each.value]);
  try {
    sessionStorage.setItem(nameOf(form), JSON.stringify({ at: Date.now(), sent, rows, values }));
  } catch {
    // Storage is full or forbidden: the form works as it always did.
  }
}

function restore(form) {
  if (form.querySelector("[aria-invalid=true], [data-refused]")) return keep(form);
  let draft;
  try {
    draft = JSON.parse(sessionStorage.getItem(nameOf(form)));
  } catch {
    return undefined;
  }
  if (!draft) return undefined;
  const arrival = performance.getEntriesByType("navigation")[0]?.type;
  const wentThrough = draft.sent && arrival === "navigate";
  if (wentThrough || Date.now() - draft.at > DAY) {
    sessionStorage.removeItem(nameOf(form));
    return undefined;
  }
  for (const area of form.querySelectorAll("[data-draft-rows]")) {
    const kept = draft.rows[area.dataset.draftRows];
    if (kept !== undefined) {
      area.innerHTML = kept;
      window.htmx?.process(area);
    }
  }
  const byName = new Map();
  for (const [name, value] of draft.values) byName.set(name, [...(byName.get(name) || []), value]);
  for (const each of controls(form).filter((one) => !one.closest("[data-draft-rows]"))) {
    const left = byName.get(each.name);
    if (!left?.length) continue;
    const value = left.shift();
    if (["checkbox", "radio"].includes(each.type)) each.checked = value === `${each.value}\ntrue`;
    else each.value = value;
  }
  form.dispatchEvent(new Event("ramet:restored", { bubbles: true }));
  return undefined;
}

function formOf(node) {
  return node.closest?.("form[data-draft]");
}

for (const name of ["input", "change", "htmx:afterSettle"]) {
  document.addEventListener(name, (event) => {
    const form = formOf(event.target);
    if (form) keep(form);
  });
}
document.addEventListener("submit", (event) => {
  if (event.target.matches("form[data-draft]") && !event.defaultPrevented) keep(event.target, true);
});
document.addEventListener("reset", (event) => {
  if (event.target.matches("form[data-draft]")) sessionStorage.removeItem(nameOf(event.target));
});
for (const form of document.querySelectorAll("form[data-draft]")) restore(form);
