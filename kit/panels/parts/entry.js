// A table of text fields that Python reads, checks and stores.
//
// Nothing is interpreted here: text goes to Python with a sequence number and comes back with what
// became of it. What was not answered is said to be NOT SAVED, and kept in the browser until it is.

const KEPT = "kit-entry|";

// ids unlike any other on the page: every table is a module of its own, and counts for itself
const OWN = `kit-entry-${unlike()}`;
let number = 0;

const several = (n, one, many = one + "s") => `${n} ${n === 1 ? one : many}`;

// What was typed and not saved yet, kept by the browser over a reload.
class Drafts {
  constructor(keptAs) {
    this.prefix = `${KEPT}${keptAs}|`;
    this.works = true;
  }
  set(key, draft) {
    try {
      localStorage.setItem(this.prefix + key, JSON.stringify(draft));
      this.works = true;
    } catch (error) {
      this.works = false; // said in the banner
    }
  }
  remove(key) {
    try {
      localStorage.removeItem(this.prefix + key);
    } catch (error) {
      this.works = false;
    }
  }
  // all drafts whose name begins with `start`: [name, draft]
  static beginning(start) {
    const found = [];
    try {
      for (let i = 0; i < localStorage.length; i++) {
        const name = localStorage.key(i);
        if (name.startsWith(start)) found.push([name, JSON.parse(localStorage.getItem(name))]);
      }
    } catch (error) {
      return []; // a browser that keeps nothing has nothing to give back
    }
    return found;
  }
}

