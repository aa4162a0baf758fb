// Takes photos that are dropped on the page, and sends what was chosen one by one into one round. It says how far it is and
// which file did not get through, and goes on by itself when the connection comes back. What arrived is never kept twice, so
// whatever is in doubt is sent again. Without this the form sends them all at once.

const form = document.querySelector("[data-send-photos]");
const LONGEST_WAIT = 30_000;
const LONGEST_SILENCE = 90_000; // not a byte for so long: the line is dead, whatever the device says
const MOST_TRIES = 3; // of a file that the server cannot cope with; the others go first meanwhile

// -- what is dropped

async function filesOf(transfer) {
  const items = [...transfer.items].filter((item) => item.kind === "file");
  // All are asked for before the first wait; after it the browser takes them away.
  const dropped = items.map((item) => {
    const entry = item.webkitGetAsEntry?.();
    return entry?.isDirectory ? entry : item.getAsFile();
  });
  return (await Promise.all(dropped.map((each) => (each instanceof File ? [each] : picturesIn(each))))).flat();
}

// Of a folder the pictures alone, whatever else lies there; of folders in it too.
async function picturesIn(folder) {
  const endings = form.elements.photos.accept.split(",").filter((each) => each.startsWith("."));
  const reader = folder.createReader();
  const found = [];
  for (;;) {
    const entries = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (!entries.length) return found;
    for (const entry of entries) {
      if (entry.isDirectory) found.push(...(await picturesIn(entry)));
      else if (endings.some((ending) => entry.name.toLowerCase().endsWith(ending)))
        found.push(await new Promise((resolve, reject) => entry.file(resolve, reject)));
    }
  }
}

function choose(files) {
  const all = new DataTransfer();
  const same = (one, other) =>
    one.name === other.name && one.size === other.size && one.lastModified === other.lastModified;
  const chosen = [...form.elements.photos.files];
  for (const file of [...chosen, ...files.filter((file) => !chosen.some((each) => same(each, file)))]) all.items.add(file);
  form.elements.photos.files = all.files;
  form.elements.photos.dispatchEvent(new Event("change", { bubbles: true }));
  form.querySelector("[type=submit]").focus();
}

const hasFiles = (event) => event.dataTransfer?.types.includes("Files");
const lift = (over) => document.body.classList.toggle("is-dropping", over);

function takeDrops(into) {
  document.addEventListener("dragover", (event) => {
    if (!hasFiles(event)) return;
    event.preventDefault(); // else the browser opens the picture and the page is gone
    event.dataTransfer.dropEffect = "copy";
    lift(true);
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) lift(false);
  });
  document.addEventListener("drop", async (event) => {
    if (!hasFiles(event)) return;
    event.preventDefault();
    lift(false);
    into(await filesOf(event.dataTransfer));
  });
}

// -- sending one

class Lost extends Error {} // no answer came; whether the file arrived is not known
class SignedOut extends Error {}
class Unwell extends Error {} // the server answered that it cannot now

function post(file, progressed) {
  const data = new FormData();
  for (const name of ["csrfmiddlewaretoken", "submission"]) data.set(name, form.elements[name].value);
  data.set("photos", file, file.name);
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest(); // fetch does not tell how much was sent
    let alarm;
    const listen = () => {
      clearTimeout(alarm);
      alarm = setTimeout(() => request.abort(), LONGEST_SILENCE);
    };
    request.upload.addEventListener("progress", (event) => {
      listen();
      progressed(event.lengthComputable ? event.loaded / event.total : 0);
    });
    request.addEventListener("loadend", () => {
      clearTimeout(alarm);
      if (request.status) resolve(request);
      else reject(new Lost());
    });
    request.open("POST", location.href);
    request.setRequestHeader("Accept", "application/json");
    listen();
    request.send(data);
  });
}

const isJson = (request) => (request.getResponseHeader("Content-Type") || "").startsWith("application/json");

async function send(file, progressed) {
  try {
    await (file.size ? file.slice(0, 1) : file).arrayBuffer(); // one that is gone may call itself empty
  } catch {
    return { kept: false, sentence: `“${file.name}” cannot be read any more: it was moved or changed. Choose it again.` };
  }
  const request = await post(file, progressed);
  if (request.status === 413) return { kept: false, sentence: `“${file.name}” is too large.` };
  if (request.status >= 500 || request.status === 429) throw new Unwell();
  if (!isJson(request)) throw new SignedOut(); // the page to sign in, or a form that is out of date
  const answer = JSON.parse(request.responseText);
  if (answer.again) throw new Unwell(answer.sentence);
  return answer;
}

// The form is in date again once the keeper has signed in on another page.
async function renew() {
  const answer = await fetch(location.href, { redirect: "manual" });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  form.elements.csrfmiddlewaretoken.value = fresh.querySelector("[data-send-photos] [name=csrfmiddlewaretoken]").value;
}

// -- sending all

class Sending {
  constructor() {
    const part = document.querySelector("[data-sending]");
    const parts = ["heading", "progress", "words", "lost", "title", "why", "left", "names", "now", "sum", "refused", "there", "end"];
    for (const name of parts) this[name] = part.querySelector(`[data-sending-${name}]`);
    this.part = part;
    this.bar = part.querySelector("progress");
    this.again = part.querySelector("[data-sending-again]");
    this.link = this.end.querySelector("a");
    this.isBusy = false;
    this.round = this.elsewhere = "";
    this.now.addEventListener("click", () => this.goOn?.());
    window.addEventListener("online", () => this.goOn?.());
    this.again.addEventListener("click", () => this.start(this.failed));
    window.addEventListener("beforeunload", (event) => {
      if (this.isBusy) event.preventDefault();
    });
  }

