"""The recipe of a trial as a page, at one dose that was baked or between two."""

from collections.abc import Callable, Sequence
from pathlib import Path

import ipywidgets as widgets

from kit import quantities
from kit.analysis import words
from kit.errors import InputError, KitError
from kit.panels.controls import button, visible
from kit.panels.fields import Typed, beside, count
from kit.panels.style import link, trouble
from kit.records.aside import file_name
from kit.workspace import Trial
from kit.writeup.recipe import changed_by

__all__ = ["RecipeBlock"]


class RecipeBlock(widgets.VBox):  # type: ignore[misc]
    """Asks how many pieces, at which dose and how it is done; writes `Trial.recipe`.

    Parameters
    ----------
    trial : callable
        Returns the trial that is picked, None where there is none.
    """

    def __init__(self, trial: Callable[[], Trial | None]) -> None:
        self._trial = trial
        self.doses = widgets.VBox()
        self.pieces = Typed("Makes (pieces)", "6")
        self.piece = Typed("Raw piece", "76 g", "76 g, or 2 3/4 oz")
        self.steps = Typed("Steps", "", "one a line; may stay empty", rows=4)
        self.write = button("Write the recipe", self._write, "file", width="16rem")
        self.written = widgets.HTML()
        self.none = widgets.HTML("<p>This trial has no formula.</p>")
        self._fields = (self.doses, self.pieces, self.piece, self.steps, self.write, self.written)
        super().__init__([self.none, *self._fields])

    def refresh(self) -> None:
        """Ask for the doses of the trial that is picked."""
        trial = self._trial()
        formula = trial and trial.formula()
        changed = changed_by(formula, trial.factors) if trial and formula else {}
        self.doses.children = [_dose(name, baked) for name, baked in changed.items()]
        self._names = list(changed)
        self.written.value = ""
        visible(self.none, formula is None)
        for field in self._fields:
            visible(field, formula is not None)

    def _write(self) -> None:
        """Write the page into the workspace's folder."""
        trial = self._trial()
        assert trial is not None
        doses = dict(zip(self._names, self.doses.children, strict=True))
        asked = doses | {"raw_piece_g": self.piece}
        for field in asked.values():
            field.said.value = ""
        self.written.value = ""
        path = (trial.workspace.folder or Path.cwd()) / f"{file_name(trial.name)}-recipe.html"
        steps = [line.strip() for line in self.steps.value.splitlines() if line.strip()]
        settings = {name: field.value for name, field in doses.items()}
        try:
            made = trial.recipe(path, count(self.pieces), self.piece.value, settings, steps=steps)
        except KitError as exc:
            if isinstance(exc, InputError):
                beside(exc, asked)
            if not any(field.said.value for field in (*asked.values(), self.pieces)):
                self.written.value = trouble(str(exc))
            return
        more = "grams and ounces, allergens, cautions, and what search engines read"
        self.written.value = f'<p role="status">Written: {link(made)}, with {more}.</p>'


def _dose(name: str, baked: Sequence[float]) -> Typed:
    known = quantities.get(name)
    unit = f" ({known.unit})" if known.unit else ""
    shown = words.join([f"{one:g}" for one in baked])
    return Typed(f"{known.label}{unit}", "", f"{shown} were baked")
