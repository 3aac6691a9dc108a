"""A notebook opens as a page: panels without a click, and nothing else runs unasked."""

import json
import re
import shutil

import pytest
from lab_pages import made_ready, open_notebook, shoot

from kit.shipped import notebooks_folder

pytestmark = pytest.mark.browser

#: Lines like those that make a panel, and what else somebody could have put there.
NOT_OURS = [
    "open('ran', 'w').close()",
    "from kit import panels\n\npanel = panels.compare(open('ran', 'w'))\npanel",
    "from kit import panels\n\npanel = panels.compare()\nopen('ran', 'w').close()\npanel",
    "panel = panels.compare(); open('ran', 'w').close()\npanel",
    "import panels\n\npanel = panels.compare()\npanel",
    "panel = panels.__loader__()\npanel",
    "panels = panels.open_workspace()\npanels",
    "panel = panels.undo()\npanel",
    "panel = panels.map(exec)\npanel",
]


def counts(page):
    """How often each code cell was run: its number, or None."""
    return page.evaluate(
        """() => [...window.jupyterapp.shell.currentWidget.content.model.cells]
            .filter(c => c.type === "code").map(c => c.executionCount)"""
    )


def address_of(lab, name):
    return lab[0].replace("compare.ipynb", name)


def book(path, sources):
    """A notebook whose cells are all folded away."""
    cells = [
        {"cell_type": "code", "id": f"c{i}", "metadata": {"jupyter": {"source_hidden": True}},
         "execution_count": None, "outputs": [], "source": source}
        for i, source in enumerate(sources)
    ]  # fmt: skip
    kernel = {"name": "python3", "display_name": "Python 3"}
    path.write_text(
        json.dumps({"nbformat": 4, "nbformat_minor": 5, "cells": cells,
                    "metadata": {"kernelspec": kernel}})
    )  # fmt: skip


def test_panels_are_there_without_a_click(page, lab):
    # of its own: another test may have left its kernel running
    shutil.copy(notebooks_folder() / "compare.ipynb", lab[1] / "untouched.ipynb")
    open_notebook(page, lab[0], "untouched")
    page.locator(".kit-panel").first.wait_for(timeout=40_000)
    assert counts(page)[:4] == [1, 2, 3, 4]
    assert set(counts(page)[4:]) == {None}  # the examples wait for the baker
    assert page.locator(".jp-Notebook").evaluate("e => e.scrollTop") == 0
    code = page.locator(".cm-line")
    assert code.filter(has_text="panels.compare()").filter(visible=True).count() == 0
    assert code.filter(has_text="trial.compare(").first.is_visible()
    shoot(page, "page-opened")
    # the panel stands below the text, not beside it
    text = page.get_by_role("heading", name="Did it matter?").bounding_box()["x"]
    assert abs(page.locator(".kit-panel").first.bounding_box()["x"] - text) < 12
    # JupyterLab's row of buttons on the chosen cell, one of which throws the cell away
    assert page.locator(".jp-cell-toolbar").filter(visible=True).count() == 0
    page.evaluate("window.jupyterapp.commands.execute('notebook:show-all-cell-code')")
    code.filter(has_text="panels.compare()").filter(visible=True).wait_for()


def test_a_reload_brings_back_what_was_chosen_and_typed(page, lab):
    shutil.copy(notebooks_folder() / "record.ipynb", lab[1] / "reloaded.ipynb")
    open_notebook(page, lab[0], "reloaded")
    page.get_by_label("Trial", exact=True).select_option(label="harbour-malt")
    bake = page.get_by_label("Bake", exact=True)
    bake.locator("option").nth(7).wait_for(state="attached")
    others = bake.locator("option:not(:checked)").all_inner_texts()
    bake.select_option(label=others[-1])
    page.get_by_label("In the order of").select_option(label="the codes, without the settings")
    page.get_by_label("New bake on").fill("thursday")
    page.get_by_label("New bake on").press("Tab")
    page.get_by_label(re.compile("^Height mm, code")).first.wait_for()
    page.reload()
    open_notebook(page, page.url, "reloaded")
    assert bake.locator("option:checked").inner_text() == others[-1]
    page.get_by_label(re.compile("^Height mm, code")).first.wait_for()
    assert page.get_by_label("New bake on").input_value() == "thursday"


