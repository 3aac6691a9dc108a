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

function button(kind, text, label, press) {
  const made = make("button", { type: "button", class: kind, "aria-label": label || null }, text);
  made.addEventListener("click", press);
  return made;
}

