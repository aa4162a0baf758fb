// Runs before the page is drawn: says that scripts work, and keeps the keeper's choice of light or dark.
// The choice lives in a cookie so that the server can draw the page right from the start.
(() => {
  const root = document.documentElement;
  root.classList.add("js");

  const choices = ["auto", "light", "dark"];
  const words = { auto: "Look: as the device", light: "Look: light", dark: "Look: dark" };
  let chosen = choices.includes(root.dataset.theme) ? root.dataset.theme : "auto";

  function show() {
    if (chosen === "auto") delete root.dataset.theme;
    else root.dataset.theme = chosen;
    for (const button of document.querySelectorAll("[data-theme-switch]")) {
      button.querySelector("[data-theme-word]").textContent = words[chosen];
      const use = button.querySelector("use");
      use.setAttribute("href", use.getAttribute("href").replace(/#.*/, `#${chosen}`));
    }
  }

  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-theme-switch]")) return;
    chosen = choices[(choices.indexOf(chosen) + 1) % choices.length];
    const age = chosen === "auto" ? 0 : 60 * 60 * 24 * 365 * 5;
    document.cookie = `theme=${chosen}; path=/; max-age=${age}; samesite=lax`;
    show();
  });
  document.addEventListener("DOMContentLoaded", show);
})();
