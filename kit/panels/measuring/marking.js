// A photo with marks that are dragged by mouse, finger or arrow keys.
//
// Positions go to Python in pixels of the photo with a sequence number, and come back with what
// became of them. What Python has not answered is said, and sent again.

const KEYS_REST_MS = 350; // arrow keys are sent when they rest
const APART_PX = 16; // grips of an outline that lie nearer together are not all shown
const LOUPE = 4; // screen pixels for a pixel of the picture that was sent
const ZOOMS = [1, 1.5, 2, 3, 4, 6, 8];
const SVG = "http://www.w3.org/2000/svg";
const SIGNS = {
  cross: "M-9 0H-2.5M2.5 0H9M0-9V-2.5M0 2.5V9",
  corner: "M-7-7H7V7H-7Z",
  up: "M-8 7L0-7L8 7Z",
  down: "M-8-7L0 7L8-7Z",
  bend: "M-4-4H4V4H-4Z",
};

function draw(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// As `kit.photo.dragged.bent`: what is dragged takes along what lies up to the next grips.
function bent(points, at, which, to) {
  const n = points.length;
  const along = [0];
  for (let i = 0; i < n; i++) {
    const [a, b] = [points[i], points[(i + 1) % n]];
    along.push(along[i] + Math.hypot(b[0] - a[0], b[1] - a[1]));
  }
  const whole = along[n];
  const turn = (way) => ((way % whole) + whole) % whole;
  const here = along[at[which]];
  const before = turn(here - along[at[(which + at.length - 1) % at.length]]) || whole;
  const after = turn(along[at[(which + 1) % at.length]] - here) || whole;
  const [dx, dy] = [to[0] - points[at[which]][0], to[1] - points[at[which]][1]];
  return points.map(([x, y], i) => {
    const way = turn(along[i] - here + whole / 2) - whole / 2;
    const part = way < 0 ? -way / before : way / after;
    const weight = part < 1 ? (1 + Math.cos(Math.PI * part)) / 2 : 0;
    return [x + weight * dx, y + weight * dy];
  });
}

// One place to take hold of.
class Grip {
  constructor(board, given) {
    this.board = board;
    this.key = given.key;
    this.seq = 0; // of the move that is not answered yet
    this.element = make("button", {
      type: "button", class: `kit-mark kit-mark-${given.sign}`, "data-grip": given.key,
    });
    const path = { d: SIGNS[given.sign] ?? SIGNS.cross };
    this.element.append(draw(
      "svg", { viewBox: "-12 -12 24 24", "aria-hidden": "true" },
      draw("path", { ...path, class: "kit-mark-halo" }), draw("path", path),
    ));
    this.element.addEventListener("pointerdown", (event) => this.down(event));
    this.element.addEventListener("pointermove", (event) => this.drag(event));
    this.element.addEventListener("pointerup", (event) => this.up(event));
    this.element.addEventListener("pointercancel", () => this.back());
    this.element.addEventListener("keydown", (event) => this.press(event));
    this.element.addEventListener("blur", () => this.left());
    this.know(given);
  }
  // What Python has. It never moves a grip that is held, or whose move is on its way.
  know(given) {
    this.label = given.label;
    this.sign = given.sign;
    this.given = [given.x, given.y];
    if (!this.held && !this.typed && !this.seq) [this.x, this.y] = this.given;
    this.show();
  }
  show() {
    const { board } = this;
    this.element.style.left = `${(100 * (this.x + 0.5)) / board.width}%`;
    this.element.style.top = `${(100 * (this.y + 0.5)) / board.height}%`;
    const place = `${Math.round(this.x)} right, ${Math.round(this.y)} down`;
    this.element.setAttribute("aria-label", `${this.label}, ${place}`);
    this.element.title = this.label;
  }
  move(x, y) {
    const { board } = this;
    this.x = Math.min(Math.max(x, 0), board.width - 1);
    this.y = Math.min(Math.max(y, 0), board.height - 1);
    this.show();
    board.drawLines(this);
    board.magnify(this);
  }
  down(event) {
    if (event.button !== 0 || this.held) return;
    event.preventDefault();
    this.element.focus({ preventScroll: true });
    this.element.setPointerCapture(event.pointerId);
    this.held = { id: event.pointerId, at: [event.clientX, event.clientY], from: [this.x, this.y] };
    this.element.classList.add("kit-mark-held");
    this.board.magnify(this);
  }
  drag(event) {
    if (!this.held || event.pointerId !== this.held.id) return;
    const px = this.board.pixels();
    const [x, y] = this.held.from;
    const [left, top] = this.held.at;
    this.move(x + (event.clientX - left) * px, y + (event.clientY - top) * px);
  }
  up(event) {
    if (!this.held || event.pointerId !== this.held.id) return;
    const [x, y] = this.held.from;
    this.release();
    if (this.x !== x || this.y !== y) this.board.send(this);
  }
  release() {
    this.held = null;
    this.element.classList.remove("kit-mark-held");
    this.board.magnify(null);
  }
  // Not moved after all.
  back() {
    const from = this.held?.from ?? this.given;
    this.release();
    clearTimeout(this.typed);
    this.typed = null;
    [this.x, this.y] = from;
    this.show();
    this.board.drawLines();
  }
  press(event) {
    const way = {
      ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1],
    }[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Escape" && (this.held || this.typed)) {
      event.preventDefault();
      event.stopPropagation();
      this.back();
    }
    if (!way) return;
    event.preventDefault();
    event.stopPropagation();
    const step = this.board.pixels() * (event.shiftKey ? 10 : 1);
    this.move(this.x + way[0] * step, this.y + way[1] * step);
    this.board.follow(this);
    clearTimeout(this.typed);
    this.typed = setTimeout(() => this.typedOut(), KEYS_REST_MS);
  }
  typedOut() {
    clearTimeout(this.typed);
    this.typed = null;
    this.board.send(this);
  }
  left() {
    if (this.typed) this.typedOut();
    if (!this.held) this.board.magnify(null);
  }
}

