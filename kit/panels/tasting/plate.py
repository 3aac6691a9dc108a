"""The answer for one plate: codes to tick, or a field for each, by code alone."""

from typing import Any

import ipywidgets as widgets

from kit import words
from kit.errors import InputError, KitError
from kit.panels.parts.controls import LABELS
from kit.panels.parts.fields import Typed, beside

__all__ = ["CHOOSE", "Plate", "besides"]

#: kinds of tasting in which one code is ticked
CHOOSE = ("triangle", "duo-trio", "pair")
#: kind -> what a field is called before its code, and what it says while it is empty
_MARKED = {"ranking": ("Rank of", "1: put first"), "scores": ("Score of", "")}


class Plate(widgets.VBox):  # type: ignore[misc]
    """Fields for what lies on one plate, and words below them."""

    def show(self, on: Any, below: str) -> None:
        """Show a plate, filled with what is stored of it.

        Parameters
        ----------
        on : DataFrame
            Its rows of `Trial.tastings`.
        below : str
            As HTML.
        """
        method, codes = on["method"].iloc[0], on["code"].tolist()
        if method in CHOOSE:
            ticked = on.loc[on["mark"] == 1, "code"].tolist()
            fields = [
                widgets.ToggleButtons(
                    options=codes, value=ticked[0] if ticked else None,
                    description="Ticked", style={**LABELS, "button_width": "5rem"},
                )
            ]  # fmt: skip
        else:
            label, hint = _MARKED[method]
            fields = [
                Typed(f"{label} {code}", "" if mark != mark else f"{mark:g}", hint)
                for code, mark in zip(codes, on["mark"], strict=True)
            ]
        self.children = [*fields, widgets.HTML(below)]

    def say(self, below: str) -> None:
        """Show words alone, as HTML."""
        self.children = [widgets.HTML(below)]

    def given(self) -> Any:
        """Return the code that is ticked, or code -> what is typed.

        Raises
        ------
        InputError
            Nothing is.
        """
        typed = self._typed()
        for field in typed.values():
            field.said.value = ""
        given: Any = {code: field.value.strip() for code, field in typed.items()}
        if not typed:
            given = self.children[0].value
        if not given or not any(given.values() if typed else given):
            what = "Write a mark for each." if typed else "Tick a code."
            raise InputError("answer", "", "must not be empty", what)
        return given

    def said_beside(self, exc: KitError) -> bool:
        """Say what is wrong beside the field it was typed into; whether that could be done."""
        typed = self._typed()
        if isinstance(exc, InputError):
            beside(exc, {f"mark of {code}": field for code, field in typed.items()})
        return any(field.said.value for field in typed.values())

    def _typed(self) -> dict[str, Typed]:
        """Code -> its field."""
        fields = [field for field in self.children if isinstance(field, Typed)]
        return {field.text.description.split()[-1]: field for field in fields}


def besides(before: Any, after: Any) -> str:
    """Say what has no mark, and that another answer stood there, given the plate's rows of each."""
    empty = after.loc[after["mark"].isna(), "code"].tolist()
    told = f", {words.join(empty)} left empty" if empty else ""
    old, new = before["mark"].to_numpy(), after["mark"].to_numpy()
    if ((old == old) & (old != new)).any():  # one that was missing and came is none
        told += ". Another answer stood there; Undo brings it back"
    return told