def test_two_panels_of_a_kind_come_back_each_in_its_own_cell(page, lab):
    one = "from kit import panels\n\npanel = panels.compare()\npanel"
    book(lab[1] / "two.ipynb", [one, "more = panels.compare(panel.workspace)\nmore"])
    open_notebook(page, lab[0], "two")
    factors = page.get_by_label("I changed", exact=True)
    for n, name in enumerate(("Cold retard", "Time a side")):
        factors.nth(n).select_option(name)
        page.locator(".kit-panel").nth(n).get_by_text(f"With {name.lower()} at").first.wait_for(
            timeout=40_000
        )
    page.reload()
    open_notebook(page, page.url, "two")
    for n, name in enumerate(("Cold retard", "Time a side")):
        chosen = factors.nth(n).locator("option:checked")
        assert chosen.inner_text().replace("\xa0", " ") == name


def test_what_makes_a_panel_cannot_be_deleted_by_a_key(page, lab):
    open_notebook(page, lab[0], "compare")
    panel = page.locator(".kit-panel").first
    panel.wait_for()
    page.evaluate("window.jupyterapp.shell.currentWidget.content.activeCellIndex = 1")
    for key in ("d", "d", "x", "m"):
        page.keyboard.press(key)
    page.keyboard.press("Escape")  # the word that this cell cannot be changed
    assert panel.is_visible()
    assert page.locator(".kit-panel").count() == 4


def test_restart_and_run_all_runs_each_cell_once(page, lab):
    open_notebook(page, lab[0], "record")
    page.get_by_label("Trial", exact=True).wait_for(timeout=40_000)
    # not awaited: the command asks first
    page.evaluate("() => { window.jupyterapp.commands.execute('runmenu:restart-and-run-all'); }")
    page.get_by_role("button", name="Confirm Kernel Restart").click()
    page.wait_for_function(
        """() => [...window.jupyterapp.shell.currentWidget.content.model.cells]
            .filter(c => c.type === "code").at(-1).executionCount""",
        timeout=60_000,
    )
    page.wait_for_timeout(2500)
    made_ready(page)
    done = counts(page)
    assert done == list(range(1, len(done) + 1))


def test_a_notebook_from_elsewhere_does_nothing_by_being_opened(page, lab):
    book(lab[1] / "from-elsewhere.ipynb", NOT_OURS)
    open_notebook(page, address_of(lab, "from-elsewhere.ipynb"))
    page.wait_for_timeout(3000)
    assert set(counts(page)) == {None}
    # beside a panel that may be made, the others are left as they are
    ours = "from kit import panels\n\np = panels.rise()\np"
    book(lab[1] / "with-a-panel.ipynb", [*NOT_OURS, ours])
    open_notebook(page, address_of(lab, "with-a-panel.ipynb"))
    page.locator(".kit-panel").first.wait_for(timeout=60_000)
    assert counts(page) == [None] * len(NOT_OURS) + [1]
    assert not (lab[1] / "ran").exists()


def test_what_lies_beside_a_notebook_from_elsewhere_is_not_imported(page, lab):
    """Python looks there first; only the baker's own folder is theirs."""
    below = lab[1] / "unpacked"
    (below / "kit").mkdir(parents=True)
    (below / "kit" / "__init__.py").write_text(f"open({str(lab[1] / 'ran')!r}, 'w').close()")
    book(below / "book.ipynb", ["from kit import panels\n\npanel = panels.compare()\npanel"])
    open_notebook(page, address_of(lab, "unpacked/book.ipynb"))
    page.wait_for_timeout(5000)
    assert counts(page) == [None]
    assert not (lab[1] / "ran").exists()


def test_a_restart_leaves_who_types_in_a_cell_alone(page, lab):
    """Two d would delete the cell if the notebook took the keyboard."""
    open_notebook(page, lab[0], "compare")
    cells = page.evaluate("window.jupyterapp.shell.currentWidget.content.widgets.length")
    page.locator(".kit-panel").first.evaluate("e => e.classList.add('kit-of-before')")
    code = page.locator(".cm-content").filter(has_text="trial.compare(").first
    code.click()
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart()")
    for _ in range(40):
        page.keyboard.type("dd")
        page.wait_for_timeout(200)
    page.locator(".kit-of-before").wait_for(state="detached", timeout=60_000)
    assert page.evaluate("window.jupyterapp.shell.currentWidget.content.widgets.length") == cells
    assert "dddd" in code.inner_text()


def test_an_example_run_right_after_a_restart_does_not_leave_dead_panels(page, lab):
    open_notebook(page, lab[0], "compare")
    page.locator(".kit-panel").first.evaluate("e => e.classList.add('kit-of-before')")
    page.evaluate(
        """async () => {
            const { content, sessionContext } = window.jupyterapp.shell.currentWidget;
            await sessionContext.session.kernel.restart();
            content.activeCellIndex = content.widgets.length - 1;
            window.jupyterapp.commands.execute("notebook:run-cell");
        }"""
    )
    page.locator(".kit-of-before").wait_for(state="detached", timeout=60_000)