class Board {
  constructor(model, el) {
    this.model = model;
    this.sent = new Sent(model); // moves, each about its grip
    this.grips = new Map();
    this.zoom = 1;
    this.banner = make("div", { class: "kit-mark-banner", role: "alert" });
    this.picture = make("img", { class: "kit-mark-picture", draggable: "false" });
    this.over = make("img", { class: "kit-mark-over", alt: "", draggable: "false" });
    this.svg = draw("svg", { class: "kit-mark-lines", "aria-hidden": "true", preserveAspectRatio: "none" });
    this.stage = make("div", { class: "kit-mark-stage" }, this.picture, this.over, this.svg);
    this.view = make(
      "div", { class: "kit-mark-view", role: "region", "aria-label": "The photo", tabindex: "0" },
      this.stage,
    );
    this.loupe = make("canvas", { class: "kit-mark-loupe", width: "176", height: "176", "aria-hidden": "true" });
    this.smaller = button("kit-mark-button", "−", "Smaller", () => this.zoomBy(-1));
    this.larger = button("kit-mark-button", "+", "Larger", () => this.zoomBy(1));
    this.whole = button("kit-mark-button", "Whole photo", "", () => this.zoomTo(1));
    this.hide = button("kit-mark-button", "Hide the marks", "", () => this.toggle());
    this.size = make("span", { class: "kit-mark-size", role: "status" });
    this.help = make("span", { class: "kit-mark-help" },
      "Drag a mark, or go to it with Tab and move it with the arrow keys (Shift: ten times).");
    this.told = make("div", { class: "kit-mark-told", role: "status" });
    this.bar = make("div", { class: "kit-mark-bar" }, this.smaller, this.larger, this.whole,
      this.hide, this.size, this.help);
    this.frame = make("div", { class: "kit-mark-frame" }, this.view, this.loupe);
    el.classList.add("kit-marking");
    el.append(this.bar, this.banner, this.frame, this.told);
    this.el = el;
    this.loupe.hidden = true;
    this.listen();
    this.showPicture();
    this.showOverlay();
    this.showMarks();
    this.zoomTo(1);
    this.timer = setInterval(() => this.tick(), 250);
    this.resized = new ResizeObserver(() => this.thin());
    this.resized.observe(this.view);
  }
  listen() {
    this.deaf = hear(this.model, {
      "change:picture": () => this.showAnother(), "change:alt": () => this.showPicture(),
      "change:overlay": () => this.showOverlay(),
      "change:marks change:width change:height": () => this.showMarks(),
      "msg:custom": (message) => this.answered(message),
    });
    // a finger that rests on a mark before it moves is no wish for JupyterLab's menu
    this.frame.addEventListener("contextmenu", (event) => {
      if (event.pointerType !== "touch" && !event.target.closest("button")) return;
      event.preventDefault();
      event.stopPropagation();
    });
  }
  // Python let go of it, perhaps because the kernel died: as long as it stands on the page it
  // goes on saying what was not taken.
  close() {
    this.closed = true;
    this.resized.disconnect();
    this.deaf();
    if (!this.el.isConnected) clearInterval(this.timer);
  }
  get width() {
    return Math.max(this.model.get("width"), 1);
  }
  get height() {
    return Math.max(this.model.get("height"), 1);
  }
  // pixels of the photo in one pixel of the screen
  pixels() {
    return this.width / Math.max(this.stage.getBoundingClientRect().width, 1);
  }