// One field: the text in it, the text in the records, and what is between the two.
//   state: "" empty, saved, typed, saving, late, asked, differs, refused, failed
class Cell {
  constructor(table, row, column) {
    this.table = table;
    this.row = row;
    this.column = column;
    this.key = `${row} ${column}`;
    this.saved = "";
    this.state = "";
    this.says = "";
    this.sent = null; // the text last sent
    this.seq = 0; // and its number
    this.base = null; // for text from before a reload: the saved text it was typed over
    const id = `${OWN}-${++number}`;
    this.input = make("input", {
      type: "text", autocomplete: "off", autocapitalize: "off", spellcheck: "false",
      enterkeyhint: "next", "aria-describedby": id,
    });
    this.word = make("div", { class: "kit-entry-word", id });
    this.asks = make("div", { class: "kit-entry-asks" });
    this.place = make("td", {}, this.input, this.word, this.asks);
    this.input.addEventListener("input", () => this.typing());
    this.input.addEventListener("blur", () => table.building || this.commit());
    this.input.addEventListener("focus", () => (table.last = this));
    this.input.addEventListener("keydown", (event) => table.key(event, this));
    this.input.addEventListener("paste", (event) => table.paste(event, this));
  }
  get text() {
    return this.input.value.trim();
  }
  get clean() {
    return this.state === "" || this.state === "saved";
  }
  // What Python has for this field. It never replaces what is typed and not saved.
  know(given) {
    this.label = given.label;
    this.beside = given.beside;
    this.input.setAttribute("aria-label", given.label);
    this.input.setAttribute("inputmode", given.words ? "text" : "decimal");
    this.place.classList.toggle("kit-entry-words", given.words);
    const before = this.saved;
    this.saved = given.text;
    if (this.state === "typed" && this.base === null && before !== given.text) this.keep(false);
    if (this.clean && this.text === before.trim()) {
      if (this.input.value !== given.text) {
        this.input.value = given.text;
        this.says = "";
      }
      if (!given.given) this.state = given.text ? "saved" : this.says ? this.state : "";
    }
    this.show();
  }
  typing() {
    this.state = "typed";
    this.says = "";
    this.sent = null;
    this.seq = 0; // an answer to what stood here before is no answer to this
    if (this.text === this.saved.trim()) this.settle();
    else this.keep(false);
    this.show();
    this.table.summarise();
  }
  keep(sent) {
    const base = this.base ?? this.saved;
    const draft = { text: this.input.value, base, sent, label: this.label };
    this.table.drafts.set(this.key, { ...draft, place: this.table.model.get("place") });
  }
  // The text is what the records hold.
  settle() {
    this.state = this.saved ? "saved" : "";
    this.base = null;
    this.sent = null;
    this.seq = 0;
    this.table.drafts.remove(this.key);
  }
  // The field is left: send what is new in it.
  commit() {
    if (this.text === this.sent) return; // on its way, or answered
    if (this.text === this.saved.trim() && this.clean) return;
    if (this.text === this.saved.trim()) this.putBack();
    else this.table.send([this]);
  }
  putBack() {
    this.input.value = this.saved;
    this.says = "";
    this.settle();
    this.show();
    this.table.summarise();
  }
  // What a draft from before a reload says.
  restore(draft) {
    this.input.value = draft.text;
    this.base = draft.base;
    this.state = "typed";
    this.show();
    return draft.sent;
  }
  answered(answer) {
    const typedSince = this.text !== this.sent;
    this.says = answer.says;
    if (answer.state === "saved") {
      this.saved = answer.text;
      this.base = null;
      if (typedSince) this.keep(false);
      else {
        this.input.value = answer.text;
        if (document.activeElement === this.input) this.input.select();
        this.settle();
        if (this.says) this.state = "saved";
      }
    } else if (!typedSince) {
      this.state = answer.state;
      this.saved = answer.held ?? this.saved; // what the way back leads to
    }
    this.show();
  }
  show() {
    const words = {
      saved: "saved", typed: "not saved yet", saving: "saving …", late: "NOT SAVED",
      asked: "not saved", differs: "not saved", refused: "not saved", failed: "NOT SAVED",
    };
    const told = this.state === "saved" && this.says ? [this.says] : [words[this.state] ?? ""];
    if (this.beside) told.push(this.beside);
    const bad = ["refused", "asked", "differs", "failed"].includes(this.state);
    this.word.replaceChildren(told.filter(Boolean).join(" · ") + (bad ? ":" : ""));
    this.place.dataset.state = this.state;
    this.input.setAttribute("aria-invalid", bad && this.state !== "asked" ? "true" : "false");
    const asks = [];
    if (bad) asks.push(make("div", { class: "kit-entry-says", role: "alert" }, this.says));
    if (this.state === "asked") {
      asks.push(this.button("Yes, it is right", () => this.table.send([this], { sure: true })));
    }
    if (this.state === "differs") {
      asks.push(this.button(`Save ${this.text || "empty"}`, () => {
        this.base = null;
        this.table.send([this]);
      }));
    }
    if (this.state === "typed" && document.activeElement !== this.input) {
      asks.push(this.button("Save", () => this.table.send([this])));
    }
    if (bad && this.state !== "failed") {
      const back = this.saved ? `Back to ${this.saved}` : "Clear";
      asks.push(this.button(back, () => this.putBack()));
    }
    this.asks.replaceChildren(...asks);
  }
  button(text, press) {
    return button("kit-entry-button", text, `${text}: ${this.label}`, () => {
      press();
      this.input.focus();
    });
  }
}

class Table {
  constructor(model, el) {
    this.model = model;
    this.sent = new Sent(model); // texts, each about its cells
    this.drafts = new Drafts(model.get("kept_as"));
    this.cells = new Map();
    this.grid = [];
    this.shape = "";
    this.last = null;
    this.building = false;
    this.banner = make("div", { class: "kit-entry-banner", role: "alert" });
    this.elsewhere = make("div", { class: "kit-entry-elsewhere" });
    this.head = make("thead");
    this.body = make("tbody");
    const title = model.get("title");
    this.region = make(
      "div", { class: "kit-entry-scroll", role: "region", "aria-label": title, tabindex: "0" },
      make("table", { "aria-label": title }, this.head, this.body),
    );
    this.sum = make("span", { class: "kit-entry-sum" });
    this.told = make("div", { class: "kit-entry-told", role: "status" });
    this.fills = model.get("fills");
    this.foot = make("div", { class: "kit-entry-foot" });
    if (this.fills) {
      const says = `Fill down, ${title}: the value goes into the empty fields below it (Ctrl+D)`;
      this.foot.append(button("kit-entry-button", "Fill down", says, () => this.fillDown(this.last)));
    }
    this.foot.append(this.sum);
    el.classList.add("kit-entry");
    el.append(this.banner, this.elsewhere, this.region, this.foot, this.told);
    this.deaf = hear(model, {
      "change:sheet": () => this.layout(), "msg:custom": (message) => this.heard(message),
    });
    this.onAnswered = () => this.tellElsewhere();
    window.addEventListener("kit-entry-answered", this.onAnswered);
    this.layout();
    this.el = el;
    this.closed = false;
    this.timer = setInterval(() => this.tick(), 250);
  }
  // Python let go of the table, perhaps because the kernel died. As long as it stands on the page
  // it goes on saying what is not saved.
  close() {
    this.closed = true;
    window.removeEventListener("kit-entry-answered", this.onAnswered);
    this.deaf();
  }

