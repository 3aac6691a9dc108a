// One reading of a proofing dough: what is read, now or at a time typed.
//
// A press carries its moment. What Python has not answered is said to be NOT SAVED, kept in the
// browser and sent again, also after a reload. What was read at the start is kept a dough, so that it
// is typed once; what is half typed is kept that day, for a reload.

const ANSWER_MS = 2500; // without an answer after so long, say NOT SAVED
const RETRY_MS = 3000;
const REST_MS = 1500; // a second touch within so long is the same press

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function kept(name, value) {
  try {
    if (value !== undefined) localStorage.setItem(name, JSON.stringify(value));
    return JSON.parse(localStorage.getItem(name) ?? "null");
  } catch (error) {
    console.warn("kit: the browser keeps nothing for this page", error);
    return null;
  }
}

class Reader {
  constructor(model, el) {
    this.model = model;
    this.own = `kit-rise-${Math.random().toString(36).slice(2)}`;
    this.rests = 0;
    this.way = make("select", { id: `${this.own}-way`, "data-lm-suppress-shortcuts": "true" });
    for (const way of model.get("ways")) this.way.append(make("option", { value: way.key }, way.words));
    this.holds = make("p", { class: "kit-small", id: `${this.own}-holds` });
    this.way.setAttribute("aria-describedby", `${this.own}-holds`);
    this.start = this.field("start");
    this.now = this.field("now");
    this.at = this.field("at", "now, if empty; or 9:40");
    this.row = (field, text) => make("p", { class: "kit-when" },
      make("label", { for: field.id }, text), field);
    this.first = this.row(this.start, "At the start (mm)");
    this.read = this.row(this.now, "Now");
    this.note = make("button", { type: "button", class: "kit-now", "data-lm-suppress-shortcuts": "true" });
    this.begin = make("button", {
      type: "button", class: "kit-now kit-also", "data-lm-suppress-shortcuts": "true",
    });
    this.alert = make("p", { class: "kit-trouble", role: "alert" });
    this.unsaved = make("p", { class: "kit-trouble", role: "alert" });
    this.status = make("p", { class: "kit-said", role: "status" });
    this.alert.hidden = this.unsaved.hidden = true;
    el.append(make("div", { class: "kit-board" },
      this.row(this.way, "What you read"), this.holds, this.first, this.read,
      this.row(this.at, "When it was"),
      make("div", { class: "kit-buttons" }, this.note, this.begin),
      this.alert, this.unsaved, this.status));
    this.way.addEventListener("change", () => this.label());
    this.at.addEventListener("input", () => this.label());
    for (const field of [this.way, this.start, this.now, this.at]) {
      field.addEventListener("input", () => this.keep());
    }
    this.now.addEventListener("keydown", (event) => {
      if (event.key === "Enter") this.press(this.now.value.trim());
    });
    this.note.addEventListener("click", () => this.press(this.now.value.trim()));
    this.begin.addEventListener("click", () => this.press(null));
    this.show();
    this.send();
  }
  field(name, hint = "") {
    return make("input", {
      id: `${this.own}-${name}`, type: "text", inputmode: name === "at" ? "text" : "decimal",
      autocomplete: "off", placeholder: hint, "data-lm-suppress-shortcuts": "true",
    });
  }
  get pending() {
    return kept(`kit-rise|${this.model.get("trial")}`) ?? [];
  }
  set pending(presses) {
    kept(`kit-rise|${this.model.get("trial")}`, presses);
  }
  typed(dough = this.model.get("dough")) {
    return `kit-rise-start|${dough}`;
  }
  keep() {
    if (!this.model.get("dough")) return;
    const fields = [this.way, this.start, this.now, this.at];
    const [way, start, now, at] = fields.map((field) => field.value.trim());
    kept(this.typed(), { way, start, now, at, on: new Date().toDateString() });
  }
  // another dough was picked: what was typed of it comes back
  show() {
    const before = kept(this.typed()) ?? {};
    const today = before.on === new Date().toDateString();
    if (before.way) this.way.value = before.way;
    this.start.value = before.start ?? "";
    this.now.value = today ? before.now : "";
    if (today && before.at) this.at.value = before.at;
    this.status.textContent = "";
    this.alert.hidden = true;
    this.label();
  }
  label() {
    const way = this.model.get("ways").find((one) => one.key === this.way.value);
    const name = this.model.get("name");
    const when = this.at.value.trim() || "now";
    this.holds.textContent = way.holds;
    this.first.hidden = way.key === "ratio";
    this.read.firstChild.textContent = way.key === "ratio" ? "Now (times the start)" : "Now (mm)";
    this.note.textContent = `${name}: note it — ${when}`;
    this.begin.textContent = `${name}: the clock starts — ${when}`;
    const held = document.activeElement === this.begin;
    this.begin.hidden = this.model.get("started");
    if (held && this.begin.hidden) this.now.focus(); // what is hidden loses the keyboard
    this.note.disabled = this.begin.disabled = !this.model.get("dough");
  }
  press(typed) {
    if (Date.now() < this.rests || !this.model.get("dough")) return;
    this.rests = Date.now() + REST_MS;
    this.alert.hidden = true;
    const begins = typed === null;
    const zone = { timeZone: this.model.get("zone"), hour: "2-digit", minute: "2-digit" };
    this.pending = [...this.pending, {
      id: `${Date.now()}-${Math.random().toString(36).slice(2)}`, dough: this.model.get("dough"),
      name: this.model.get("name"), way: begins ? "ratio" : this.way.value, now: begins ? "1" : typed,
      start: begins || this.way.value === "ratio" ? "1" : this.start.value.trim(),
      at: this.at.value.trim(), pressed: new Date().toISOString(),
      clock: new Date().toLocaleTimeString("en-GB", zone),
    }];
    this.keep();
    this.send();
  }
  send() {
    clearTimeout(this.again);
    for (const press of this.pending) {
      try {
        this.model.send({ type: "note", ...press });
      } catch (error) {
        console.warn("kit: no connection to Python", error); // said below, and tried again
      }
    }
    if (this.pending.length) {
      this.again = setTimeout(() => {
        this.say();
        this.again = setTimeout(() => this.send(), RETRY_MS);
      }, ANSWER_MS);
    }
  }
  say() {
    const told = this.pending.map((p) => `${p.name} ${p.now || "nothing"}, pressed at ${p.clock}`);
    this.unsaved.hidden = told.length === 0;
    const text = `NOT SAVED yet: ${told.join("; ")}. It is kept here and tried again; if Python has `
      + "stopped, start it and run this cell again.";
    if (told.length && this.unsaved.textContent !== text) this.unsaved.textContent = text;
  }
  answer({ id, ok, text }) {
    const press = this.pending.find((one) => one.id === id);
    this.pending = this.pending.filter((one) => one.id !== id);
    this.say();
    if (!press) return;
    this.status.textContent = ok ? text : "";
    this.alert.textContent = ok ? "" : text;
    this.alert.hidden = ok;
    if (ok && press.dough === this.model.get("dough")) {
      if (this.now.value.trim() === press.now) this.now.value = "";
      if (this.at.value.trim() === press.at) this.at.value = "";
      this.keep();
    } else if (ok) {
      this.forget(press); // its dough is not shown now: what is stored must not come back with it
    }
    this.label();
  }
  forget({ dough, now, at }) {
    const was = kept(this.typed(dough));
    if (!was) return;
    if (was.now === now) was.now = "";
    if (was.at === at) was.at = "";
    kept(this.typed(dough), was);
  }
}

function render({ model, el }) {
  const reader = new Reader(model, el);
  const show = () => {
    reader.show();
    reader.send(); // what another trial's doughs still wait for
  };
  const label = () => reader.label();
  const hear = (message) => {
    if (message.type === "answer") reader.answer(message);
  };
  model.on("change:dough", show);
  model.on("change:name change:started", label);
  model.on("msg:custom", hear);
  return () => {
    clearTimeout(reader.again);
    model.off("change:dough", show);
    model.off("change:name change:started", label);
    model.off("msg:custom", hear);
  };
}
export default { render };
