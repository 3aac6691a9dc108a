"""What panels share: every control of a page has a name of its own, and messages count once."""

import json
import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import ipywidgets as widgets
import pytest

from kit import panels
from kit.panels.blocks import show
from kit.panels.entry import EntryTable
from kit.panels.once import Once
from kit.panels.slide import Slide
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
