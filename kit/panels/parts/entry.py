"""A table to type readings into: every value is stored as it is left, and says so.

The fields are plain text that Python reads, so "61,4", "1 1/2 in" and an empty field mean what
they say. Each message from the browser has a number and is answered; what is not answered is
shown as not saved and kept by the browser. The browser's part is ``entry.js``.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from kit.errors import InputError, KitError, StoreError
from kit.panels.parts.once import Once
from kit.panels.parts.scripts import script

__all__ = ["Answer", "Cell", "EntryTable", "Heading"]


@dataclass(frozen=True)
class Heading:
    """A row or column of the table.

    Parameters
    ----------
    key : str
        Its name in messages, without spaces; unlike any other row's or column's.
    text : str
        Shown.
    more : str
        Shown smaller: a column's unit, where a piece lies.
    group : str
        Rows of one group stand together.
    tip : str
        What it means.
    """

    key: str
    text: str
    more: str = ""
    group: str = ""
    tip: str = ""


@dataclass(frozen=True)
class Cell:
    """One field.

    Parameters
    ----------
    label : str
        What a screen reader says: "Height mm, piece 1A3".
    text : str
        What the records hold; empty when missing.
    beside : str
        Shown beside it: what was planned.
    words : bool
        The field takes words rather than numbers.
    given : bool
        The text may be a plan's: it counts as saved only when it was typed here.
    """

    label: str
    text: str = ""
    beside: str = ""
    words: bool = False
    given: bool = False


@dataclass(frozen=True)
class Answer:
    """What became of a text that was typed.

    Parameters
    ----------
    state : str
        ``"saved"``; ``"asked"``: not saved until it is said to be right; ``"refused"``.
    text : str
        What the field shows from now on, when saved.
    says : str
        The question, the reason, or how it was read.
    held : str, optional
        What the records hold, where that is another than the field had.
    """

    state: str
    text: str
    says: str = ""
    held: str | None = None


#: takes row, column, the text as typed, and whether an unusual value was said to be right
Save = Callable[[str, str, str, bool], Answer]


class EntryTable(anywidget.AnyWidget):
    """Rows and columns of text fields.

    Parameters
    ----------
    columns, rows : sequence of Heading
    save : callable
        Stores one text; see `Save`. An `InputError` or other `KitError` it raises is shown beside
        the field and what was typed stays; after a `StoreError` it is tried again.
    cells : mapping, optional
        (row, column) -> `Cell`; empty fields named after row and column where not given.
    title, corner : str
        Name of the table, and what its rows are.
    kept_as : str
        Name under which the browser keeps what is not saved: workspace, trial, bake and table,
        with ``|`` between them.
    place : str
        Where that is, in words.
    elsewhere : str
        When given, this table also tells of texts that were kept under names beginning so.
    fills : bool
        Whether a value can be put into the fields below it: not where rows are different things.

    Attributes
    ----------
    after : callable
        Called with the (row, column) of texts that were stored.
    together : callable
        Given how many texts came at once, a context to store them in.
    seek : callable
        Called with the columns that unsaved texts belong to and that are not shown.
    """

    _esm = script(__file__, "sent")
    _css = Path(__file__).with_name("entry.css")
    sheet = traitlets.Dict().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    corner = traitlets.Unicode().tag(sync=True)
    kept_as = traitlets.Unicode().tag(sync=True)
    place = traitlets.Unicode().tag(sync=True)
    elsewhere = traitlets.Unicode().tag(sync=True)
    fills = traitlets.Bool(True).tag(sync=True)

    def __init__(
        self, columns: Sequence[Heading], rows: Sequence[Heading], save: Save,
        cells: Mapping[tuple[str, str], Cell] | None = None, **names: Any,
    ) -> None:  # fmt: skip
        super().__init__(**names)
        self._save = save
        self._once: Once[list[dict[str, Any]]] = Once(500)
        self.after: Callable[[list[tuple[str, str]]], None] = lambda _: None
        self.seek: Callable[[list[str]], None] = lambda _: None
        self.together: Callable[[int], AbstractContextManager[None]] = lambda _: nullcontext()
        self.show(columns, rows, cells)
        self.on_msg(self._heard)

    def show(
        self, columns: Sequence[Heading], rows: Sequence[Heading],
        cells: Mapping[tuple[str, str], Cell] | None = None,
    ) -> None:  # fmt: skip
        """Show other rows, columns or values; what is typed and not saved stays in its field."""
        given = cells or {}
        self.sheet = {
            "columns": [asdict(column) for column in columns],
            "rows": [asdict(row) for row in rows],
            "cells": {
                f"{row.key} {column.key}": asdict(
                    given.get((row.key, column.key)) or Cell(_label(column, row))
                )
                for row in rows
                for column in columns
            },
        }

    def text(self, row: str, column: str) -> str:
        """Return what the records hold, as the field shows it."""
        return str(self.sheet["cells"][f"{row} {column}"]["text"])

    def _heard(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        """Take a message from the browser; each one that writes is answered."""
        if content.get("kind") == "seek":
            self.seek([str(column) for column in content["columns"]])
        if content.get("kind") != "write":
            return
        number = (str(content["client"]), int(content["seq"]))
        answers, new = self._once.answer(number, lambda: self._store(content["cells"]))
        self.send({"kind": "answer", "client": number[0], "seq": number[1], "cells": answers})
        if new:
            self._remember(answers)
            stored = [answer["key"] for answer in answers if answer["state"] == "saved"]
            self.after([(key.split()[0], key.split()[1]) for key in stored])

    def _store(self, cells: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
        with self.together(len(cells)):
            return [
                {**asdict(self._one(**cell)), "typed": cell["text"],
                 "key": f"{cell['row']} {cell['column']}"}
                for cell in cells
            ]  # fmt: skip

    def _one(
        self, row: str, column: str, text: str, base: str | None = None, sure: bool = False
    ) -> Answer:
        now = self.sheet["cells"].get(f"{row} {column}")
        if now is None:
            return Answer("refused", text, "This field is no longer in the table.")
        if base is not None and now["text"] not in (base, text, text.replace(",", ".")):
            held = f"{now['text']} was saved" if now["text"] else "the value was taken out"
            return Answer("differs", text, f"Since you typed this, {held}.")
        try:
            return self._save(row, column, text, sure)
        except StoreError as exc:
            return Answer("failed", text, str(exc))
        except InputError as exc:
            return Answer("refused", text, _reason(text, exc))
        except KitError as exc:
            return Answer("refused", text, str(exc))

    def _remember(self, answers: Sequence[Mapping[str, str]]) -> None:
        """Hold what was stored, for a page that is opened anew."""
        cells = dict(self.sheet["cells"])
        for answer in answers:
            if answer["state"] == "saved" and answer["key"] in cells:
                cells[answer["key"]] = {**cells[answer["key"]], "text": answer["text"]}
        self.sheet = {**self.sheet, "cells": cells}


def _label(column: Heading, row: Heading) -> str:
    return f"{' '.join(filter(None, (column.text, column.more)))}, {row.text}"


def _reason(text: str, exc: InputError) -> str:
    """What is wrong, without the field's name: the words stand beside it."""
    shown = text if len(text) <= 40 else text[:39] + "…"
    return f"“{shown}” {exc.rule}. {exc.remedy}".strip()
