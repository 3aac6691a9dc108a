// Elements of the page, as every widget of ours makes them: what it runs in the browser begins so.

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children);
  // JupyterLab's one-key commands spare only what is marked itself
  if (/^(INPUT|BUTTON|SELECT)$/.test(element.tagName) || element.hasAttribute("tabindex")) {
    element.setAttribute("data-lm-suppress-shortcuts", "true");
  }
  return element;
}

// a name unlike any other on the page, or in another window
const unlike = () => `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;

// Hear from Python what is named; returns what ends it.
function hear(model, heard) {
  for (const [name, what] of Object.entries(heard)) model.on(name, what);
  return () => Object.entries(heard).forEach(([name, what]) => model.off(name, what));
}

function button(kind, text, label, press) {
  const made = make("button", { type: "button", class: kind, "aria-label": label || null }, text);
  made.addEventListener("click", press);
  return made;
}

