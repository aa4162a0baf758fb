// <button data-share="#link"><span data-words>Share</span></button> hands the link in a field to the device's own list of
// ways to send something; where there is none it copies it.
for (const button of document.querySelectorAll("[data-share]")) {
  const field = document.querySelector(button.dataset.share);
  const say = (words) => ((button.querySelector("[data-words]") || button).textContent = words);

  const copy = async () => {
    field.select();
    try {
      await navigator.clipboard.writeText(field.value);
      say("Copied");
    } catch {
      // Without a secure connection there is no clipboard but this one.
      say(document.execCommand("copy") ? "Copied" : "Press Ctrl C");
    }
  };

  button.addEventListener("click", async () => {
    if (!navigator.share) return copy();
    try {
      await navigator.share({ title: document.title, url: field.value });
    } catch (error) {
      if (error.name !== "AbortError") await copy(); // AbortError: they thought better of it
    }
  });
}
