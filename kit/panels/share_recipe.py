"""The recipe of a trial as a page, at one dose that was baked or between two."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Self

import ipywidgets as widgets

from kit import quantities, words
from kit.errors import InputError, KitError
from kit.panels.parts.again import Name, fill_in, held
from kit.panels.parts.controls import button, visible
from kit.panels.parts.fields import Typed, beside_of, count, number, tell
from kit.panels.parts.style import link, trouble
from kit.workspace import Trial
from kit.writeup.recipe import changed_by, left_open

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
        self.write = button("Write the recipe", self._write, "file")
        self.written, self.none = widgets.HTML(), widgets.HTML()
        self._fields = (self.doses, self.pieces, self.piece, self.steps, self.write, self.written)
        #: what was typed, by the trial it was typed of; the trial that is shown
        self._typed: dict[str, dict[Name, Any]] = {}
        self._shown = ""
        self._blank = held(self._fields)
        super().__init__([self.none, *self._fields])

    def refresh(self) -> None:
        """Ask for the doses of the trial that is picked; what was typed of each stays its own."""
        if self._shown:
            self._typed[self._shown] = held(self._fields)
        trial = formula = None
        self.none.value = "<p>This trial has no formula.</p>"
        try:
            trial = self._trial()
            formula = trial and trial.formula()
        except KitError as exc:  # another window took the trial away
            self.none.value = trouble(str(exc))
        changed = changed_by(formula, trial.factors) if trial and formula else {}
        doses = {name: _dose(name, baked) for name, baked in changed.items()}
        for name in left_open(formula, trial.factors) if trial and formula else ():
            doses[name] = _left_open(name)
        self.doses.children = list(doses.values())
        self._names = list(doses)
        self._shown = trial.id if trial else ""
        fill_in(self._fields, self._blank | self._typed.get(self._shown, {}))
        self._unsay()
        visible(self.none, formula is None)
        for field in self._fields:
            visible(field, formula is not None)

    def take_over(self, before: Self) -> None:
        """Have what was typed of each trial in the panel before."""
        self._typed, self._shown = before._typed | {before._shown: held(before._fields)}, ""
        self.refresh()

    def _unsay(self) -> None:
        for field in (*self.doses.children, self.pieces, self.piece):
            field.said.value = ""
        self.written.value = ""

    def _write(self) -> None:
        doses = dict(zip(self._names, self.doses.children, strict=True))
        steps = [line.strip() for line in self.steps.value.splitlines() if line.strip()]
        settings = {name: field.value for name, field in doses.items()}

        def written() -> str:
            trial = self._trial()
            assert trial is not None
            path = (trial.workspace.folder or Path.cwd()) / trial.recipe_name(settings)
            pieces, weight_g = count(self.pieces), self.piece.read(_raw_piece_g)
            with beside_of(doses):
                made = trial.recipe(path, pieces, weight_g, settings, steps=steps)
            more = "grams and ounces, allergens, cautions, and what search engines read"
            return f'<p role="status">Written: {link(made)}, with {more}.</p>'

        tell(self.written, written, *doses.values(), self.pieces, self.piece)


def _dose(name: str, baked: Sequence[float]) -> Typed:
    shown = words.join([f"{one:g}" for one in baked])
    return Typed(_label(name), "", f"{shown} were baked")


def _left_open(name: str) -> Typed:
    return Typed(_label(name), "", "open in the formula: what you used")


def _label(name: str) -> str:
    known = quantities.find(name)
    unit = f" ({known.unit})" if known and known.unit else ""
    return f"{known.label}{unit}" if known else f"{words.capital(name)} (%)"


def _raw_piece_g(text: str) -> float:
    weight_g = number(text, "g", "raw piece")
    if not 1 <= weight_g <= 10_000:
        rule = "must lie between 1 g and 10 kg"
        raise InputError("raw piece", text, rule, "Write 76 g, or 2 3/4 oz.")
    return weight_g
