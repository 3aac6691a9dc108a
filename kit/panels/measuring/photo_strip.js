// Thumbnails in time order: buttons, one of them chosen. What a photo shows and whose it is stands
// below it in words. The Tab key stops once, however many photos there are; the arrow keys, Home
// and End walk among them.

const SIGN = { "": "○", measured: "◐", kept: "●" };

class Strip {
  constructor(model, el) {
    this.model = model;
    this.urls = new Map(); // key -> { bytes, url }
    this.buttons = new Map();
    this.list = make("ul", { class: "kit-strip",
      "aria-label": "Photos, in the order they were taken: the arrow keys walk among them" });
    this.list.addEventListener("focusin", (event) => this.stop(event.target));
    el.append(this.list);
    this.show();
  }
  url(key) {
    const bytes = this.model.get("thumbs")[key];
    const known = this.urls.get(key);
    if (!bytes?.byteLength) return "";
    if (known?.size === bytes.byteLength) return known.url;
    if (known) URL.revokeObjectURL(known.url);
    const url = URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" }));
    this.urls.set(key, { size: bytes.byteLength, url });
    return url;
  }
  show() {
    const items = this.model.get("items");
    const keys = new Set(items.map((item) => item.key));
    for (const [key, button] of this.buttons) {
      if (keys.has(key)) continue;
      button.parentNode.remove();
      this.buttons.delete(key);
    }
    items.forEach((item, i) => {
      const button = this.button(item.key);
      const told = [
        ["kit-strip-when", item.when || "when?"], ["", item.shows || "what?"],
        ["kit-strip-whose", item.whose || "whose?"],
        ["kit-strip-state", `${SIGN[item.state] ?? ""} ${item.word}`.trim()],
      ].map(([name, text]) => make("span", { class: name }, text));
      const src = this.url(item.key);
      const image = src ? make("img", { src, alt: "", draggable: "false" })
        : make("span", { class: "kit-strip-none" }, "no picture");
      button.replaceChildren(image, ...told);
      const label = [item.name, item.when || "time unknown", item.shows || "not said what it shows",
        item.whose || "not said whose", item.word].filter(Boolean).join(", ");
      button.setAttribute("aria-label", label);
      button.title = item.name;
      const place = button.parentNode;
      // moving an element takes the keyboard from it
      if (this.list.children[i] !== place) this.list.insertBefore(place, this.list.children[i] ?? null);
    });
    this.choose();
  }
  button(key) {
    if (!this.buttons.has(key)) {
      const button = make("button", { type: "button", tabindex: "-1" });
      button.addEventListener("click", () => {
        this.model.set("chosen", key);
        this.model.save_changes();
      });
      button.addEventListener("keydown", (event) => this.walk(event, key));
      make("li", {}, button);
      this.buttons.set(key, button);
    }
    return this.buttons.get(key);
  }
  walk(event, key) {
    const keys = this.model.get("items").map((item) => item.key);
    const at = keys.indexOf(key);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: keys.length - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    event.stopPropagation();
    this.buttons.get(keys[to])?.focus();
  }
  // the Tab key comes to this button and passes over the others
  stop(button) {
    for (const other of this.buttons.values()) other.tabIndex = other === button ? 0 : -1;
  }
  choose() {
    const chosen = this.model.get("chosen");
    for (const [key, button] of this.buttons) {
      button.setAttribute("aria-pressed", String(key === chosen));
    }
    const button = this.buttons.get(chosen);
    const { list } = this;
    if (!list.contains(document.activeElement)) {
      this.stop(button ?? this.buttons.values().next().value);
    }
    if (!button) return;
    const left = button.offsetLeft - list.offsetLeft;
    if (left < list.scrollLeft || left + button.offsetWidth > list.scrollLeft + list.clientWidth) {
      list.scrollLeft = left - list.clientWidth / 3;
    }
  }
}

function render({ model, el }) {
  const strip = new Strip(model, el);
  const show = () => strip.show();
  return hear(model, {
    "change:items": show, "change:thumbs": show, "change:chosen": () => strip.choose(),
  });
}

export default { render };
