"""A balanced plan as numbers: units, degrees of freedom, standard error."""

import math
from dataclasses import dataclass
from typing import Literal

from kit.errors import DesignError, InputError
from kit.given import as_number
from kit.plan.spread import Spread

__all__ = ["Numbers", "between", "numbers_of"]


Inside = Literal["dough", "shaping", "piece"]


@dataclass(frozen=True)
class Numbers:
    """A balanced plan as numbers."""

    settings: int
    bakes: int | None
    doughs: int
    pieces: int
    unit: Inside
    each: float
    df: int

    def variance(self, spread: Spread) -> float:
        """Of one unit: a dough's mean, or within its dough a piece, or a shaping's mean."""
        own = spread.piece**2
        if self.unit == "shaping":
            return (spread.shaping or 0.0) ** 2 + own * max(self.settings / self.pieces, 1.0)
        return own if self.unit == "piece" else spread.dough**2 + own / self.pieces

    def se(self, spread: Spread) -> float:
        """Standard error of the difference between two settings."""
        return math.sqrt(2 * self.variance(spread) / self.each)


def numbers_of(settings: int, bakes: int | None, doughs: int, pieces: int, unit: Inside) -> Numbers:
    """Count units and degrees of freedom, or refuse where none are left."""
    if unit == "dough":
        each = float(doughs * (bakes or 1))
        df = settings * doughs * (bakes or 1) - (bakes or 1) - (settings - 1)
        total = settings * doughs * (bakes or 1)
    else:
        total = doughs * (bakes or 1)
        inside = pieces if unit == "piece" else min(settings, pieces)
        each = total * inside / settings
        df = total * inside - total - (settings - 1)
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
