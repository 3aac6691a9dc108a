"""The bring-in panel: a spreadsheet as the kit understands it, corrected, then stored."""

from collections.abc import Callable
from html import escape
from pathlib import Path
from threading import Thread

import ipywidgets as widgets
import pandas as pd

from kit import quantities
from kit.errors import KitError, NotFoundError
from kit.panels.fields import LABELS, Typed
from kit.panels.keys import OwnKeys
from kit.panels.style import STYLE, trouble
from kit.panels.today import trial_at_work
from kit.records.sheets.look import Look
from kit.records.sheets.words import IGNORED, meanings
from kit.workspace import Trial, Workspace

__all__ = ["BringPanel"]

_LAYOUT = widgets.Layout(width="auto", max_width="34rem")
_BUTTON = widgets.Layout(width="auto", min_width="11rem", max_width="20rem")
_AS_SHOWN = "as the cells show"
_ROWS = 8


class BringPanel(widgets.VBox):  # type: ignore[misc]
    """Looks at a table, asks what is doubtful, stores the good rows; the others come later.

    Files are taken from the workspace's folder, or from wherever the path that is typed says:
    nothing goes through the browser.

    Parameters
    ----------
    workspace : Workspace

    Attributes
    ----------
    look : Look or None
        The table as it is understood now.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.look: Look | None = None
        self._filling = False
        names = [t.name for t in workspace.trials()]
        self.trial = widgets.Dropdown(
            description="Into trial", options=names, value=trial_at_work(workspace),
            style=LABELS, layout=_LAYOUT,
        )  # fmt: skip
        self.file = widgets.Dropdown(description="Table", style=LABELS, layout=_LAYOUT)
        self.path = Typed("or its path", hint="/home/…/bakes.xlsx")
        self.sheet = Typed("Sheet", hint="the first, when empty")
        self.again = widgets.Button(description="Look at it", layout=_BUTTON)
        self.dates = widgets.Dropdown(
            description="Days are", options=[_AS_SHOWN, "day/month", "month/day"],
            style=LABELS, layout=_LAYOUT,
        )  # fmt: skip
        self.decimal = widgets.Dropdown(
            description="Decimals have", options=[_AS_SHOWN, "comma", "point"],
            style=LABELS, layout=_LAYOUT,
        )  # fmt: skip
        self.columns = widgets.VBox()
        self.said, self.shown, self.stored = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.store = widgets.Button(description="Store the good rows", layout=_BUTTON)
        self.stop = widgets.Button(description="Stop", layout=_BUTTON, disabled=True)
        self.progress = widgets.IntProgress(description="Rows stored", style=LABELS)
        self._stopped = False
        self.working: Thread | None = None
        self.corrections = widgets.VBox([self.dates, self.decimal, self.columns])
        super().__init__(
            [
                OwnKeys(), widgets.HTML(STYLE), self.trial, self.file, self.path, self.sheet,
                self.again, self.said, self.corrections, self.shown,
                widgets.HBox(
                    [self.store, self.stop], layout=widgets.Layout(flex_flow="row wrap")
                ), self.progress, self.stored,
            ]
        )  # fmt: skip
        self.add_class("kit-panel")
        self.file.options = self._files()
        self.again.on_click(lambda _: self._look())
        self.store.on_click(lambda _: self._store())
        self.stop.on_click(lambda _: self._halt())
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
        if self.trial.value is None:
            raise NotFoundError("trial", "", [])
        return self.workspace.trial(self.trial.value)

    def _look(self) -> None:
        """Read the file and show what its columns seem to mean."""
        source = self.path.value.strip() or self.file.value
        self.look, self.stored.value = None, ""
        try:
            if not source:
                raise NotFoundError("table", "", [name for name, path in self.file.options if path])
            self.look = self.chosen.look_at(Path(source).expanduser(), self.sheet.value or None)
            self.said.value = ""
        except KitError as exc:
            self.said.value = trouble(str(exc))
        self._filling = True
        self.dates.value = self.decimal.value = _AS_SHOWN
        self._filling = False
        self._show()

    def _correct(self, change: "Callable[[Look], Look]") -> None:
        """Understand the table otherwise."""
        if self._filling or self.look is None:
            return
        try:
            self.look = change(self.look)
            self.said.value = ""
        except KitError as exc:
            self.said.value = trouble(str(exc))
        self._show()

    def _dated(self, look: Look) -> Look:
        return look if self.dates.value == _AS_SHOWN else look.with_dates(self.dates.value)

    def _marked(self, look: Look) -> Look:
        return look if self.decimal.value == _AS_SHOWN else look.with_decimal(self.decimal.value)

    def _show(self) -> None:
        """One line a column, then the questions, the problems and the first rows."""
        look = self.look
        self.corrections.layout.display = None if look else "none"
        self.store.disabled = look is None
        self.progress.layout.display = "none"
        self.columns.children = [] if look is None else self._lines(look)
        if look is None:
            self.shown.value = ""
            return
        bad, rows = look.problems, len(look.sheet.rows)
        left = bad["row"].nunique()
        told = f"{rows} rows, {left} with something that cannot be used."
        asked = "".join(f"<li>{escape(check)}</li>" for check in look.checks)
        self.shown.value = (
            f'<div class="kit-answer"><p role="status"><strong>{told}</strong></p>'
            + (f'<div class="kit-banner"><ul>{asked}</ul></div>' if asked else "")
            + _table(bad, "What cannot be used", 20)
            + _table(look.to_frame(), "What would be stored: the first rows", _ROWS)
            + "</div>"
        )

    def _lines(self, look: Look) -> list[widgets.Widget]:
        named = [(_label(name), name) for name in meanings()]
        lines = []
        for column, cells in zip(look.columns, look.table.columns, strict=True):
            means = widgets.Dropdown(
                description=column.heading[:40], options=named, value=column.meaning,
                style=LABELS, layout=widgets.Layout(width="26rem", max_width="100%"),
            )  # fmt: skip
            unit = widgets.Text(
                value=column.unit, description="in", placeholder="its own unit",
                continuous_update=False, style={"description_width": "1.5rem"},
                layout=widgets.Layout(width="9rem"),
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
            lines.append(
                widgets.HBox([means, unit, example], layout=widgets.Layout(flex_flow="row wrap"))
            )
        return lines

    def _store(self) -> None:
        """Store the good rows, telling how far it is."""
        if self.look is None:
            return
        self._stopped, self.stop.disabled, self.store.disabled = False, False, True
        self.progress.layout.display, self.progress.value = None, 0
        # beside the notebook's own thread, which must stay free to hear Stop
        self.working = Thread(target=self._bring_in, args=(self.look, self.chosen))
        self.working.start()

    def _bring_in(self, look: Look, trial: Trial) -> None:
        def progress(done: int, of: int) -> None:
            self.progress.max, self.progress.value = max(of, 1), done

        try:
            told = trial.bring_in(look, progress, lambda: self._stopped)
            self.stored.value = f'<div role="status">{told._repr_html_()}</div>'
        except KitError as exc:
            self.stored.value = trouble(str(exc))
        finally:
            self.stop.disabled, self.store.disabled = True, False

    def _halt(self) -> None:
        self._stopped = True


def _label(name: str) -> str:
    if name == IGNORED:
        return "leave it out"
    known = {q.name for q in quantities.all_quantities()}
    return quantities.label(name) if name in known else name.replace("_", " ")


def _table(frame: pd.DataFrame, caption: str, most: int) -> str:
    if frame.empty:
        return ""
    head = "".join(f'<th scope="col">{escape(str(name))}</th>' for name in frame.columns)
    rows = "".join(
        "<tr>" + "".join(f"<td>{_cell(cell)}</td>" for cell in row) + "</tr>"
        for row in frame.head(most).itertuples(index=False, name=None)
    )
    more = f"<p>… and {len(frame) - most} more rows.</p>" if len(frame) > most else ""
    return (
        f'<div class="kit-scroll" role="region" aria-label="{escape(caption)}" tabindex="0"><table>'
        f"<caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>{more}"
    )


def _cell(value: object) -> str:
    if value is None or value is pd.NaT or value != value:
        return ""
    return escape(f"{value:g}" if isinstance(value, float) else str(value)[:80])
