"""The panel that sets two batches side by side: what was different, before asking what it did."""

from html import escape

import ipywidgets as widgets
import pandas as pd

from kit import words
from kit.panels.parts.blocks import show, status
from kit.panels.parts.controls import Panel, pick
from kit.panels.parts.fields import tell
from kit.panels.parts.today import trial_to_answer
from kit.records import differing
from kit.records.things import Thing
from kit.workspace import Workspace
from kit.writeup.blocks import Table, Text

__all__ = ["SideBySidePanel"]

_KINDS = ("doughs", "bakes", "loads", "pieces")


class SideBySidePanel(Panel):
    """Picks two things of a trial and shows `Trial.differences` of them."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        names = [trial.name for trial in workspace.trials()]
        self.trial = pick("Of the trial", names, value=trial_to_answer(workspace))
        self.kind = pick("Two of its", _KINDS)
        self.one, self.other = pick("One"), pick("The other")
        self.shown = widgets.HTML()
        super().__init__(self.trial, self.kind, self.one, self.other, self.shown)
        self._there()
        for each in (self.trial, self.kind):
            each.observe(lambda _: self._there(), "value")
        for each in (self.one, self.other):
            each.observe(lambda _: self._show(), "value")

    def _asks(self) -> list[widgets.Widget]:
        return [self.trial, self.kind, self.one, self.other]

    def _there(self) -> None:
        """Offer what the trial holds, the last two that were measured picked."""
        trial = self.chosen
        things: list[Thing] = [] if trial is None else list(getattr(trial, self.kind.value)())
        measured = set() if trial is None else set(trial.baked()["bake"])
        done = [one for one in things if getattr(one, "bake", one).code in measured]
        last = (done if len(done) > 1 else things)[-2:]
        with self.hold_trait_notifications():
            for field, picked in ((self.one, last[:-1]), (self.other, last[-1:])):
                field.options = [(str(thing), thing) for thing in things]
                field.value = picked[0] if picked else None
        self._show()

    def _show(self) -> None:
        trial, one, other = self.chosen, self.one.value, self.other.value
        if trial is None or one is None or other is None:
            self.shown.value = "<p>There are no two of them yet.</p>"
            return
        if one == other:
            self.shown.value = f"<p>Both are {escape(str(one))}: pick another.</p>"
            return

        def differences() -> str:
            found = trial.differences(one, other)
            if found.empty:
                both = f"{words.capital(str(one))} and {other}"
                return status(f"{both} differ in nothing that was recorded.")
            return show([_table(found), Text(differing.CAUTION)])

        tell(self.shown, differences)


def _table(found: pd.DataFrame) -> Table:
    one, other = found.columns[2:4]
    head = ("", one, other, "Difference")
    rows = tuple(differing.rows(found))
    return Table(f"What {one} and {other} differ in", head, rows, (False, True, True, True))