  // Draw rows and columns anew if they are others; fields keep what is in them.
  layout() {
    const { columns, rows, cells } = this.model.get("sheet");
    const shape = JSON.stringify([columns, rows]);
    const fresh = [];
    if (shape !== this.shape) {
      const active = document.activeElement;
      const marked = active?.selectionStart;
      const until = active?.selectionEnd;
      this.building = true;
      this.shape = shape;
      this.grid = rows.map((row) => columns.map((column) => {
        const key = `${row.key} ${column.key}`;
        if (!this.cells.has(key)) {
          this.cells.set(key, new Cell(this, row.key, column.key));
          fresh.push(this.cells.get(key));
        }
        return this.cells.get(key);
      }));
      this.drawHead(columns);
      this.drawRows(columns, rows);
      if (active !== document.activeElement && this.region.contains(active)) {
        active.focus();
        active.setSelectionRange?.(marked, until);
      }
      this.building = false;
    }
    for (const cell of this.grid.flat()) cell.know(cells[cell.key]);
    this.bringBack(fresh);
    this.foot.hidden = !this.grid.length;
    this.region.hidden = !this.grid.length;
    this.summarise();
  }
  drawHead(columns) {
    const named = this.model.get("corner");
    const corner = named ? make("th", { scope: "col" }, named) : make("td");
    const heads = columns.map((column) => make(
      "th", { scope: "col", title: column.tip || null },
      column.text, make("span", { class: "kit-entry-more" }, column.more),
    ));
    this.head.replaceChildren(make("tr", {}, corner, ...heads));
  }
  drawRows(columns, rows) {
    let group = null;
    const drawn = rows.map((row, i) => {
      const head = make(
        "th", { scope: "row" },
        row.text, make("span", { class: "kit-entry-more" }, row.more),
      );
      const begins = group !== null && row.group !== group;
      group = row.group;
      const line = { class: begins ? "kit-entry-begins" : null };
      return make("tr", line, head, ...this.grid[i].map((cell) => cell.place));
    });
    this.body.replaceChildren(...drawn);
  }

  // Texts typed before the page was loaded anew.
  bringBack(fresh) {
    const kept = new Map(Drafts.beginning(this.drafts.prefix));
    const again = [];
    for (const cell of fresh) {
      const draft = kept.get(this.drafts.prefix + cell.key);
      if (draft && cell.restore(draft)) again.push(cell);
    }
    if (again.length) this.send(again);
    // a column that was added and has no value yet is not drawn by itself
    const columns = new Set(this.model.get("sheet").columns.map((column) => column.key));
    const missing = [...kept.keys()]
      .map((name) => name.slice(this.drafts.prefix.length).split(" ")[1])
      .filter((column) => !columns.has(column));
    const asked = [...new Set(missing)].join(" ");
    if (asked && asked !== this.sought) {
      this.sought = asked;
      this.sent.tell({ kind: "seek", columns: asked.split(" ") });
    }
    this.tellElsewhere();
  }
  tellElsewhere() {
    const drawn = new Set(this.grid.flat().map((cell) => this.drafts.prefix + cell.key));
    const lost = Drafts.beginning(this.drafts.prefix).filter(([name]) => !drawn.has(name));
    const others = this.model.get("elsewhere");
    const here = this.model.get("kept_as").split("|").slice(0, 3).join("|");
    if (others) {
      lost.push(...Drafts.beginning(`${KEPT}${others}|`).filter(
        ([name]) => !name.startsWith(`${KEPT}${here}|`)));
    }
    const lines = lost.map(([name, draft]) => make(
      "li", {}, `${draft.place}, ${draft.label}: “${draft.text}” `,
      button("kit-entry-button", "Forget it", `Forget ${draft.text}: ${draft.label}`, () => {
        localStorage.removeItem(name);
        this.tellElsewhere();
      }),
    ));
    this.elsewhere.replaceChildren(...(lines.length ? [
      make("p", {}, "Typed earlier and not saved, in what is not shown here. Choose it above, or:"),
      make("ul", {}, ...lines),
    ] : []));
  }

