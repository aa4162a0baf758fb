// Scanning a label. Markup: parts/camera.html.
// On a secure page “Scan” opens the camera. What it is aimed at is read by the browser where it can read QR codes, else
// the server reads a frame after the other; whose label it is, the server says. Everywhere the other button takes a picture.

const READ_AT_MOST = 640; // pixels a side of what is read: enough for a label that fills a fifth of it
const PAUSES = { browser: 100, server: 400 }; // ms between two readings
const PATIENCE = 8000; // ms until it says what helps
const LONGEST_WAIT = 10_000; // ms for an answer
const CAMERA = { facingMode: "environment", width: { ideal: 1280 }, height: { ideal: 720 } };
const AIM = "Hold the label inside the frame.";
const OTHER_WAYS = "take a picture of the label, or type its code.";
const TROUBLES = {
  NotAllowedError: `The camera is not allowed here. Allow it in the browser’s settings for this page, ${OTHER_WAYS}`,
  NotFoundError: `There is no camera here; ${OTHER_WAYS}`,
  NotReadableError: `The camera does not start; perhaps another program has it. Close that, ${OTHER_WAYS}`,
};
const ENDED = `The camera was switched off. Scan again, ${OTHER_WAYS}`;
const UNREAD = `Ramet cannot read it now. Load the page again and sign in if it asks, ${OTHER_WAYS}`;

class Refused extends Error {} // the server takes no frames: signed out, or unwell

let stop = () => {}; // shuts the scan that is open, and its camera

async function readerOfBrowser() {
  try {
    const formats = await window.BarcodeDetector.getSupportedFormats();
    return formats.includes("qr_code") ? new window.BarcodeDetector({ formats: ["qr_code"] }) : null;
  } catch {
    return null;
  }
}

// What stands in the square that the keeper sees.
function frameOf(video) {
  const side = Math.min(video.videoWidth, video.videoHeight);
  if (!side) return null;
  const frame = document.createElement("canvas");
  frame.width = frame.height = Math.min(side, READ_AT_MOST);
  const [left, top] = [(video.videoWidth - side) / 2, (video.videoHeight - side) / 2];
  frame.getContext("2d").drawImage(video, left, top, side, side, 0, 0, frame.width, frame.height);
  return frame;
}

function nearestToTheMiddle(found, middle) {
  const apart = ({ boundingBox: { x, y, width, height } }) => Math.hypot(x + width / 2 - middle, y + height / 2 - middle);
  return found.sort((one, other) => apart(one) - apart(other))[0];
}

// What the server is asked about: the text that the browser reads, or the frame itself; null where nothing is seen.
async function questionAbout(frame, reader) {
  const question = new FormData();
  if (reader) {
    const seen = nearestToTheMiddle(await reader.detect(frame), frame.width / 2);
    if (!seen) return null;
    question.set("text", seen.rawValue);
  } else {
    question.set("frame", await new Promise((resolve) => frame.toBlob(resolve, "image/jpeg", 0.85)), "frame.jpg");
  }
  return question;
}

// Whose label it is: {code, says}, both empty where nothing can be read.
async function ask(part, question) {
  question.set("csrfmiddlewaretoken", part.closest("form").elements.csrfmiddlewaretoken.value);
  const late = new AbortController();
  setTimeout(() => late.abort(), LONGEST_WAIT);
  const asked = { method: "POST", body: question, redirect: "manual", signal: late.signal };
  const answer = await fetch(part.dataset.cameraRead, asked);
  if (!answer.ok) throw new Refused();
  return answer.json();
}

function offerLight(dialog, track) {
  const button = dialog.querySelector("[data-camera-light]");
  button.hidden = !track.getCapabilities?.().torch;
  button.setAttribute("aria-pressed", "false");
  button.onclick = async () => {
    const on = button.getAttribute("aria-pressed") !== "true";
    try {
      await track.applyConstraints({ advanced: [{ torch: on }] });
      button.setAttribute("aria-pressed", String(on));
    } catch {
      button.hidden = true;
    }
  };
}

