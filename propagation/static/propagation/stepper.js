// − and + beside a number. Without this module the number field works alone.
// Markup: parts/stepper.html. A press steps once; holding repeats. Presets: <button data-preset="8" data-preset-for="id">.

const HOLD_DELAY = 450;
const REPEAT_EVERY = 90;

function limit(input, name, otherwise) {
  return input[name] === "" ? otherwise : Number(input[name]);
}

function step(input, direction) {
  const size = Number(input.step) || 1;
  const least = limit(input, "min", -Infinity);
  const most = limit(input, "max", Infinity);
  const places = (input.step.split(".")[1] || "").length;
  const before = input.value === "" ? (least === -Infinity ? 0 : least - size * direction) : Number(input.value);
  const after = Math.min(most, Math.max(least, before + direction * size));
  setValue(input, after.toFixed(places));
}

function setValue(input, value) {
  if (input.value === value) return;
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

function refresh(stepper) {
  const input = stepper.querySelector("input");
  if (!input) return;
  const [fewer, more] = stepper.querySelectorAll("button");
  if (fewer) fewer.disabled = input.value !== "" && Number(input.value) <= limit(input, "min", -Infinity);
  if (more) more.disabled = input.value !== "" && Number(input.value) >= limit(input, "max", Infinity);
  for (const preset of document.querySelectorAll(`[data-preset-for="${CSS.escape(input.id)}"]`)) {
    preset.setAttribute("aria-pressed", String(Number(preset.dataset.preset) === Number(input.value) && input.value !== ""));
  }
}

let timer = 0;
let held = false;

function release() {
  clearTimeout(timer);
  timer = 0;
}

document.addEventListener("pointerdown", (event) => {
  const button = event.target.closest?.("[data-step]");
  if (!button || event.button !== 0) return;
  const input = button.closest("[data-stepper]").querySelector("input");
  held = false;
  const again = () => {
    held = true;
    step(input, Number(button.dataset.step));
    timer = button.disabled ? 0 : setTimeout(again, REPEAT_EVERY);
  };
  timer = setTimeout(again, HOLD_DELAY);
});
for (const end of ["pointerup", "pointercancel", "pointerleave", "blur"]) window.addEventListener(end, release, true);
document.addEventListener("contextmenu", (event) => {
  if (event.target.closest?.("[data-step]")) event.preventDefault();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-step]");
  if (button) {
    // The click that ends a long press has been counted by the repeats.
    if (!held) step(button.closest("[data-stepper]").querySelector("input"), Number(button.dataset.step));
    held = false;
    return;
  }
  const preset = event.target.closest?.("[data-preset]");
  if (preset) {
    const input = document.getElementById(preset.dataset.presetFor);
    if (input) setValue(input, preset.dataset.preset);
  }
});

document.addEventListener("input", (event) => {
  const stepper = event.target.closest?.("[data-stepper]");
  if (stepper) refresh(stepper);
});

// A wheel over a number field that has the focus changes it unseen.
document.addEventListener("wheel", (event) => {
  if (event.target.matches?.("input[type=number]") && event.target === document.activeElement) event.target.blur();
}, { passive: true });

function refreshAll(inside) {
  for (const stepper of inside.querySelectorAll("[data-stepper]")) refresh(stepper);
}
refreshAll(document);
document.addEventListener("htmx:load", (event) => refreshAll(event.target));
document.addEventListener("ramet:restored", (event) => refreshAll(event.target));