  add(files) {
    this.queue.push(...files.map((file) => ({ file, tries: 0 })));
    this.total += files.length;
    this.bytes += files.reduce((sum, file) => sum + file.size, 0);
    this.tellProgress();
  }

  async start(files) {
    this.isBusy = true;
    this.queue = [];
    this.failed = [];
    this.known = [];
    this.total = this.bytes = this.done = this.sent = 0;
    this.heading.textContent = "Sending";
    this.refused.replaceChildren();
    this.sum.textContent = this.there.textContent = "";
    this.end.hidden = this.again.hidden = true;
    this.part.hidden = this.progress.hidden = false;
    form.hidden = true;
    this.add(files);
    while (this.queue.length) await this.sendFirst();
    this.isBusy = false;
    this.finish();
  }

  tellProgress(share = 0) {
    const size = this.queue[0]?.file.size ?? 0;
    this.bar.max = Math.max(this.bytes, 1);
    this.bar.value = this.sent + share * size;
    this.words.textContent = `${this.done} of ${this.total}`;
  }

  async sendFirst() {
    const first = this.queue[0];
    const { file } = first;
    try {
      this.settle(first, await send(file, (share) => this.tellProgress(share)));
    } catch (error) {
      this.tellProgress();
      if (error instanceof SignedOut) await this.signedOut();
      else if (error instanceof Unwell) await this.unwell(first, error.message);
      else if (error instanceof Lost) await this.lostOnce(first);
      else throw error;
    }
  }

  settle(first, answer, isWorthAgain = false) {
    this.queue.splice(this.queue.indexOf(first), 1);
    this.done += 1;
    this.sent += first.file.size;
    this.wait = 0;
    this.lost.hidden = true;
    if (isWorthAgain) this.failed.push(first.file);
    if (!answer.kept) this.tell(this.refused, answer.sentence);
    else if (answer.there) {
      this.elsewhere ||= answer.round;
      this.known.push(first.file.name);
    } else this.round = answer.round;
    this.tellProgress();
  }

  tell(list, sentence) {
    list.appendChild(document.createElement("li")).textContent = sentence;
  }

  async lostOnce({ file }) {
    this.wait = Math.min(2 * (this.wait || 500), LONGEST_WAIT);
    await this.halt(
      `“${file.name}” did not get through`,
      "The connection is lost. It is sent again by itself when it is back; what has arrived is kept, and once only. Keep this page open.",
      this.wait,
    );
  }

  async unwell(first, sentence) {
    first.tries += 1;
    const { name } = first.file;
    if (first.tries >= MOST_TRIES) {
      this.settle(first, { kept: false, sentence: sentence || `“${name}” did not get through: the server could not take it.` }, true);
      return;
    }
    this.queue.push(this.queue.shift());
    await this.halt(`“${name}” did not get through`, sentence || "The server is out of breath. It is sent again by itself.", 2000 * first.tries);
  }

  async signedOut() {
    await this.halt("You were signed out", "Sign in on another page, come back to this one and send the rest.");
    try {
      await renew();
    } catch {
      // No connection either: the next file says so.
    }
  }

  // Say what is in the way; until the keeper taps, the device is back on the network, or the time is over.
  async halt(title, why, milliseconds = 0) {
    this.title.textContent = title;
    this.why.textContent = why;
    this.left.textContent = `Not sent yet: ${this.queue.length}`;
    this.names.replaceChildren();
    for (const { file } of this.queue) this.tell(this.names, file.name);
    this.lost.hidden = false;
    this.now.removeAttribute("aria-disabled");
    await new Promise((resolve) => {
      this.goOn = resolve;
      if (milliseconds) setTimeout(resolve, milliseconds);
    });
    this.goOn = null;
    this.now.setAttribute("aria-disabled", "true");
    this.title.textContent = "Sending again …";
  }

  finish() {
    const refused = this.refused.children.length;
    const known = this.known.length;
    if (!refused && !known && this.round) {
      location.assign(this.round);
      return;
    }
    this.heading.textContent = "Sent";
    this.progress.hidden = true;
    if (refused) this.sum.textContent = `${refused} of ${this.total} ${refused === 1 ? "was" : "were"} not kept.`;
    if (known) {
      const names = this.known.slice(0, 3).join(", ") + (known > 3 ? ` and ${known - 3} more` : "");
      this.there.textContent = `${names} ${known === 1 ? "was" : "were"} there already; nothing is kept twice.`;
    }
    form.hidden = false;
    form.elements.photos.value = "";
    form.elements.photos.dispatchEvent(new Event("change", { bubbles: true }));
    this.again.hidden = !this.failed.length;
    this.link.href = this.round || this.elsewhere || this.link.href;
    this.end.hidden = !(this.round || this.elsewhere) && !this.failed.length;
    this.link.hidden = !(this.round || this.elsewhere);
    (this.failed.length ? this.again : this.link.hidden ? form.elements.photos : this.link).focus();
  }
}

if (form) {
  const sending = new Sending();
  takeDrops((files) => {
    if (!files.length) return;
    if (sending.isBusy) sending.add(files);
    else choose(files);
  });
  form.addEventListener("submit", (event) => {
    const files = [...form.elements.photos.files];
    if (!files.length) return; // the server says what is missing
    event.preventDefault();
    if (!sending.isBusy) sending.start(files);
  });
}
