"""What every browser test does with a notebook: open it, run it, look at it.

Screenshots go to the folder named by ``KIT_SCREENSHOTS`` when it is set.
"""

import os
from pathlib import Path

WHAT_MAY_BE_CUT = "p, select, input, textarea, li, button"


def open_notebook(page, address, name=None):
    """Open a notebook of the workspace, or whatever the address says, and wait for Python.

    A notebook of the kit makes its panels by itself: they are waited for.
    """
    page.goto(address.replace("compare.ipynb", f"{name}.ipynb") if name else address)
    page.wait_for_function(
        "() => window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel",
        timeout=40_000,
    )
    if name or "compare.ipynb" in address:
        made_ready(page)


def made_ready(page):
    """Wait until the panels of a page are made."""
    page.locator(".kit-page[aria-busy=false]").wait_for(timeout=60_000)


def run_all(page):
    """Run all cells, as the menu does."""
    page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")


def fill_the_browsers_store(page):
    """Let the browser keep nothing more for the kit; what it kept before can still be read."""
    page.evaluate(
        """() => {
            const before = Storage.prototype.setItem;
            Storage.prototype.setItem = function (name, value) {
                if (name.startsWith("kit-")) throw new DOMException("full", "QuotaExceededError");
                before.call(this, name, value);
            };
        }"""
    )


def errors_in_cells(page):
    """The errors that cells ended in; clicks inside widgets do not count."""
    return page.evaluate(
        """() => [...window.jupyterapp.shell.currentWidget.content.model.cells]
            .flatMap(c => c.outputs ? c.outputs.toJSON() : [])
            .filter(o => o.output_type === 'error').map(o => o.evalue)"""
    )


def cut_off(page, beside=".kit-scroll, .kit-picture, .kit-entry-scroll, .kit-unseen"):
    """The words of whatever reaches beyond the right edge, but for what scrolls by itself."""
    return page.evaluate(
        """([tags, beside]) => {
            const place = document.querySelector(".kit-panel").closest(".jp-OutputArea-output");
            const right = place.getBoundingClientRect().right;
            return [...document.querySelectorAll(tags.split(", ").map(t => ".kit-panel " + t))]
                .filter(e => e.offsetParent && !e.closest(beside))
                .filter(e => e.getBoundingClientRect().right > right + 1)
                .map(e => e.textContent.slice(0, 40) || e.tagName);
        }""",
        [WHAT_MAY_BE_CUT, beside],
    )


def shoot(page, name, tall=0):
    """Take a screenshot; `tall` makes the window high enough for the whole panel."""
    if folder := os.environ.get("KIT_SCREENSHOTS"):
        Path(folder).mkdir(parents=True, exist_ok=True)
        size = page.viewport_size
        if tall:
            page.set_viewport_size({"width": size["width"], "height": tall})
            page.locator(".kit-panel").first.evaluate("e => e.scrollIntoView()")
            page.wait_for_timeout(500)
        page.screenshot(path=f"{folder}/{name}.png")
        page.set_viewport_size(size)
