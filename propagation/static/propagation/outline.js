// Mends the outline of a colony on its photo: points are dragged by thumb, mouse or arrow keys; a box or a few strokes
// let the outline be proposed anew. What is drawn goes into the form's hidden fields, so saving is an ordinary form.
//
// Points are in pixels of the upright photo. Near the dragged point the outline follows, as far as looks right at the
// present zoom: zoomed in, a drag is finer.

const SVG = "http://www.w3.org/2000/svg";
const FOLLOWS_WITHIN = 14; // CSS pixels along the outline: one standard deviation of how neighbours follow
const GRAB_WITHIN = 30; // CSS pixels
const DOTS_APART = 16; // CSS pixels along the outline: where points lie closer, not each is shown
const LONGEST_ZOOM = 6;
const LOUPE_TIMES = 2.5;

function make(name, attributes = {}) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

const asText = (points) => points.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");

class Board {
  constructor(root) {
    this.root = root;
    this.form = root.closest("form");
    this.svg = root.querySelector("svg");
    this.picture = root.querySelector("img");
    this.scroll = root.querySelector("[data-outline-scroll]");
    this.sheet = root.querySelector("[data-outline-sheet]");
    this.loupe = root.querySelector("canvas");
    this.width = Number(root.dataset.width);
    this.height = Number(root.dataset.height);
    this.field = this.form.elements.outline;
    this.points = JSON.parse(this.field?.value || "[]");
    this.chosen = 0;
    this.zoom = 1;
    this.before = [];
    this.strokes = { inside: [], outside: [] };
    this.marks = [];
    this.mode = "points";
    this.line = this.svg.appendChild(make("polygon", { class: "outline-line" }));
    this.drawn = this.svg.appendChild(make("g"));
    this.handles = this.svg.appendChild(make("g"));
    this.listen();
    this.choose(root.querySelector("[name=outline-mode]:checked")?.value || root.dataset.mode || "points");
    this.show();
  }

  // -- what is shown

  get scale() {
    return this.width / (this.svg.getBoundingClientRect().width || this.width); // photo pixels in a CSS pixel
  }

  show() {
    const { scale } = this;
    this.line.setAttribute("points", asText(this.points));
    const grab = this.mode === "points";
    while (this.handles.childElementCount < this.points.length) {
      const handle = make("g", { class: "outline-handle" });
      handle.append(make("circle", { class: "outline-grab" }), make("circle", { class: "outline-dot" }));
      this.handles.append(handle);
    }
    while (this.handles.childElementCount > this.points.length) this.handles.lastElementChild.remove();
    let along = Infinity;
    this.points.forEach(([x, y], index) => {
      const [lastX, lastY] = this.points[Math.max(0, index - 1)];
      along += Math.hypot(x - lastX, y - lastY);
      const isShown = along >= DOTS_APART * scale;
      if (isShown) along = 0;
      const handle = this.handles.children[index];
      const isChosen = index === this.chosen;
      handle.setAttribute("class", `outline-handle${isChosen ? " chosen" : ""}`);
      const [area, dot] = handle.children;
      for (const circle of [area, dot]) {
        circle.setAttribute("cx", x);
        circle.setAttribute("cy", y);
      }
      area.setAttribute("r", 22 * scale);
      dot.setAttribute("r", (isChosen ? 7 : isShown ? 4 : 0) * scale);
    });
    this.handles.toggleAttribute("hidden", !grab);
    this.showDrawn();
    if (this.field) this.field.value = JSON.stringify(this.points.map(([x, y]) => [round(x), round(y)]));
  }

  showDrawn() {
    this.drawn.replaceChildren();
    if (this.box) {
      const [x0, y0, x1, y1] = this.box;
      this.drawn.append(make("rect", { class: "outline-box", x: x0, y: y0, width: x1 - x0, height: y1 - y0 }));
    }
    for (const side of ["inside", "outside"])
      for (const stroke of this.strokes[side])
        this.drawn.append(make("polyline", { class: `outline-stroke ${side}`, points: asText(stroke) }));
    const { scale } = this;
    if (this.cross && this.mode !== "points") {
      const [x, y] = this.cross;
      this.drawn.append(make("circle", { class: "outline-cross", cx: x, cy: y, r: 12 * scale }));
    }
    this.marks.forEach(([x, y], index) => {
      const size = 9 * scale;
      this.drawn.append(
        make("path", { class: "outline-mark", d: `M${x - size} ${y}H${x + size}M${x} ${y - size}V${y + size}` }),
      );
      if (index === 1) {
        const [[x0, y0]] = this.marks;
        this.drawn.append(make("line", { class: "outline-measure", x1: x0, y1: y0, x2: x, y2: y }));
      }
    });
    const marks = this.form.elements.marks;
    if (marks) marks.value = JSON.stringify(this.marks.map(([x, y]) => [round(x), round(y)]));
  }

