"""A slider with a name: the browser's own, so that keys, fingers and screen readers know it."""

import anywidget
import traitlets

__all__ = ["Slide"]


class Slide(anywidget.AnyWidget):
    """A number between two ends; `value` changes when the hand rests.

    Parameters
    ----------
    label : str
    low, high, step : float
    """

    _esm = """
    const REST_MS = 300;
    function render({ model, el }) {
      const id = `kit-slide-${Math.random().toString(36).slice(2)}`;
      const label = document.createElement("label");
      const input = document.createElement("input");
      const shown = document.createElement("output");
      Object.assign(label, { htmlFor: id, textContent: model.get("label") });
      Object.assign(input, { id, type: "range", min: model.get("low"), max: model.get("high"),
        step: model.get("step") });
      input.setAttribute("data-lm-suppress-shortcuts", "true");
      el.classList.add("kit-slide");
      el.append(label, input, shown);
      let waiting = null;
      const digits = Math.max(0, -Math.floor(Math.log10(model.get("step"))));
      const tell = () => (shown.textContent = Number(input.value).toFixed(digits));
      const show = () => {
        if (waiting === null) input.value = model.get("value");
        tell();
      };
      const send = () => {
        clearTimeout(waiting);
        waiting = null;
        model.set("value", Number(input.value));
        model.save_changes();
      };
      input.addEventListener("input", () => {
        tell();
        clearTimeout(waiting);
        waiting = setTimeout(send, REST_MS);
      });
      model.on("change:value", show);
      show();
      return () => model.off("change:value", show);
    }
    export default { render };
    """
    _css = """
    .kit-slide {align-items: center; display: flex; flex-wrap: wrap; gap: .2rem .5rem;
      margin: 0 2px}
    .kit-slide label {text-align: right; width: 11rem}
    @media (max-width: 35rem) {.kit-slide label {text-align: left; width: auto}}
    .kit-slide input {flex: 1 1 8rem; max-width: 26rem; min-height: 44px}
    .kit-slide input:focus-visible {outline: 3px solid #cc7000}
    .kit-slide output {font-variant-numeric: tabular-nums}
    """
    label = traitlets.Unicode().tag(sync=True)
    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(1.0).tag(sync=True)
    step = traitlets.Float(0.01).tag(sync=True)
    value = traitlets.Float(0.0).tag(sync=True)
