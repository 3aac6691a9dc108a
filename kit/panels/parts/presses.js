// What the running bake and the reader of a rise share: their part in the browser begins with this.
//
// A press carries the moment it was made. What Python has not answered is said to be NOT SAVED, kept
// in the browser and sent again: also after a reload, when the cell has been run once more.

const ANSWER_MS = 2500; // without an answer after so long, say NOT SAVED
const RETRY_MS = 3000;
const REST_MS = 1500; // a second touch within so long is the same press

const memory = new Map(); // what the browser did not keep: its store is full, or it has none

// what is kept under a name; given a value, it is kept first
function kept(name, value) {
  try {
    if (value !== undefined) {
      localStorage.setItem(name, JSON.stringify(value));
      memory.delete(name);
    }
    if (!memory.has(name)) return JSON.parse(localStorage.getItem(name) ?? "null");
  } catch (error) {
    console.warn("kit: the browser keeps nothing for this page", error);
    if (value !== undefined) memory.set(name, value);
  }
  return memory.get(name) ?? null;
}

class Presses {
  // type: of the message; name(): under which they are kept; words(press): what it is called;
  // answered(press, ok): done after Python has answered
  constructor(model, { type, name, words, answered }) {
    Object.assign(this, { model, type, name, words, answered });
    this.waits = new Map(); // name -> presses of this board; what the browser keeps is their copy
    this.alert = make("p", { class: "kit-trouble", role: "alert" });
    this.unsaved = make("p", { class: "kit-trouble", role: "alert" });
    this.status = make("p", { class: "kit-said", role: "status" });
    this.alert.hidden = this.unsaved.hidden = true;
    this.deaf = hear(model, {
      "msg:custom": (message) => message.type === "answer" && this.answer(message),
    });
  }
  get waiting() {
    const name = this.name();
    if (!this.waits.has(name)) this.waits.set(name, kept(name) ?? []);
    return this.waits.get(name);
  }
  // into the copy, where presses of other windows stand too
  copy(name, answered = null) {
    const all = new Map([...(kept(name) ?? []), ...this.waits.get(name)].map((one) => [one.id, one]));
    all.delete(answered);
    kept(name, [...all.values()]);
  }
  add(press) {
    // by the clock of the kitchen, wherever the browser is
    const zone = { timeZone: this.model.get("zone"), hour: "2-digit", minute: "2-digit" };
    this.alert.hidden = true;
    this.waiting.push({
      id: unlike(), pressed: new Date().toISOString(),
      clock: new Date().toLocaleTimeString("en-GB", zone), ...press,
    });
    this.copy(this.name());
    this.send();
  }
  send() {
    clearTimeout(this.again);
    for (const press of this.waiting) {
      try {
        this.model.send({ type: this.type, ...press });
      } catch (error) {
        console.warn("kit: no connection to Python", error); // said below, and tried again
      }
    }
    if (this.waiting.length) {
      this.again = setTimeout(() => {
        this.say();
        this.again = setTimeout(() => this.send(), RETRY_MS);
      }, ANSWER_MS);
    }
  }
  say() {
    const told = this.waiting.map((p) => `${this.words(p)}, pressed at ${p.clock}`);
    this.unsaved.hidden = told.length === 0;
    const text = `NOT SAVED yet: ${told.join("; ")}. It is kept here and tried again; if Python has `
      + "stopped, start it and run this cell again.";
    if (told.length && this.unsaved.textContent !== text) this.unsaved.textContent = text;
  }
  answer({ id, ok, text }) {
    // every window hears every answer: it is told where it was pressed
    for (const [name, presses] of this.waits) {
      const at = presses.findIndex((one) => one.id === id);
      if (at >= 0) this.done(name, presses.splice(at, 1)[0], ok, text);
    }
  }
  done(name, press, ok, text) {
    this.copy(name, press.id);
    this.say();
    this.status.textContent = ok ? text : "";
    this.alert.textContent = ok ? "" : text;
    this.alert.hidden = ok;
    this.answered(press, ok);
  }
  end() {
    clearTimeout(this.again);
    this.deaf();
  }
}