async function scan(part) {
  const dialog = part.querySelector("dialog");
  if (dialog.open) return;
  const video = dialog.querySelector("video");
  let isOver = false;
  let stream;
  let found = "";
  let trouble = "";
  const end = () => {
    isOver = true;
    for (const track of stream?.getTracks() ?? []) track.stop();
    video.srcObject = null;
    if (dialog.open) dialog.close();
  };
  const goesOn = () => !isOver && dialog.isConnected;
  const say = (words) => {
    const place = dialog.querySelector("[data-camera-words]");
    if (place.textContent !== words) place.textContent = words;
  };
  stop = end;
  dialog.addEventListener("close", end, { once: true });
  dialog.querySelector("[data-camera-light]").hidden = true;
  part.querySelector("[data-camera-trouble]").hidden = true;
  say("The camera opens…");
  dialog.showModal();
  dialog.querySelector("[data-camera-close]").focus();
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: CAMERA });
    if (!goesOn()) return;
    const [track] = stream.getVideoTracks();
    track.addEventListener("ended", () => {
      trouble = ENDED;
      end();
    });
    video.srcObject = stream;
    await video.play();
    offerLight(dialog, track);
    say(AIM);
    found = await look(part, video, say, goesOn);
  } catch (error) {
    if (!isOver) trouble = error instanceof Refused ? UNREAD : TROUBLES[error.name] || TROUBLES.NotReadableError;
  } finally {
    end();
  }
  if (found) use(part, found);
  else if (trouble) tell(part, trouble);
}

// The code of the first label that is read while it goes on.
async function look(part, video, say, goesOn) {
  let reader = await readerOfBrowser();
  let since = Date.now();
  while (goesOn()) {
    const frame = frameOf(video);
    const question = frame && (await questionAbout(frame, reader).catch(() => (reader = null)));
    let answer = null;
    try {
      answer = question && (await ask(part, question));
    } catch (error) {
      if (error instanceof Refused) throw error;
      answer = { code: "", says: "No connection to Ramet. It tries again." };
    }
    if (!goesOn()) break;
    if (answer?.code) return answer.code;
    if (answer?.says) {
      since = Date.now();
      say(answer.says);
    } else if (Date.now() - since > PATIENCE) {
      say("Not read yet. Bring it closer, hold still, give it light.");
    }
    await new Promise((resolve) => setTimeout(resolve, reader ? PAUSES.browser : PAUSES.server));
  }
  return "";
}

// Said beside the other ways, of which the first gets the focus.
function tell(part, trouble) {
  const place = part.querySelector("[data-camera-trouble]");
  place.querySelector("[data-words]").textContent = trouble;
  place.hidden = false;
  part.querySelector("input[type=file]").focus();
}

// The code goes into a field if the page has one for it, else to the page that finds it.
function use(part, code) {
  const field = document.getElementById(part.dataset.cameraInto || "");
  if (field) {
    field.value = code;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
    if ("cameraSubmit" in part.dataset) field.form?.requestSubmit();
    else field.focus();
  } else if (part.dataset.cameraUrl) {
    const address = new URL(part.dataset.cameraUrl, location.href);
    address.searchParams.set("q", code);
    location.assign(address);
  }
}

function prepare(inside) {
  if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) return;
  for (const open of inside.querySelectorAll("[data-camera-open]")) open.hidden = false;
}

document.addEventListener("click", (event) => {
  const open = event.target.closest?.("[data-camera-open]");
  if (open) scan(open.closest("[data-camera]"));
  if (event.target.closest?.("[data-camera-close]")) stop();
});

// Nobody is looking: the camera goes off.
window.addEventListener("pagehide", () => stop());
document.addEventListener("visibilitychange", () => {
  if (document.hidden) stop();
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