  say(words) {
    const said = this.root.querySelector("[data-outline-say]");
    if (said) said.textContent = words;
  }

  sayPoint() {
    const [x, y] = this.points[this.chosen] || [0, 0];
    this.say(`Point ${this.chosen + 1} of ${this.points.length}, ${Math.round(x)} across, ${Math.round(y)} down`);
  }

  // -- what is done

  keep() {
    this.before.push(JSON.stringify(this.points));
    if (this.before.length > 60) this.before.shift();
  }

  undo() {
    if (this.marks.length && this.mode === "marks") {
      this.marks.pop();
    } else if (this.before.length) {
      this.points = JSON.parse(this.before.pop());
      this.chosen = Math.min(this.chosen, Math.max(0, this.points.length - 1));
    } else {
      this.say("Nothing is left to undo");
      return;
    }
    this.show();
    this.say("Undone");
  }

  move(index, dx, dy, from = this.points) {
    const reach = FOLLOWS_WITHIN * this.scale;
    const count = from.length;
    const clamp = ([x, y]) => [Math.min(this.width, Math.max(0, x)), Math.min(this.height, Math.max(0, y))];
    const moved = from.map((point) => [...point]);
    moved[index] = clamp([from[index][0] + dx, from[index][1] + dy]);
    for (const way of [1, -1]) {
      let along = 0;
      for (let step = 1; step < count / 2; step += 1) {
        const here = (index + way * step + count) % count;
        const last = (index + way * (step - 1) + count) % count;
        along += Math.hypot(from[here][0] - from[last][0], from[here][1] - from[last][1]);
        const share = Math.exp(-0.5 * (along / reach) ** 2);
        if (share < 0.02) break;
        moved[here] = clamp([from[here][0] + dx * share, from[here][1] + dy * share]);
      }
    }
    this.points = moved;
  }

  remove() {
    if (this.points.length <= 3) {
      this.say("An outline has at least three points");
      return;
    }
    this.keep();
    this.points.splice(this.chosen, 1);
    this.chosen %= this.points.length;
    this.show();
    this.sayPoint();
  }

  add() {
    if (!this.points.length) return;
    this.keep();
    const [x0, y0] = this.points[this.chosen];
    const [x1, y1] = this.points[(this.chosen + 1) % this.points.length];
    this.points.splice(this.chosen + 1, 0, [(x0 + x1) / 2, (y0 + y1) / 2]);
    this.chosen += 1;
    this.show();
    this.sayPoint();
  }

  step(by) {
    if (!this.points.length) return;
    this.chosen = (this.chosen + by + this.points.length) % this.points.length;
    this.show();
    this.sayPoint();
    this.handles.children[this.chosen].scrollIntoView?.({ block: "nearest", inline: "nearest" });
  }

  nudge(dx, dy) {
    if (!this.points.length) return;
    this.keep();
    this.move(this.chosen, dx * this.scale, dy * this.scale);
    this.show();
    this.sayPoint();
  }

  zoomBy(times) {
    const { scrollLeft, scrollTop, clientWidth, clientHeight } = this.scroll;
    const middle = [(scrollLeft + clientWidth / 2) / this.zoom, (scrollTop + clientHeight / 2) / this.zoom];
    this.zoom = Math.min(LONGEST_ZOOM, Math.max(1, this.zoom * times));
    this.sheet.style.width = `${this.zoom * 100}%`;
    this.scroll.scrollLeft = middle[0] * this.zoom - clientWidth / 2;
    this.scroll.scrollTop = middle[1] * this.zoom - clientHeight / 2;
    this.show();
    this.say(`Shown ${this.zoom.toFixed(1)} times as large`);
  }

  choose(mode) {
    this.mode = mode;
    this.root.dataset.mode = mode;
    this.cross = this.corner = this.carried = null;
    this.show();
  }

  // -- proposing anew

  async propose() {
    const address = this.root.dataset.propose;
    if (!address) return;
    this.say("Looking …");
    this.root.setAttribute("aria-busy", "true");
    const sent = new FormData();
    sent.set("csrfmiddlewaretoken", this.form.elements.csrfmiddlewaretoken.value);
    if (this.box) sent.set("box", JSON.stringify(this.box.map(round)));
    sent.set("inside", JSON.stringify(this.strokes.inside));
    sent.set("outside", JSON.stringify(this.strokes.outside));
    try {
      const answer = await fetch(address, { method: "POST", body: sent, headers: { Accept: "application/json" } });
      const told = await answer.json();
      if (told.outline) {
        this.keep();
        this.points = told.outline;
        this.chosen = 0;
        this.say("A new outline is proposed. Look it over, then save it.");
      } else {
        this.say(told.error || "No outline could be proposed; draw it by its points.");
      }
    } catch {
      this.say("The connection is lost; nothing is changed. Try again.");
    }
    this.root.removeAttribute("aria-busy");
    this.show();
  }

