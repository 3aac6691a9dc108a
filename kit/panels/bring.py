"""The bring-in panel: a spreadsheet as the kit understands it, corrected, then stored."""

from collections.abc import Callable
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Self

import ipywidgets as widgets
import pandas as pd

from kit import quantities
from kit.errors import NotFoundError
from kit.panels.parts.blocks import items, show
from kit.panels.parts.controls import Panel, button, pick, row, visible
from kit.panels.parts.fields import Typed, tell
from kit.panels.parts.today import trial_at_work
from kit.panels.recording.at_work import AtWork, Progress
from kit.records.sheets.look import Look
from kit.records.sheets.words import IGNORED, meanings
from kit.workspace import Trial, Workspace
from kit.writeup.tables import table

__all__ = ["BringPanel"]

_AS_SHOWN = "as the cells show"
#: rows of what would be stored; problems, and what is unusual
_ROWS, _DOUBTS = 8, 20
#: a cell of more letters is cut; a remedy never is
_LETTERS = 80


class BringPanel(Panel):
    """Looks at a table, asks what is doubtful, stores the good rows; the others come later.

    Files are taken from the workspace's folder, or from wherever the path that is typed says:
    nothing goes through the browser.

    Attributes
    ----------
    look : Look or None
        The table as it is understood now.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.look: Look | None = None
        names = [t.name for t in workspace.trials()]
        self.trial = pick("Into trial", names, value=trial_at_work(workspace))
        self.file = pick("Table", self._files())
        self.path = Typed("or its path", hint="/home/…/bakes.xlsx")
        self.sheet = Typed("Sheet", hint="the first, when empty")
        self.again = button("Look at it", self._look)
        self.dates = pick("Days are", [_AS_SHOWN, "day/month", "month/day"])
        self.decimal = pick("Decimals have", [_AS_SHOWN, "comma", "point"])
        self.columns = widgets.VBox()
        self.said, self.shown = widgets.HTML(), widgets.HTML()
        self.store = button("Store the good rows", self._store)
        self.work = AtWork("Rows stored", "Nothing is being stored.")
        self.corrections = widgets.VBox([self.dates, self.decimal, self.columns])
        super().__init__(
            self.trial, self.file, self.path, self.sheet, self.again, self.said, self.corrections,
            self.shown, row(self.store, self.work.stop), self.work,
        )  # fmt: skip
        self.dates.observe(lambda _: self._correct(self._dated), "value")
        self.decimal.observe(lambda _: self._correct(self._marked), "value")
        self._show()

    def _files(self) -> list[tuple[str, str]]:
        """Tables in the workspace's folder, newest first."""
        folder = self.workspace.folder
        found = [] if folder is None else [
            path for path in folder.iterdir() if path.suffix.lower() in (".csv", ".tsv", ".xlsx")
        ]  # fmt: skip
        found.sort(key=lambda path: -path.stat().st_mtime)
        return [("choose …", ""), *((path.name, str(path)) for path in found)]

    @property
    def chosen(self) -> Trial:
        """The trial the table goes into."""
        trial: Trial | None = super().chosen
        if trial is None:
            raise NotFoundError("trial", "", [])
        return trial

    def _asks(self) -> list[widgets.Widget]:
        return [self.trial, self.file, self.path, self.sheet]

    def _relieve(self, before: Self) -> None:
        self.work.take_over(before.work)

    def _come_back(self, before: Self) -> None:
        """A table that was looked at is still understood as it was corrected.

        Where its trial or its file is not offered any more, it would be said of another one.
        """
        super()._come_back(before)
        if (self.trial.value, self._source()) != (before.trial.value, before._source()):
            return
        self.look = before.look
        with self.filling():
            self.dates.value, self.decimal.value = before.dates.value, before.decimal.value
        self._show()

    def _source(self) -> str:
        return self.path.value.strip() or str(self.file.value)

    def _look(self) -> None:
        source = self._source()
        self.look, self.work.said.value = None, ""

        def looked() -> None:
            if not source:
                raise NotFoundError("table", "", [name for name, path in self.file.options if path])
            self.look = self.chosen.look_at(Path(source).expanduser(), self.sheet.value or None)

        tell(self.said, looked)
        with self.filling():
            self.dates.value = self.decimal.value = _AS_SHOWN
        self._show()

    def _correct(self, change: "Callable[[Look], Look]") -> None:
        look = self.look
        if self._filling or look is None:
            return
        tell(self.said, lambda: setattr(self, "look", change(look)))
        self._show()

    def _dated(self, look: Look) -> Look:
        return look if self.dates.value == _AS_SHOWN else look.with_dates(self.dates.value)

    def _marked(self, look: Look) -> Look:
        return look if self.decimal.value == _AS_SHOWN else look.with_decimal(self.decimal.value)

    def _show(self) -> None:
        """One line a column, then the questions, the problems and the first rows."""
        look = self.look
        visible(self.corrections, look)
        self.store.disabled = look is None
        self.columns.children = [] if look is None else self._lines(look)
        if look is None:
            self.shown.value = ""
            return
        bad, rows = look.problems, len(set(look.sheet.rows))
        left = bad["row"].nunique()
        told = f"{rows} rows, {left} with something that cannot be used."
        asked, unusual = items(look.checks), look.sheet.unusual
        doubts = items([*unusual[:_DOUBTS], *_more(len(unusual) - _DOUBTS, "to look at")])
        self.shown.value = (
            f'<div class="kit-answer"><p role="status"><strong>{told}</strong></p>'
            + (f'<div class="kit-banner">{asked}</div>' if asked else "")
            + _table(bad.astype({"value": object}), "What cannot be used", _DOUBTS)
            + (f"<p><strong>Look again:</strong></p>{doubts}" if doubts else "")
            + _table(look.to_frame(), "What would be stored: the first rows", _ROWS)
            + "</div>"
        )

    def _lines(self, look: Look) -> list[widgets.Widget]:
        named = [(_label(name), name) for name in meanings()]
        lines = []
        for column, cells in zip(look.columns, look.table.columns, strict=True):
            means = pick(
                column.heading[:40], named, value=column.meaning,
                layout=widgets.Layout(width="26rem", max_width="100%"),
            )  # fmt: skip
            unit = widgets.Text(
                value=column.unit, description=f"{column.heading[:40]} in",
                placeholder="its own unit", continuous_update=False,
                style={"description_width": "initial"},
                layout=widgets.Layout(width="auto", max_width="100%"),
            )  # fmt: skip
            some = ", ".join(str(cell) for cell in cells[:3] if cell is not None)
            example = widgets.HTML(f'<span class="kit-small">{escape(some[:60])}</span>')
            means.observe(
                lambda change, h=column.heading: self._correct(
                    lambda look: look.with_column(h, change["new"])
                ),
                "value",
            )
            unit.observe(
                lambda change, h=column.heading: self._correct(
                    lambda look: look.with_column(h, unit=change["new"].strip())
                ),
                "value",
            )
            lines.append(row(means, unit, example, gap="0"))
        return lines

    def _store(self) -> None:
        if self.look is None or self.work.busy:
            return
        look, trial = self.look, self.chosen

        def job(progress: Progress, stopped: Callable[[], bool]) -> str:
            told = trial.bring_in(look, lambda done, of: progress(done, of, ""), stopped)
            return f'<div role="status">{told._repr_html_()}</div>'

        self.work.begin(job)


def _label(name: str) -> str:
    if name == IGNORED:
        return "leave it out"
    known = {q.name for q in quantities.all_quantities()}
    return quantities.label(name) if name in known else name.replace("_", " ")


def _table(frame: pd.DataFrame, caption: str, most: int) -> str:
    if frame.empty:
        return ""
    more = "".join(f"<p>{told}</p>" for told in _more(len(frame) - most, "rows"))
    told = table(frame.head(most), caption, missing="")
    rows = tuple(tuple(map(_short, told.head, row)) for row in told.rows)
    return show([replace(told, rows=rows)]) + more


def _more(count: int, what: str) -> list[str]:
    return [f"… and {count} more {what}."] if count > 0 else []


def _short(head: str, cell: str) -> str:
    return cell if head == "remedy" or len(cell) <= _LETTERS else f"{cell[: _LETTERS - 1]}…"
