"""Keep JupyterLab's one-key commands away from a panel's fields and buttons.

In JupyterLab a cell that is not being edited listens to single keys: the down arrow moves to the
next cell, two times d deletes the cell. Text fields are spared, menus, boxes and buttons are not.
An element marked ``data-lm-suppress-shortcuts`` is; the mark has to stand on each of them.

ipywidgets gives a button without a hint the title "null", which is shown and read out: taken away.
Fingers press twice where once is meant: of presses of one button that follow at once, with nothing
in between, the first counts. A button that stays pressed shows it by a shade only: the same hand
tells screen readers, and names a row of such buttons after its label.
"""

import anywidget

__all__ = ["OwnKeys"]


class OwnKeys(anywidget.AnyWidget):
    """Invisible; marks whatever can be focused in the panel it stands in, now and later."""

    _esm = """
    const focusable = "select, input, button, textarea, summary, a";
    const AT_ONCE_MS = 500;
    function render({ el }) {
      el.hidden = true;
      let watcher = null;
      let last = null, at = 0;
      const first = (event) => {
        const button = event.target.closest(".widget-button");
        const again = button !== null && button === last && event.timeStamp - at < AT_ONCE_MS;
        [last, at] = [button, event.timeStamp];
        if (again) event.stopImmediatePropagation();
      };
      function start() {
        const panel = el.closest(".kit-panel");
        if (panel === null) {
          if (el.isConnected || watcher === null) requestAnimationFrame(start);
          return;
        }
        const mark = () => {
          panel.querySelectorAll(focusable).forEach(
            (item) => item.setAttribute("data-lm-suppress-shortcuts", "true"));
          panel.querySelectorAll("[title='null']").forEach(
            (item) => item.removeAttribute("title"));
          panel.querySelectorAll(".widget-toggle-button").forEach((item) =>
            item.setAttribute("aria-pressed", item.classList.contains("mod-active")));
          panel.querySelectorAll(".widget-toggle-buttons").forEach((row) => {
            row.setAttribute("role", "group");
            row.setAttribute("aria-label", row.querySelector("label").textContent);
          });
        };
        mark();
        panel.addEventListener("click", first, true);
        panel.addEventListener("input", () => { last = null; }, true);
        watcher = new MutationObserver(mark);
        watcher.observe(panel,
          { attributeFilter: ["class"], childList: true, subtree: true });
      }
      start();
      return () => watcher?.disconnect();
    }
    export default { render };
    """