@pytest.mark.parametrize("silent", [False, True], ids=["speaking on", "silent"])
def test_a_restart_while_panels_are_made_makes_them_after_all(page, lab, silent):
    """Python as it was may speak on while it is ended, or say nothing any more."""
    if silent:  # the messages by which JupyterLab tells that it is idle do not arrive
        page.add_init_script(
            """addEventListener("load", () => {
                const waits = setInterval(() => {
                    const shown = window.jupyterapp?.shell.currentWidget;
                    if (!shown?.sessionContext) return;
                    clearInterval(waits);
                    const { statusChanged } = shown.sessionContext;
                    const emit = statusChanged.emit.bind(statusChanged);
                    statusChanged.emit = (status) => { if (status !== "idle") emit(status); };
                }, 20);
            })"""
        )
    page.goto(lab[0])
    page.locator(".kit-page[aria-busy=true]").wait_for(timeout=60_000)
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart()")
    page.locator(".kit-panel").nth(3).wait_for(timeout=60_000)
    made_ready(page)


def test_saving_and_the_list_of_commands_are_within_reach_of_a_field(page, lab):
    open_notebook(page, lab[0], "compare")
    # it opens on the baker's own newest trial, which another test may have made
    page.get_by_label("Trial", exact=True).select_option(label="harbour-malt")
    matters = page.get_by_label("What matters (mm)", exact=True)
    matters.focus()
    page.evaluate("() => { window.jupyterapp.shell.currentWidget.context.model.dirty = true; }")
    page.keyboard.press("Control+s")
    page.wait_for_function(
        "() => !window.jupyterapp.shell.currentWidget.context.model.dirty", timeout=10_000
    )
    page.keyboard.press("Control+Shift+c")
    page.locator(".lm-CommandPalette input").wait_for(timeout=10_000)
    page.keyboard.press("Escape")
    page.wait_for_timeout(300)
    matters.focus()
    page.keyboard.type("dd")  # no command of the notebook
    assert page.locator(".kit-panel").count() == 4
    assert matters.input_value().endswith("dd")


def test_side_bars_make_room_on_a_phone_and_come_back(page, lab):
    """The menu View, Appearance shows them there, too; what a hand shows stays."""
    from playwright.sync_api import expect

    bars = page.locator(".jp-SideBar:visible")
    page.set_viewport_size({"width": 400, "height": 900})
    open_notebook(page, lab[0], "taste")
    expect(bars).to_have_count(0)
    field = page.locator(".kit-panel select").first
    assert field.bounding_box()["width"] > 340
    page.set_viewport_size({"width": 1100, "height": 900})
    expect(bars).to_have_count(2)
    page.set_viewport_size({"width": 400, "height": 900})
    expect(bars).to_have_count(0)
    for side, label in (("left", "Left"), ("right", "Right")):
        shown = {"command": "application:toggle-side-tabbar", "args": {"side": side}}
        told = page.evaluate("c => window.jupyterapp.commands.label(c.command, c.args)", shown)
        assert label in told
        page.evaluate("c => window.jupyterapp.commands.execute(c.command, c.args)", shown)
    expect(bars).to_have_count(2)


def test_what_a_phone_put_away_is_there_again_on_the_next_screen(page, lab):
    """JupyterLab keeps what is shown for all screens; opened narrow twice, then wide."""
    from playwright.sync_api import expect

    bars = page.locator(".jp-SideBar:visible")
    for _ in range(2):
        page.set_viewport_size({"width": 400, "height": 900})
        open_notebook(page, lab[0], "taste")
        expect(bars).to_have_count(0)
        page.wait_for_timeout(2000)  # JupyterLab writes down what is shown after a second
        page.goto("about:blank")
    page.set_viewport_size({"width": 1100, "height": 900})
    open_notebook(page, lab[0], "taste")
    expect(bars).to_have_count(2)


def test_the_list_of_files_makes_room_on_a_phone_and_comes_back(page, lab):
    from playwright.sync_api import expect

    files = page.locator(".jp-FileBrowser:visible")
    open_notebook(page, lab[0], "taste")
    if files.count() == 0:
        page.evaluate("() => window.jupyterapp.commands.execute('application:toggle-left-area')")
    expect(files).to_have_count(1)
    page.set_viewport_size({"width": 400, "height": 900})
    expect(files).to_have_count(0)
    page.set_viewport_size({"width": 1100, "height": 900})
    expect(files).to_have_count(1)
