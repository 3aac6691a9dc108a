"""A dough cut into pieces: so many, or so heavy, and what is over."""

import math
from dataclasses import dataclass

import pandas as pd

from kit.errors import InputError
from kit.formula.numbers import grams, required, whole
from kit.formula.rounding import round_down
from kit.shown import InLines

__all__ = ["Division", "divide"]

_GRAMS = "Enter a weight in grams."


@dataclass(frozen=True)
class Division(InLines):
    """A dough cut into equal pieces.

    Parameters
    ----------
    dough_g : float
        What there was.
    pieces : int
    raw_piece_g : float
        Weight of one, as the scale can show it.
    over_g : float
        What remains.
    """

    dough_g: float
    pieces: int
    raw_piece_g: float
    over_g: float

    def __str__(self) -> str:
        over = f" with {grams(self.over_g)} over" if self.over_g > 1e-9 else ", nothing over"
        pieces = "1 piece" if self.pieces == 1 else f"{self.pieces} pieces"
        return f"{grams(self.dough_g)} of dough gives {pieces} of {grams(self.raw_piece_g)}{over}."

    def to_frame(self) -> pd.DataFrame:
        """One row: dough_g, pieces, raw_piece_g, over_g."""
        return pd.DataFrame([vars(self)])


def divide(
    dough_g: float,
    *,
    pieces: int | None = None,
    raw_piece_g: float | None = None,
    scale_step_g: float = 1.0,
) -> Division:
    """Cut a dough into a number of pieces, or into pieces of a weight.

    Parameters
    ----------
    dough_g : float
        What is there.
    pieces : int
        How many are wanted; they come as heavy as the scale can show and the dough allows.
    raw_piece_g : float
        Or how heavy one is to be.
    scale_step_g : float
        Smallest step of the scale.

    Raises
    ------
    InputError
        Not exactly one of `pieces` and `raw_piece_g`; too little dough for one.

    Examples
    --------
    >>> print(divide(1051, pieces=12))
    1051 g of dough gives 12 pieces of 87 g with 7 g over.
    >>> print(divide(1051, raw_piece_g=76))
    1051 g of dough gives 13 pieces of 76 g with 63 g over.
    """
    dough = required("dough_g", dough_g, above=0, remedy=_GRAMS)
    if (pieces is None) == (raw_piece_g is None):
        raise InputError(
            "piece",
            None if pieces is None else (pieces, raw_piece_g),
            "must be given in exactly one way",
            "Give pieces, how many, or raw_piece_g, how heavy.",
        )
    if pieces is not None:
        count = whole("pieces", pieces, remedy="Write 1, 2, 3 …")
        each = round_down(dough / count, scale_step_g)
        if each <= 0:
            raise InputError(
                "pieces",
                count,
                f"{grams(dough)} of dough does not give so many",
                f"On this scale it gives at most {math.floor(dough / scale_step_g)}.",
            )
    else:
        each = required("raw_piece_g", raw_piece_g, above=0, remedy=_GRAMS)
        count = int(round_down(dough / each, 1.0))
        if count < 1:
            raise InputError(
                "raw_piece_g",
                each,
                f"must be at most {grams(dough)}, all the dough there is",
                "Make more dough, or smaller pieces.",
            )
    return Division(dough, count, each, max(0.0, round(dough - count * each, 9)))