  // To Python and back

  send(cells, { sure = false } = {}) {
    if (!cells.length) return;
    for (const cell of cells) {
      cell.sent = cell.text;
      cell.state = "saving";
      cell.keep(true);
      cell.show();
    }
    this.write(cells, cells.map((c) => (
      { row: c.row, column: c.column, text: c.text, base: c.base, sure })));
    this.summarise();
  }
  write(cells, texts, after) {
    const seq = this.sent.send(cells, { kind: "write", cells: texts }, after);
    for (const cell of cells) cell.seq = seq;
  }
  heard(message) {
    const sent = this.sent.answered(message);
    if (!sent) return; // answered before
    sent.about.forEach((cell, i) => {
      if (cell.seq === message.seq) cell.answered(message.cells[i]);
    });
    const failed = sent.about.filter((c) => c.seq === message.seq && c.state === "failed");
    const texts = failed.map((c) => sent.message.cells[sent.about.indexOf(c)]);
    if (failed.length) this.write(failed, texts, sent.wait);
    this.summarise();
  }
  tick() {
    if (this.closed && !this.el.isConnected) clearInterval(this.timer);
    // what was typed anew since will be sent
    const late = this.sent.again((cells, seq) => cells.some((cell) => cell.seq === seq))
      .flatMap(([seq, { about }]) => about.filter((c) => c.seq === seq && c.state === "saving"));
    for (const cell of late) {
      cell.state = "late";
      cell.show();
    }
    if (late.length) this.summarise();
  }
  summarise() {
    const all = this.grid.flat();
    const count = (...states) => all.filter((cell) => states.includes(cell.state)).length;
    const parts = [`${count("saved")} saved`];
    for (const [n, what] of [
      [count("typed"), "not saved yet"], [count("saving"), "being saved"],
      [count("asked", "differs"), "to answer"], [count("refused"), "to correct"],
      [count("late", "failed"), "NOT SAVED"],
    ]) if (n) parts.push(`${n} ${what}`);
    const nothing = parts.length === 1 && !count("saved");
    this.sum.textContent = nothing ? "nothing recorded yet" : parts.join(", ");
    this.warn(all.filter((cell) => cell.state === "late" || cell.state === "failed"));
  }
  warn(cells) {
    let text = "";
    if (cells.length) {
      const named = cells.slice(0, 3).map((c) => `${c.label}: ${c.text || "empty"}`).join("; ");
      const more = cells.length > 3 ? ` and ${cells.length - 3} more` : "";
      const kept = this.drafts.works
        ? "What you typed is kept in this browser, also when you reload the page."
        : "This browser keeps nothing: copy it down before you close the page.";
      const failed = cells.find((cell) => cell.state === "failed");
      const why = failed ? failed.says
        : "The notebook's kernel does not answer. If this stays, choose Kernel, then Restart "
          + "Kernel and Run All Cells.";
      text = `${several(cells.length, "value")}: ${named}${more}. ${kept} ${why}`;
    }
    if (this.banner.dataset.text === text) return; // read out once
    this.banner.dataset.text = text;
    this.banner.replaceChildren(...(text ? [make("strong", {}, "NOT SAVED. "), text] : []));
  }

  // Keys, pasting, filling