  // Drawing

  // What was said of the marks of the photo before is not of this one.
  showAnother() {
    this.told.textContent = "";
    this.told.classList.remove("kit-mark-refused");
    this.showPicture();
  }

  source(image, name) {
    const bytes = this.model.get(name);
    if (image.src) URL.revokeObjectURL(image.src);
    if (!bytes?.byteLength) {
      image.removeAttribute("src");
      return false;
    }
    const jpeg = new Uint8Array(bytes.buffer ?? bytes, bytes.byteOffset ?? 0, 1)[0] === 0xff;
    image.src = URL.createObjectURL(new Blob([bytes], { type: jpeg ? "image/jpeg" : "image/png" }));
    return true;
  }
  showPicture() {
    const there = this.source(this.picture, "picture");
    this.picture.alt = this.model.get("alt");
    this.frame.hidden = this.bar.hidden = !there;
    this.zoomTo(1);
  }
  showOverlay() {
    this.over.hidden = !this.source(this.over, "overlay");
  }
  showMarks() {
    const { grips } = this.model.get("marks");
    const keys = new Set(grips.map((given) => given.key));
    for (const [key, grip] of this.grips) {
      if (keys.has(key)) continue;
      grip.element.remove();
      this.grips.delete(key);
    }
    for (const given of grips) {
      const there = this.grips.get(given.key);
      if (there) there.know(given);
      else this.grips.set(given.key, new Grip(this, given));
      // moving an element takes the keyboard from it
      const { element } = this.grips.get(given.key);
      if (!element.isConnected || element.parentNode !== this.stage) this.stage.append(element);
    }
    this.svg.setAttribute("viewBox", `-0.5 -0.5 ${this.width} ${this.height}`);
    this.stage.style.aspectRatio = `${this.width} / ${this.height}`;
    this.thin();
    this.help.hidden = !grips.length;
    this.hide.hidden = !grips.length && !this.model.get("marks").lines.length;
    this.drawLines();
  }
  // Lines as they are, or as they would be with a grip where it is held.
  drawLines(moving = null) {
    const parts = this.model.get("marks").lines.flatMap((line) => {
      const points = this.run(line, moving);
      if (points.length < 2) return [];
      const path = `M${points.map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`).join("L")}`
        + (line.closed ? "Z" : "");
      const look = `kit-mark-line kit-mark-${line.look}`;
      return [
        draw("path", { d: path, class: "kit-mark-line kit-mark-casing" }),
        draw("path", { d: path, class: look }),
      ];
    });
    this.svg.replaceChildren(...parts);
  }
  run(line, moving) {
    const joined = line.joins.map((key) => this.grips.get(key)).filter(Boolean);
    if (line.points.length) {
      // moves on their way are drawn too
      return joined.reduce((points, grip, i) => (
        (grip === moving || grip.seq || grip.typed) && line.at.length
          ? bent(points, line.at, i, [grip.x, grip.y]) : points
      ), line.points);
    }
    const points = joined.map((grip) => [grip.x, grip.y]);
    if (!line.box || points.length < 2) return points;
    const [[left, top], [right, bottom]] = points;
    return [[left, top], [right, top], [right, bottom], [left, bottom]];
  }

  // Looking closer

  zoomBy(step) {
    const now = ZOOMS.findIndex((zoom) => zoom >= this.zoom);
    this.zoomTo(ZOOMS[Math.min(Math.max(now + step, 0), ZOOMS.length - 1)]);
  }
  zoomTo(zoom) {
    const { view, stage } = this;
    const middle = this.focused ? this.placeOf(this.focused) : [
      (view.scrollLeft + view.clientWidth / 2) / Math.max(stage.offsetWidth, 1),
      (view.scrollTop + view.clientHeight / 2) / Math.max(stage.offsetHeight, 1),
    ];
    this.zoom = zoom;
    stage.style.setProperty("--zoom", zoom);
    stage.style.setProperty("--shape", this.width / this.height);
    view.scrollLeft = middle[0] * stage.offsetWidth - view.clientWidth / 2;
    view.scrollTop = middle[1] * stage.offsetHeight - view.clientHeight / 2;
    this.thin();
    this.smaller.disabled = zoom === ZOOMS[0];
    this.larger.disabled = zoom === ZOOMS.at(-1);
    this.size.textContent = zoom === 1 ? "" : `${zoom} ×`;
  }
  // Leave out grips of an outline that would hide it, until it is looked at from nearer by.
  thin() {
    const bends = [...this.grips.values()].filter((grip) => grip.sign === "bend");
    const px = this.pixels();
    const way = bends.reduce((sum, grip, i) => {
      const next = bends[(i + 1) % bends.length];
      return sum + Math.hypot(next.x - grip.x, next.y - grip.y) / px;
    }, 0);
    const every = Math.max(1, Math.ceil((APART_PX * bends.length) / Math.max(way, 1)));
    bends.forEach((grip, i) => {
      grip.element.hidden = i % every !== 0 && grip.element !== document.activeElement;
    });
  }
  placeOf(grip) {
    return [(grip.x + 0.5) / this.width, (grip.y + 0.5) / this.height];
  }
  // Keep a grip that is moved by keys in sight.
  follow(grip) {
    const { view, stage } = this;
    const [left, top] = this.placeOf(grip);
    const [x, y] = [left * stage.offsetWidth, top * stage.offsetHeight];
    const edge = 24;
    if (x < view.scrollLeft + edge || x > view.scrollLeft + view.clientWidth - edge) {
      view.scrollLeft = x - view.clientWidth / 2;
    }
    if (y < view.scrollTop + edge || y > view.scrollTop + view.clientHeight - edge) {
      view.scrollTop = y - view.clientHeight / 2;
    }
  }
  toggle() {
    const hidden = this.stage.classList.toggle("kit-mark-bare");
    this.hide.textContent = hidden ? "Show the marks" : "Hide the marks";
  }
  // What lies under a grip, enlarged, where the finger is not.
  magnify(grip) {
    this.focused = grip ?? this.focused;
    this.loupe.hidden = !grip || !this.picture.naturalWidth;
    if (this.loupe.hidden) return;
    const side = this.loupe.width;
    const [left, top] = this.placeOf(grip);
    const [x, y] = [left * this.picture.naturalWidth, top * this.picture.naturalHeight];
    const [half, seen] = [side / 2 / LOUPE, side / LOUPE];
    const ink = this.loupe.getContext("2d");
    ink.fillStyle = "#777";
    ink.fillRect(0, 0, side, side);
    ink.imageSmoothingEnabled = false;
    ink.drawImage(this.picture, x - half, y - half, seen, seen, 0, 0, side, side);
    for (const [colour, wide] of [["#fff", 5], ["#000", 2]]) {
      ink.strokeStyle = colour;
      ink.lineWidth = wide;
      ink.beginPath();
      for (const [a, b] of [[0, side / 2 - 10], [side / 2 + 10, side]]) {
        ink.moveTo(a, side / 2);
        ink.lineTo(b, side / 2);
        ink.moveTo(side / 2, a);
        ink.lineTo(side / 2, b);
      }
      ink.stroke();
    }
    const [box, held] = [this.frame.getBoundingClientRect(), grip.element.getBoundingClientRect()];
    const near = held.left < box.left + 260 && held.top < box.top + 260;
    this.loupe.classList.toggle("kit-mark-aside", near);
  }

  // To Python and back

  send(grip) {
    const [x, y] = [grip.x, grip.y].map((place) => Math.round(place * 100) / 100);
    grip.seq = this.sent.send(grip, { kind: "move", grip: grip.key, x, y });
  }
  answered(message) {
    const grip = this.sent.answered(message)?.about;
    if (!grip) return;
    if (grip.seq === message.seq) {
      grip.seq = 0;
      if (message.state === "refused" && !grip.held) grip.back();
      grip.know({ ...grip, x: grip.given[0], y: grip.given[1] });
    }
    this.told.textContent = message.says;
    this.told.classList.toggle("kit-mark-refused", message.state === "refused");
    this.drawLines();
    this.warn();
  }
  tick() {
    if (this.closed && !this.el.isConnected) clearInterval(this.timer);
    this.warn();
  }
  // Send again what is due, but for what was moved anew since; say what has had no answer.
  warn() {
    const late = this.sent.again((grip, seq) => grip.seq === seq);
    const named = [...new Set(late.map(([, { about }]) => about.label))].join(", ");
    const text = late.length ? `NOT TAKEN: ${named}. The notebook's kernel does not answer. If `
      + "this stays, choose Kernel, then Restart Kernel and Run All Cells, and mark it again." : "";
    if (this.banner.textContent !== text) this.banner.textContent = text; // read out once
  }
}

function render({ model, el }) {
  const board = new Board(model, el);
  return () => board.close();
}

export default { render };
