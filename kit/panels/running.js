// The running bake: where everything is, ticking, and a big button for what comes next.
//
// Times of day and words come from Python; only lengths are counted here, from UTC stamps. A press
// carries the moment it was made. What Python has not answered is said to be NOT SAVED, kept in the
// browser, and sent again: also after a reload, when the cell has been run once more.

const ANSWER_MS = 2500; // without an answer after so long, say NOT SAVED
const RETRY_MS = 3000;
const REST_MS = 1500; // a second touch within so long is the same press
const REFRESH_MS = 60000;
const NEAR_MIN = 20; // up to here seconds are shown
const KEPT = "kit-running|";

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// a length of time, as `kit.records.stages.say_long` says it
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

// Presses without an answer yet, kept by the browser.
class Pending {
  constructor(bake) {
    this.kept = KEPT + bake;
    this.presses = [];
    try {
      this.presses = JSON.parse(localStorage.getItem(this.kept) ?? "[]");
    } catch (error) {
      console.warn("kit: presses of before cannot be read", error);
    }
  }
  keep() {
    try {
      localStorage.setItem(this.kept, JSON.stringify(this.presses));
    } catch (error) {
      console.warn("kit: the browser keeps nothing for this page", error);
    }
  }
  add(press) {
    this.presses.push(press);
    this.keep();
  }
  take(id) {
    const found = this.presses.find((press) => press.id === id);
    this.presses = this.presses.filter((press) => press.id !== id);
    this.keep();
    return found;
  }
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
    this.expected.textContent = row.next ? `next: ${row.next} ${row.expected}${basis} ` : "";
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
    const button = make("button", { type: "button", "data-lm-suppress-shortcuts": "true" });
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
    this.pending = new Pending(model.get("bake"));
    const id = `kit-typed-${Math.random().toString(36).slice(2)}`;
    this.typed = make("input", {
      id, type: "text", autocomplete: "off", "data-lm-suppress-shortcuts": "true",
      placeholder: "now, if empty; or 9:40",
    });
    this.alert = make("p", { class: "kit-trouble", role: "alert" });
    this.unsaved = make("p", { class: "kit-trouble", role: "alert" });
    this.status = make("p", { class: "kit-said", role: "status" });
    this.turn = make("p", { class: "kit-unseen", role: "status" });
    this.list = make("ul");
    const label = make("label", { for: id }, "When it was");
    el.append(make("div", { class: "kit-board" }, make("p", { class: "kit-when" }, label, this.typed),
      this.alert, this.unsaved, this.status, this.list, this.turn));
    this.typed.addEventListener("input", () => this.places.forEach((place) => place.label()));
    this.alert.hidden = this.unsaved.hidden = true;
    this.show();
    this.send();
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
    const id = `${Date.now()}-${Math.random().toString(36).slice(2)}`;
    this.alert.hidden = true;
    this.pending.add({
      id, things: row.things, title: row.title, stage, at: this.typed.value.trim(),
      pressed: new Date().toISOString(), clock: this.clock(),
    });
    this.send();
  }
  // by the clock of the kitchen, wherever the browser is
  clock() {
    const zone = { timeZone: this.model.get("zone"), hour: "2-digit", minute: "2-digit" };
    return new Date().toLocaleTimeString("en-GB", zone);
  }
  send() {
    clearTimeout(this.again);
    for (const press of this.pending.presses) {
      try {
        this.model.send({ type: "press", ...press });
      } catch (error) {
        console.warn("kit: no connection to Python", error); // said below, and tried again
      }
    }
    if (this.pending.presses.length) {
      this.again = setTimeout(() => {
        this.say();
        this.again = setTimeout(() => this.send(), RETRY_MS);
      }, ANSWER_MS);
    }
  }
  say() {
    const told = this.pending.presses.map((p) => `${p.title} ${p.stage}, pressed at ${p.clock}`);
    this.unsaved.hidden = told.length === 0;
    const text = `NOT SAVED yet: ${told.join("; ")}. It is kept here and tried again; if Python has `
      + "stopped, start it and run this cell again.";
    if (told.length && this.unsaved.textContent !== text) this.unsaved.textContent = text;
  }
  answer({ id, ok, text }) {
    const press = this.pending.take(id);
    this.say();
    if (!press) return;
    this.status.textContent = ok ? text : "";
    this.alert.textContent = ok ? "" : text;
    this.alert.hidden = ok;
    if (ok && this.typed.value.trim() === press.at) this.typed.value = "";
    this.places.forEach((place) => place.label());
  }
  tick() {
    const told = [...this.places.values()].map((place) => place.tick()).filter(Boolean);
    if (told.length) this.turn.textContent = told.join(". ");
  }
}

function render({ model, el }) {
  const board = new Board(model, el);
  const show = () => board.show();
  const hear = (message) => {
    if (message.type === "answer") board.answer(message);
  };
  model.on("change:rows", show);
  model.on("msg:custom", hear);
  const ticking = setInterval(() => board.tick(), 1000);
  const refreshing = setInterval(() => {
    if (document.visibilityState === "visible") model.send({ type: "refresh" });
  }, REFRESH_MS);
  return () => {
    clearInterval(ticking);
    clearInterval(refreshing);
    clearTimeout(board.again);
    model.off("change:rows", show);
    model.off("msg:custom", hear);
  };
}
export default { render };