  move(cell, down, right) {
    const i = this.grid.findIndex((row) => row.includes(cell));
    const target = this.grid[i + down]?.[this.grid[i].indexOf(cell) + right];
    if (!target) return cell.commit();
    target.input.focus();
    target.input.select();
  }
  key(event, cell) {
    if (event.isComposing) return;
    const { selectionStart: from, selectionEnd: to, value } = cell.input;
    const whole = from === 0 && to === value.length;
    const plain = !event.ctrlKey && !event.metaKey && !event.altKey;
    const go = (down, right) => {
      event.preventDefault();
      this.move(cell, down, right);
    };
    if (event.key === "Enter" && plain) go(event.shiftKey ? -1 : 1, 0);
    else if (event.key === "ArrowDown" && plain) go(1, 0);
    else if (event.key === "ArrowUp" && plain) go(-1, 0);
    else if (event.key === "ArrowLeft" && plain && !event.shiftKey && (to === 0 || whole)) go(0, -1);
    else if (event.key === "ArrowRight" && plain && !event.shiftKey
      && (from === value.length || whole)) go(0, 1);
    else if (event.key.toLowerCase() === "d" && (event.ctrlKey || event.metaKey)) {
      event.preventDefault();
      if (this.fills) this.fillDown(cell);
    } else if (event.key === "Escape" && !cell.clean) {
      event.preventDefault();
      cell.putBack();
    }
  }
  tell(text) {
    this.told.textContent = text;
  }
  paste(event, cell) {
    const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n$/, "");
    if (!/[\t\n]/.test(text)) return;
    event.preventDefault();
    const top = this.grid.findIndex((row) => row.includes(cell));
    const left = this.grid[top].indexOf(cell);
    const filled = [];
    const over = [];
    let empty = 0;
    text.split("\n").forEach((line, i) => line.split("\t").forEach((value, j) => {
      const target = this.grid[top + i]?.[left + j];
      if (!value.trim()) empty += 1;
      else if (!target) over.push(value.trim());
      else {
        target.input.value = value.trim();
        target.typing();
        if (target.text !== target.saved.trim()) filled.push(target);
      }
    }));
    this.send(filled);
    const said = [`${several(filled.length, "value")} pasted.`];
    if (empty) said.push(empty === 1 ? "1 empty field left as it was."
      : `${empty} empty fields left as they were.`);
    if (over.length) {
      said.push(`${over.length} did not fit into the table and ${over.length === 1 ? "is" : "are"} `
        + `NOT saved: ${over.join("  ")}`);
    }
    this.tell(said.join(" "));
  }
  fillDown(cell) {
    if (!cell) return this.tell("Go to the field whose value the ones below shall have.");
    const label = cell.label;
    if (!cell.text) return this.tell(`${label} is empty: type its value first.`);
    if (["asked", "differs", "refused"].includes(cell.state)) {
      return this.tell(`${label} is not saved: answer beside it first.`);
    }
    const i = this.grid.findIndex((row) => row.includes(cell));
    const j = this.grid[i].indexOf(cell);
    const below = this.grid.slice(i + 1).map((row) => row[j]).filter((other) => !other.text);
    for (const other of below) {
      other.input.value = cell.text;
      other.typing();
    }
    cell.commit();
    this.send(below.filter((other) => other.text !== other.saved.trim()));
    this.tell(below.length ? `${several(below.length, "empty field")} below filled with ${cell.text}.`
      : "There is no empty field below.");
  }
}

// An answer may come when its table is no longer drawn: another bake was chosen meanwhile.
function initialize({ model }) {
  const drafts = new Drafts(model.get("kept_as"));
  const heard = (message) => {
    if (message.kind !== "answer") return;
    const kept = new Map(Drafts.beginning(drafts.prefix));
    for (const { key, state, typed } of message.cells) {
      const draft = kept.get(drafts.prefix + key);
      if (state === "saved" && draft?.sent && draft.text.trim() === typed) drafts.remove(key);
    }
    window.dispatchEvent(new Event("kit-entry-answered"));
  };
  model.on("msg:custom", heard);
  return () => model.off("msg:custom", heard);
}

function render({ model, el }) {
  const table = new Table(model, el);
  return () => table.close();
}

export default { initialize, render };
