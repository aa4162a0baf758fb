// Scanning a label. Markup: parts/camera.html.
// Where the browser can read QR codes itself and the page is secure, "Scan" opens a live view. Everywhere else the big
// button takes a picture, and the server reads it.

async function canReadLive() {
  if (!window.isSecureContext || !("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return false;
  try {
    return (await window.BarcodeDetector.getSupportedFormats()).includes("qr_code");
  } catch {
    return false;
  }
}

async function scan(part) {
  const dialog = part.querySelector("dialog");
  const video = dialog.querySelector("video");
  const words = dialog.querySelector("[data-camera-words]");
  const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
  let stream;
  dialog.showModal();
  words.textContent = "Hold the label in the picture.";
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" }, audio: false });
  } catch {
    words.textContent = "The camera cannot be opened. Allow it in the browser, or close this and take a picture or type the code.";
    return;
  }
  const stop = () => stream.getTracks().forEach((track) => track.stop());
  dialog.addEventListener("close", stop, { once: true });
  if (!dialog.open) {
    stop();
    return;
  }
  video.srcObject = stream;
  await video.play();
  while (dialog.open) {
    let found = [];
    try {
      found = await detector.detect(video);
    } catch {
      // A frame that is not there yet.
    }
    if (found.length) {
      dialog.close();
      use(part, found[0].rawValue);
      return;
    }
    await new Promise((resolve) => requestAnimationFrame(resolve));
  }
}

// The text goes where the page wants it: an event others may take, else a field, else the page that finds it.
function use(part, text) {
  const taken = !part.dispatchEvent(new CustomEvent("ramet:scanned", { bubbles: true, cancelable: true, detail: { text } }));
  if (taken) return;
  const field = document.getElementById(part.dataset.cameraInto || "");
  if (field) {
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
    if ("cameraSubmit" in part.dataset) field.form?.requestSubmit();
    else field.focus();
  } else if (part.dataset.cameraUrl) {
    const address = new URL(part.dataset.cameraUrl, location.href);
    address.searchParams.set("q", text);
    location.assign(address);
  }
}

async function prepare(inside) {
  const parts = [...inside.querySelectorAll("[data-camera]")].filter((part) => part.querySelector("[data-camera-open]"));
  if (!parts.length || !(await canReadLive())) return;
  for (const part of parts) part.querySelector("[data-camera-open]").hidden = false;
}

document.addEventListener("click", (event) => {
  const open = event.target.closest?.("[data-camera-open]");
  if (open) scan(open.closest("[data-camera]"));
  if (event.target.closest?.("[data-camera-close]")) event.target.closest("dialog").close();
});

document.addEventListener("change", (event) => {
  const input = event.target;
  if (!input.matches?.("input[type=file]")) return;
  const label = input.closest(".file-button");
  const words = label?.querySelector("[data-file-words]");
  if (words) {
    words.dataset.before ??= words.textContent;
    const names = [...input.files].map((file) => file.name);
    words.textContent = names.length > 1 ? `${names.length} pictures chosen` : names[0] || words.dataset.before;
    label.classList.toggle("has-file", names.length > 0);
  }
  if (input.files.length && "submitAtOnce" in input.dataset) input.form?.requestSubmit();
});

prepare(document);
document.addEventListener("htmx:load", (event) => prepare(event.target));
