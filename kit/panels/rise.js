// One reading of a proofing dough: what is read, now or at a time typed.
//
// What was read at the start is kept a dough, so that it is typed once; what is half typed is kept
// that day, for a reload.

class Reader {
  constructor(model, el) {
    this.model = model;
    this.own = `kit-rise-${unlike()}`;
    this.rests = 0;
    this.way = make("select", { id: `${this.own}-way` });
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
    this.note = make("button", { type: "button", class: "kit-now" });
    this.begin = make("button", { type: "button", class: "kit-now kit-also" });
    this.presses = new Presses(model, {
      type: "note",
      name: () => `kit-rise|${model.get("trial")}`,
      words: (press) => `${press.name} ${press.now || "nothing"}`,
      answered: (press, ok) => this.answered(press, ok),
    });
    const { alert, unsaved, status } = this.presses;
    el.append(make("div", { class: "kit-board" },
      this.row(this.way, "What you read"), this.holds, this.first, this.read,
      this.row(this.at, "When it was"),
      make("div", { class: "kit-buttons" }, this.note, this.begin),
      alert, unsaved, status));
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
    this.presses.send();
  }
  field(name, hint = "") {
    return make("input", {
      id: `${this.own}-${name}`, type: "text", inputmode: name === "at" ? "text" : "decimal",
      autocomplete: "off", placeholder: hint,
    });
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
    this.presses.status.textContent = "";
    this.presses.alert.hidden = true;
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
    const begins = typed === null;
    this.keep();
    this.presses.add({
      dough: this.model.get("dough"), name: this.model.get("name"),
      way: begins ? "ratio" : this.way.value, now: begins ? "1" : typed,
      start: begins || this.way.value === "ratio" ? "1" : this.start.value.trim(),
      at: this.at.value.trim(),
    });
  }
  answered(press, ok) {
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
  const deaf = hear(model, {
    "change:dough": () => {
      reader.show();
      reader.presses.send(); // what another trial's doughs still wait for
    },
    "change:name change:started": () => reader.label(),
  });
  return () => {
    reader.presses.end();
    deaf();
  };
}
export default { render };