  // -- hands

  at(event) {
    const frame = this.svg.getBoundingClientRect();
    return [
      Math.min(this.width, Math.max(0, ((event.clientX - frame.left) / frame.width) * this.width)),
      Math.min(this.height, Math.max(0, ((event.clientY - frame.top) / frame.height) * this.height)),
    ];
  }

  nearest([x, y]) {
    let best = -1;
    let least = GRAB_WITHIN * this.scale;
    this.points.forEach(([px, py], index) => {
      const away = Math.hypot(px - x, py - y);
      if (away < least) [best, least] = [index, away];
    });
    return best;
  }

  listen() {
    const { svg } = this;
    svg.addEventListener("pointerdown", (event) => this.begin(event));
    svg.addEventListener("pointermove", (event) => this.drag(event));
    for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, (event) => this.end(event));
    this.scroll.addEventListener("keydown", (event) => this.key(event));
    this.root.addEventListener("click", (event) => {
      const act = event.target.closest("[data-outline-act]")?.dataset.outlineAct;
      if (act) this.act(act);
    });
    this.root.addEventListener("change", (event) => {
      if (event.target.name === "outline-mode") this.choose(event.target.value);
    });
    new ResizeObserver(() => this.show()).observe(svg);
  }

  begin(event) {
    if (event.button > 0 || this.held) return; // a second finger draws nothing
    const at = this.at(event);
    if (this.mode === "points") {
      const index = this.nearest(at);
      if (index < 0) return;
      this.keep();
      this.chosen = index;
      this.held = { kind: "point", from: this.points.map((point) => [...point]), at };
    } else if (this.mode === "marks") {
      if (this.marks.length === 2) this.marks = [];
      this.marks.push(at);
      this.held = { kind: "mark", index: this.marks.length - 1 };
    } else if (this.mode === "box") {
      this.held = { kind: "box", at };
      this.box = [...at, ...at];
    } else {
      const stroke = [at];
      this.strokes[this.mode].push(stroke);
      this.held = { kind: "stroke", stroke };
    }
    this.held.pointer = event.pointerId;
    event.preventDefault();
    this.scroll.focus({ preventScroll: true });
    this.svg.setPointerCapture(event.pointerId);
    this.show();
    this.look(event, at);
  }

  drag(event) {
    if (this.held?.pointer !== event.pointerId) return;
    const at = this.at(event);
    const { kind } = this.held;
    if (kind === "point") this.move(this.chosen, at[0] - this.held.at[0], at[1] - this.held.at[1], this.held.from);
    if (kind === "mark") this.marks[this.held.index] = at;
    if (kind === "box") this.box = boxOf(this.held.at, at);
    if (kind === "stroke") this.held.stroke.push(at);
    this.show();
    this.look(event, kind === "point" ? this.points[this.chosen] : at);
  }

  end(event) {
    if (this.held?.pointer !== event.pointerId) return;
    const { kind } = this.held;
    this.held = null;
    this.loupe.hidden = true;
    if (event.type === "pointercancel" && kind === "point") this.undo();
    if (kind === "point") this.sayPoint();
    if (kind === "mark") this.say(this.marks.length === 2 ? "Two points are set" : "One point is set; set the other");
    if (kind === "box") this.boxed();
    if (kind === "stroke") this.propose();
    this.show();
  }

  key(event) {
    if (event.target !== this.scroll || event.ctrlKey || event.metaKey || event.altKey) return;
    const far = event.shiftKey ? 10 : 1;
    const go = (dx, dy) => (this.mode === "points" ? this.nudge(dx, dy) : this.carry(4 * dx, 4 * dy));
    const keys = {
      ArrowLeft: () => go(-far, 0),
      ArrowRight: () => go(far, 0),
      ArrowUp: () => go(0, -far),
      ArrowDown: () => go(0, far),
      Enter: () => this.set(),
      " ": () => this.set(),
      n: () => this.step(1),
      p: () => this.step(-1),
      a: () => this.add(),
      Delete: () => this.remove(),
      u: () => this.undo(),
      "+": () => this.zoomBy(1.5),
      "-": () => this.zoomBy(1 / 1.5),
    };
    const act = keys[event.key] || keys[event.key.toLowerCase()];
    if (!act) return;
    event.preventDefault();
    act();
  }

  // By keyboard a cross is carried to where a thumb would point; Enter sets it down.
  carry(dx, dy) {
    const [x, y] = this.cross || [this.width / 2, this.height / 2];
    const clamp = (value, most) => Math.min(most, Math.max(0, value));
    this.cross = [clamp(x + dx * this.scale, this.width), clamp(y + dy * this.scale, this.height)];
    this.carried?.push(this.cross);
    if (this.corner) this.box = boxOf(this.corner, this.cross);
    this.show();
    this.say(`${Math.round(this.cross[0])} across, ${Math.round(this.cross[1])} down`);
  }

  set() {
    if (this.mode === "points") return;
    if (!this.cross) this.carry(0, 0);
    if (this.mode === "marks") {
      if (this.marks.length === 2) this.marks = [];
      this.marks.push(this.cross);
      this.say(this.marks.length === 2 ? "Two points are set" : "One point is set; set the other");
    } else if (this.mode === "box") {
      if (this.corner) {
        this.corner = null;
        this.boxed();
      } else {
        this.corner = this.cross;
        this.say("One corner is set; go to the opposite one and set it");
      }
    } else if (this.carried) {
      this.carried = null;
      this.propose();
    } else {
      this.carried = [this.cross];
      this.strokes[this.mode].push(this.carried);
      this.say("The stroke begins; go along with the arrows, then set its end");
    }
    this.show();
  }

  boxed() {
    const [x0, y0, x1, y1] = this.box;
    if (Math.min(x1 - x0, y1 - y0) < 12 * this.scale) {
      this.box = null;
      this.say("Draw the box around the whole colony, from one corner to the other");
    } else {
      this.propose();
    }
  }

  act(name) {
    const acts = {
      undo: () => this.undo(),
      next: () => this.step(1),
      previous: () => this.step(-1),
      left: () => this.nudge(-2, 0),
      right: () => this.nudge(2, 0),
      up: () => this.nudge(0, -2),
      down: () => this.nudge(0, 2),
      add: () => this.add(),
      remove: () => this.remove(),
      larger: () => this.zoomBy(1.5),
      smaller: () => this.zoomBy(1 / 1.5),
      "no-strokes": () => {
        this.strokes = { inside: [], outside: [] };
        this.box = null;
        this.show();
        this.say("The strokes are gone; the outline stays");
      },
    };
    acts[name]?.();
  }

  // The thumb hides what it moves: a round glass away from it shows the place enlarged.
  look(event, [x, y]) {
    if (event.pointerType !== "touch" || !this.picture.complete || !this.picture.naturalWidth) return;
    const frame = this.root.getBoundingClientRect();
    const { loupe } = this;
    loupe.hidden = false;
    loupe.classList.toggle("at-the-right", event.clientX - frame.left < frame.width / 2);
    const canvas = loupe.getContext("2d");
    const shown = this.svg.getBoundingClientRect().width;
    const inPicture = this.picture.naturalWidth / this.width;
    const part = ((loupe.width / LOUPE_TIMES) * this.picture.naturalWidth) / shown; // pixels of the shown copy
    canvas.clearRect(0, 0, loupe.width, loupe.height);
    canvas.drawImage(
      this.picture,
      x * inPicture - part / 2,
      y * inPicture - part / 2,
      part,
      part,
      0,
      0,
      loupe.width,
      loupe.height,
    );
    const to = ([px, py]) => [
      ((px - x) * inPicture * loupe.width) / part + loupe.width / 2,
      ((py - y) * inPicture * loupe.height) / part + loupe.height / 2,
    ];
    canvas.lineWidth = 2;
    canvas.strokeStyle = getComputedStyle(this.root).getPropertyValue("--marker");
    canvas.beginPath();
    this.points.forEach((point, index) => {
      if (index) canvas.lineTo(...to(point));
      else canvas.moveTo(...to(point));
    });
    canvas.closePath();
    canvas.stroke();
    canvas.beginPath();
    canvas.arc(loupe.width / 2, loupe.height / 2, 5, 0, 7);
    canvas.stroke();
  }
}

const boxOf = ([x0, y0], [x1, y1]) => [Math.min(x0, x1), Math.min(y0, y1), Math.max(x0, x1), Math.max(y0, y1)];
const round = (value) => Math.round(value * 10) / 10;

function begin(within) {
  for (const root of within.querySelectorAll("[data-outline-board]:not([data-ready])")) {
    root.dataset.ready = "yes";
    new Board(root);
  }
}

begin(document);
document.addEventListener("htmx:load", (event) => begin(event.detail.elt.parentElement || document));
