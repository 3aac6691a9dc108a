"""What panels share: every control of a page has a name of its own, and messages count once."""

import json
import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import ipywidgets as widgets
import pytest
from IPython.core.interactiveshell import InteractiveShell

from kit import Workspace, panels, shipped
from kit.errors import InputError, NotFoundError
from kit.panels.parts.blocks import show
from kit.panels.parts.controls import offer, pick
from kit.panels.parts.entry import EntryTable
from kit.panels.parts.fields import Typed, tell
from kit.panels.parts.once import Once
from kit.panels.parts.slide import Slide
from kit.writeup.blocks import Table

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
FIELDS = (
    widgets.Dropdown, widgets.Text, widgets.Textarea, widgets.Combobox, widgets.Checkbox,
    widgets.ToggleButton, widgets.ToggleButtons, widgets.Button,
)  # fmt: skip


def names(widget):
    """What a screen reader calls the controls in a widget."""
    if isinstance(widget, FIELDS):
        yield "button" if isinstance(widget, widgets.Button) else "field", widget.description
    if isinstance(widget, Slide):
        yield "field", widget.label
    if isinstance(widget, EntryTable):
        yield from (("cell", cell["label"]) for cell in widget.sheet["cells"].values())
    for child in getattr(widget, "children", ()):
        yield from names(child)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_every_control_of_a_page_has_a_name_of_its_own(path, tmp_path):
    cells = json.loads(path.read_text())["cells"]
    code = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    table = tmp_path / "bakes.csv"
    table.write_text("day,dough,piece,height,width\n2026-11-26,A,1,28,90\n")
    found = Counter()
    with panels.open_workspace(tmp_path / "bakes") as ws:
        for made in set(re.findall(r"panels\.(\w+)\(", code)) - {"open_workspace"}:
            panel = getattr(panels, made)(ws)
            if made == "bring":
                panel.path.value = str(table)
                panel.again.click()
            found.update(names(panel))
    assert found
    assert ("field", "") not in found
    assert [name for name, count in found.items() if count > 1] == []


def headings(widget):
    """The levels of the headings in a widget, from above to below."""
    for level in re.findall(r'aria-level="(\d)"|<h(\d)', str(getattr(widget, "value", ""))):
        yield int("".join(level))
    for child in getattr(widget, "children", ()):
        yield from headings(child)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_headings_of_a_page_skip_no_level(path, tmp_path):
    """The notebook's title is of level 1; a screen reader lists what stands below it."""
    found = [1]
    with panels.open_workspace(tmp_path / "bakes") as ws:
        for cell in json.loads(path.read_text())["cells"]:
            source = "".join(cell["source"])
            if cell["cell_type"] == "markdown":
                found += [len(marks) for marks in re.findall(r"^(#+) ", source, re.MULTILINE)]
            for made in re.findall(r"^\w+ = panels\.(\w+)\(", source, re.MULTILINE):
                if made != "open_workspace":
                    found += headings(getattr(panels, made)(ws))
    assert len(found) > 3
    assert all(low <= high + 1 for high, low in pairwise(found)), found


def test_an_empty_corner_of_a_table_is_no_heading():
    told = show([Table("T", ("", "A"), (("x", "1"),), (False, True))])
    assert '<tr><td></td><th scope="col" class="kit-n">A</th></tr>' in told
    assert '<th scope="row">x</th><td class="kit-n">1</td>' in told


def test_a_message_that_comes_again_is_answered_alike_and_done_once():
    done, once = [], Once(2)
    for number in (1, 1, 2, 3, 2):
        once.answer(number, lambda number=number: done.append(number) or f"done {number}")
    assert done == [1, 2, 3]
    assert once.answer(3, lambda: "again") == ("done 3", False)
    assert once.answer(1, lambda: "long ago") == ("long ago", True)  # only the last two are kept
    assert len(once) == 2


@pytest.mark.parametrize(
    ("kind", "pressed"),
    [("compare", "write"), ("deeper", "ask"), ("rise", "draw"), ("bring", "again")],
)
def test_a_trial_that_another_window_took_away_is_said_to_be_gone(kind, pressed, tmp_path):
    ws = Workspace(tmp_path)
    shipped.load_demo(ws)
    panel = getattr(panels, kind)(ws)
    assert panel.gone.value == ""
    Workspace(tmp_path).undo()
    if kind == "bring":
        panel.path.value = "x.csv"
    getattr(panel, pressed).click()
    told = "<strong>Not yet:</strong> the trial harbour-malt was taken back or renamed elsewhere."
    assert told in panel.gone.value
    shipped.load_demo(ws)
    assert panel.chosen.name == "harbour-malt"
    assert panel.gone.value == ""


def test_a_trial_that_is_gone_leaves_a_sentence_in_the_log_and_no_traceback(tmp_path, monkeypatch):
    """As IPython itself shows the error, which ipywidgets hands to it."""
    ws = Workspace(tmp_path)
    ws.new_trial("malt", outcome="rise_height_mm")
    panel, shell, shown = panels.rise(ws), InteractiveShell(), []
    Workspace(tmp_path).remove_trial("malt")
    monkeypatch.setattr(shell, "_showtraceback", lambda kind, error, lines: shown.append(lines))
    try:
        panel.refresh()
    except NotFoundError:
        shell.showtraceback()
    assert shown == [["the trial malt was taken back or renamed elsewhere. Reload the page."]]


@pytest.mark.parametrize("kind", ["plan", "side_by_side"])
def test_what_opens_a_panel_has_the_name_it_is_called_by(kind):
    assert getattr(panels, kind).__name__ == kind


def test_a_full_disk_is_told_in_plain_words_and_a_fault_of_ours_is_let_out():
    said, asked = widgets.HTML(), Typed("Room")

    def raises(exc):
        def do():
            raise exc

        return do

    assert not tell(said, raises(OSError(28, "No space left on device")), meanwhile="Working …")
    assert "<strong>Not yet:</strong> the disk is full. Free some space" in said.value
    with pytest.raises(ZeroDivisionError):
        tell(said, raises(ZeroDivisionError()), meanwhile="Working …")
    assert "this should not happen" in said.value
    assert not tell(said, lambda: asked.read(raises_input), asked)
    assert said.value == ""  # it stands beside the field
    assert "must be a number" in asked.said.value
    assert tell(said, lambda: "<p>done</p>", asked)
    assert (said.value, asked.said.value) == ("<p>done</p>", "")


def raises_input(text):
    raise InputError("room", text, "must be a number")


def test_a_menu_offers_other_things_and_keeps_what_was_wanted():
    menu = pick("Dough")
    offer(menu, [("one", 1), ("two", 2)], None, 2)
    assert menu.value == 2
    offer(menu, [("one", 1), ("three", 3)], menu.value)
    assert menu.value == 1
    offer(menu, [], 1)
    assert menu.value is None
