"""A balanced plan as numbers: units, degrees of freedom, standard error."""

import math
from dataclasses import dataclass
from typing import Literal

from kit.errors import DesignError, InputError
from kit.given import as_number
from kit.plan.spread import Spread

__all__ = ["Numbers", "between", "numbers_of"]


@dataclass(frozen=True)
class Numbers:
    """A balanced plan as numbers."""

    settings: int
    bakes: int | None
    doughs: int
    pieces: int
    unit: Literal["dough", "piece"]
    each: float
    df: int

    def variance(self, spread: Spread) -> float:
        """Of one unit: a dough's mean, or a piece within its dough."""
        own = spread.piece**2
        return own if self.unit == "piece" else spread.dough**2 + own / self.pieces

    def se(self, spread: Spread) -> float:
        """Standard error of the difference between two settings."""
        return math.sqrt(2 * self.variance(spread) / self.each)


def numbers_of(
    settings: int, bakes: int | None, doughs: int, pieces: int, unit: Literal["dough", "piece"]
) -> Numbers:
    """Count units and degrees of freedom, or refuse where none are left."""
    if unit == "dough":
        each = float(doughs * (bakes or 1))
        df = settings * doughs * (bakes or 1) - (bakes or 1) - (settings - 1)
        total = settings * doughs * (bakes or 1)
    else:
        total = doughs * (bakes or 1)
        each = total * pieces / settings
        df = total * pieces - total - (settings - 1)
    if df < 1:
        what = "dough" if unit == "dough" else "piece"
        remedy = (
            "mix each setting at least twice"
            if unit == "dough" and bakes is None
            else "bake on at least two bakes"
            if unit == "dough"
            else "more pieces a dough, or more doughs"
        )
        msg = (
            f"{total} doughs for {settings} settings leave nothing over to judge the {what}-to-"
            f"{what} spread by (0 degrees of freedom): {remedy}."
        )
        raise DesignError(msg)
    return Numbers(settings, bakes, total, pieces, unit, each, df)


def between(name: str, value: float) -> None:
    """Refuse a share that is none."""
    number = as_number(value)
    if number is None or not 0 < number < 1:
        raise InputError(name, value, "must lie between 0 and 1")
