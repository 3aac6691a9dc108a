// The running bake: where everything is, ticking, and a big button for what comes next.
//
// Times of day and words come from Python; only lengths are counted here, from UTC stamps.

const REFRESH_MS = 60000;
const NEAR_MIN = 20; // up to here seconds are shown

// a length of time, as `kit.records.bench.stages.say_long` says it
function long(minutes, seconds = false) {
  if (seconds && minutes < NEAR_MIN) {
    const s = Math.max(0, Math.floor(minutes * 60));
    return `${Math.floor(s / 60)} min ${String(s % 60).padStart(2, "0")} s`;
  }
  if (minutes < 1) return "less than a minute";
  if (minutes < 60) return `${Math.floor(minutes)} min`;
  if (minutes >= 2 * 1440) return `${Math.floor(minutes / 1440)} days`;
  const rest = Math.floor(minutes) % 60;
  return `${Math.floor(minutes / 60)} h${rest ? ` ${rest} min` : ""}`;
}

function left(due, now, seconds) {
  const late = (now - due.end) / 60000;
  if (late >= 1) return ["late", `overdue by ${long(late)}`];
  const ahead = ((due.at ?? due.start) - now) / 60000;
  const near = ahead >= 1 || (seconds && ahead > 0);
  return near ? ["", `in ${long(ahead, seconds)}`] : ["due", "due now"];
}

class Place {
  constructor(board) {
    this.board = board;
    this.name = make("strong");
    this.where = make("span");
    this.length = make("span", { class: "kit-length" });
    this.late = make("span", { class: "kit-small" });
    this.expected = make("span");
    this.left = make("span", { class: "kit-left" });
    this.next = make("p", { class: "kit-next" }, this.expected, this.left);
    this.buttons = make("div", { class: "kit-buttons" });
    const head = make("p", { class: "kit-where" }, this.name, " ", this.where, " ", this.length);
    head.append(" ", this.late);
    this.element = make("li", {}, make("div", { class: "kit-told" }, head, this.next), this.buttons);
    this.rests = 0;
    this.state = null;
  }
  show(row) {
    this.row = row;
    this.name.textContent = row.title;
    this.where.textContent = row.where;
    this.late.textContent = row.lateness ? `(${row.lateness})` : "";
    const basis = row.basis ? ` (${row.basis})` : "";
    // a lone button says itself what is next: then only when is told, where that is known
    const when = `${row.expected}${basis}`.trim();
    const told = row.next && (when || row.due || row.also.length);
    this.expected.textContent = told ? `next: ${row.next} ${when} ` : "";
    const stages = [row.next, ...row.also].filter(Boolean);
    while (this.buttons.children.length > stages.length) this.buttons.lastChild.remove();
    stages.forEach((stage, i) => {
      // the same button stays, so that the keyboard stays on it
      const button = this.buttons.children[i] ?? this.buttons.appendChild(this.button());
      button.className = i === 0 && row.next ? "kit-now" : "kit-now kit-also";
      button.dataset.stage = stage;
    });
    this.label();
    this.tick();
  }
  button() {
    const button = make("button", { type: "button" });
    button.addEventListener("click", () => {
      if (Date.now() < this.rests) return;
      this.rests = Date.now() + REST_MS;
      this.board.press(this.row, button.dataset.stage);
    });
    return button;
  }
  label() {
    const typed = this.board.typed.value.trim();
    for (const button of this.buttons.children) {
      button.textContent = `${this.row.name}: ${button.dataset.stage} — ${typed || "now"}`;
    }
  }
  tick() {
    const { row } = this;
    const now = Date.now();
    const seconds = row.where.startsWith("on the griddle");
    const since = row.since === null ? null : Math.max(0, (now - row.since) / 60000);
    this.length.textContent = since === null ? "" : `for ${long(since, seconds)}`;
    const [state, text] = row.due ? left(row.due, now, seconds) : ["", ""];
    this.left.textContent = text;
    this.element.className = state ? `kit-place kit-${state}` : "kit-place";
    const changed = this.state !== null && state && state !== this.state;
    this.state = state;
    return changed ? `${row.title}: ${row.next}, ${text}` : "";
  }
}

class Board {
  constructor(model, el) {
    this.model = model;
    this.places = new Map();
    this.presses = new Presses(model, {
      type: "press",
      name: () => `kit-running|${model.get("bake")}`,
      words: (press) => `${press.title} ${press.stage}`,
      answered: (press, ok) => {
        if (ok && this.typed.value.trim() === press.at) this.typed.value = "";
        this.places.forEach((place) => place.label());
      },
    });
    const id = `kit-typed-${unlike()}`;
    const hint = "now, if empty; or 9:40";
    this.typed = make("input", { id, type: "text", autocomplete: "off", placeholder: hint });
    this.turn = make("p", { class: "kit-unseen", role: "status" });
    this.list = make("ul");
    const label = make("label", { for: id }, "When it was");
    const { alert, unsaved, status } = this.presses;
    el.append(make("div", { class: "kit-board" }, make("p", { class: "kit-when" }, label, this.typed),
      alert, unsaved, status, this.list, this.turn));
    this.typed.addEventListener("input", () => this.places.forEach((place) => place.label()));
    this.show();
    this.presses.send();
  }
  show() {
    const rows = this.model.get("rows");
    const keys = new Set(rows.map((row) => row.key));
    const held = [...this.list.children].findIndex((e) => e.contains(document.activeElement));
    for (const [key, place] of this.places) {
      if (!keys.has(key)) {
        place.element.remove();
        this.places.delete(key);
      }
    }
    rows.forEach((row, i) => {
      if (!this.places.has(row.key)) this.places.set(row.key, new Place(this));
      const place = this.places.get(row.key);
      // moving an element takes the keyboard from it
      if (this.list.children[i] !== place.element) {
        this.list.insertBefore(place.element, this.list.children[i] ?? null);
      }
      place.show(row);
    });
    // the row that had the keyboard is gone, as a load's is whose side times differ
    if (held >= 0 && !this.list.contains(document.activeElement)) {
      const near = this.list.children[Math.min(held, rows.length - 1)] ?? this.list;
      near.querySelector("button")?.focus();
    }
  }
  press(row, stage) {
    const at = this.typed.value.trim();
    this.presses.add({ things: row.things, title: row.title, stage, at });
  }
  tick() {
    const told = [...this.places.values()].map((place) => place.tick()).filter(Boolean);
    if (told.length) this.turn.textContent = told.join(". ");
  }
}

function render({ model, el }) {
  const board = new Board(model, el);
  const deaf = hear(model, { "change:rows": () => board.show() });
  const ticking = setInterval(() => board.tick(), 1000);
  const refreshing = setInterval(() => {
    if (document.visibilityState === "visible") model.send({ type: "refresh" });
  }, REFRESH_MS);
  return () => {
    clearInterval(ticking);
    clearInterval(refreshing);
    board.presses.end();
    deaf();
  };
}
export default { render };
