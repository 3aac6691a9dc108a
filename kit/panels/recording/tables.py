"""The tables of the record panel: one for the bake, its doughs, its loads and its pieces."""

import hashlib
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from functools import partial
from typing import Any

import ipywidgets as widgets

from kit.panels.parts.controls import pick, section
from kit.panels.parts.entry import EntryTable
from kit.panels.parts.fields import tell
from kit.panels.recording.cells import LevelSheet
from kit.workspace import Bake, Trial

__all__ = ["LevelTable", "workspace_key"]

_TITLES = {
    "bake": "The whole bake", "dough": "Each dough", "load": "Each load of the griddle",
    "piece": "Each piece",
}  # fmt: skip
_ORDERS = [
    ("the doughs", "dough"), ("the griddle, as on the bench sheet", "griddle"),
    ("the codes, without the settings", "code"),
]  # fmt: skip
_ADD = ("choose what …", "")


class LevelTable(widgets.VBox):  # type: ignore[misc]
    """One table of the bake that is shown, and a menu that adds a column to it.

    Parameters
    ----------
    level : str
        One of `kit.quantities.LEVELS`.
    after : callable
        Called when something was stored.
    together : callable
        `Workspace.together`.

    Attributes
    ----------
    entry : EntryTable or None
        None while there is nothing of the level.
    sheet : LevelSheet or None
        What it shows.
    """

    def __init__(
        self, level: str, after: Callable[[], None],
        together: Callable[[str], AbstractContextManager[None]],
    ) -> None:  # fmt: skip
        self.level, self._after, self._together = level, after, together
        self.entry: EntryTable | None = None
        self.sheet: LevelSheet | None = None
        self._head = section(_TITLES[level])
        # four of these stand on one page: a label alike would not tell which
        each = "the" if level == "bake" else "each"
        self.more = pick(f"Also of {each} {level}", [_ADD])
        self.more.observe(self._add, "value")
        self.order = pick("In the order of", _ORDERS)
        self.said = widgets.HTML()
        self.order.observe(lambda _: tell(self.said, self._reorder), "value")
        super().__init__([])

    def show(self, trial: Trial, bake: Bake, workspace: str) -> None:
        """Show a bake's values as the records have them now.

        Parameters
        ----------
        trial : Trial
        bake : Bake
        workspace : str
            From `workspace_key`.
        """
        kept_as = f"{workspace}|{trial.id}|{bake.id}|{self.level}"
        same = self.entry is not None and self.entry.kept_as == kept_as
        if not same:
            # each table keeps the sheet it was made for: what is on its way when another bake is
            # chosen still goes where it was typed
            self.entry, self.sheet = None, LevelSheet(trial, bake, self.level)
        assert self.sheet is not None
        self.sheet.order = self.order.value
        if not self.sheet.things():
            self.hide()
            return
        filled = self.sheet.filled()
        if self.entry is not None:
            self.entry.show(*filled)
        else:
            columns, rows, cells = filled
            self.entry = EntryTable(
                columns, rows, self.sheet.store, cells, title=_TITLES[self.level],
                corner="" if self.level == "bake" else self.level.capitalize(), kept_as=kept_as,
                place=f"{trial.name}, {bake}", elsewhere=workspace if self.level == "bake" else "",
                fills=self.level != "bake",
            )  # fmt: skip
            self.entry.after, self.entry.seek = self._stored, self.seek
            self.entry.together = partial(self._at_once, trial.name)
            order = [self.order] if self.level == "piece" else []
            self.children = [self._head, *order, self.entry, self.more, self.said]
        self._offer()

    def _at_once(self, trial: str, count: int) -> AbstractContextManager[None]:
        """A pasted block is undone at once; a single value keeps its own words."""
        return self._together(f"{trial}: {count} values filled in") if count > 1 else nullcontext()

    def _reorder(self) -> None:
        if self.sheet is not None:
            self.sheet.order = self.order.value
            self.add()
            self._after()  # what was done last is told by codes, too, or by names again

    def hide(self) -> None:
        """Show nothing."""
        self.entry, self.sheet, self.children = None, None, []

    def add(self, *names: str) -> None:
        """Show more columns, and all of them as the records have them now."""
        assert self.entry is not None
        assert self.sheet is not None
        self.sheet.added += names
        self.entry.show(*self.sheet.filled())
        self._offer()

    def _offer(self) -> None:
        assert self.sheet is not None
        self.more.unobserve(self._add, "value")
        self.more.options = [_ADD, *sorted((q.axis, q.name) for q in self.sheet.others())]
        self.more.value = ""
        self.more.observe(self._add, "value")

    def _add(self, change: Any) -> None:
        if change["new"]:
            tell(self.said, lambda: self.add(change["new"]))

    def seek(self, names: list[str]) -> None:
        """Show columns that are wanted again, such as those the browser holds unsaved texts of."""
        others = [q.name for q in self.sheet.others()] if self.sheet else []
        if hidden := [name for name in names if name in others]:
            self.add(*hidden)

    def _stored(self, fields: list[tuple[str, str]]) -> None:
        # where a piece lies stands beside its code
        moved = self.level == "piece" and {"load", "place"} & {column for _, column in fields}
        if moved and self.entry is not None and self.sheet is not None:
            self.entry.show(*self.sheet.filled())
        self._after()


def workspace_key(name: str) -> str:
    """Return a short name of a workspace for the browser, the same whenever it is opened."""
    return hashlib.sha256(name.encode()).hexdigest()[:12]
