"""Diastatic malt: how strong, how much of another, and whether the flour holds some already.

Sources: °WK = 3.5 °L − 16 (degree Lintner and Windisch–Kolbach unit, encyclopedia citing JECFA).
Liquefaction number LN = 6000 / (FN − 50), FN the falling number in seconds; LN of a blend is the
mean by mass, FN is not (seed-agronomy note citing USDA FGIS). Bands of the falling number: bakers'
dictionary, Baking Business.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from kit.errors import InputError
from kit.formula.numbers import plain, required
from kit.shown import InLines

__all__ = [
    "FlourReading", "blend_falling_number", "equal_dose", "falling_number", "flour_malted",
    "lintner_from_wk", "liquefaction_number", "wk_from_lintner",
]  # fmt: skip

#: s, the least there can be: 60 s of stirring are counted (bakers' dictionary)
LEAST_FN_S = 60.0
_MOST_FN_S = 2000.0
_FN = (
    "It is printed on the miller's sheet in seconds, mostly 220 to 500; 60 is the least there can "
    "be, since the stirring counts."
)


def wk_from_lintner(lintner: float) -> float:
    """Degrees Windisch–Kolbach from degrees Lintner: °WK = 3.5 °L − 16.

    Raises
    ------
    InputError
        Below 0 or not a number.

    Examples
    --------
    >>> wk_from_lintner(40), wk_from_lintner(160)
    (124.0, 544.0)
    """
    return 3.5 * required("lintner", lintner, low=0, remedy="Malts have 20 to 250 °L.") - 16


def lintner_from_wk(wk: float) -> float:
    """Degrees Lintner from degrees Windisch–Kolbach: °L = (°WK + 16) / 3.5.

    Raises
    ------
    InputError
        Below −16, where °L would be below 0.

    Examples
    --------
    >>> lintner_from_wk(124)
    40.0
    """
    return (required("wk", wk, low=-16, remedy="Malts have 50 to 860 °WK.") + 16) / 3.5


def equal_dose(percent: float, lintner: float, new_lintner: float) -> float:
    """Dose of another malt that brings the same enzyme: dose × °L / °L of the other.

    Parameters
    ----------
    percent : float
        Dose of the malt there was, in % of the flour.
    lintner, new_lintner : float
        Strength of both in degrees Lintner. Never in °WK: its −16 breaks the proportion.

    Returns
    -------
    float
        Per cent of the flour. A starting point: the shares of α- and β-amylase differ from malt
        to malt (common practice, from memory).

    Raises
    ------
    InputError
        A dose below 0 or above 20, a strength that is not above 0.

    Examples
    --------
    >>> equal_dose(0.5, lintner=60, new_lintner=120)
    0.25
    """
    dose = required("malt_percent", percent, low=0, high=20, remedy="Usual are 0 to 1 %.")
    remedy = "Diastatic malts have 20 to 250 °L; malt without enzymes replaces nothing."
    old = required("lintner", lintner, above=0, remedy=remedy)
    return dose * old / required("new_lintner", new_lintner, above=0, remedy=remedy)


def liquefaction_number(falling_number_s: float) -> float:
    """Liquefaction number from the falling number: LN = 6000 / (FN − 50).

    Raises
    ------
    InputError
        Below 60 s, the least there can be.

    Examples
    --------
    >>> round(liquefaction_number(400), 1), round(liquefaction_number(220), 1)
    (17.1, 35.3)
    """
    return 6000 / (_falling("falling_number_s", falling_number_s) - 50)


def falling_number(liquefaction: float) -> float:
    """Falling number in seconds from the liquefaction number: FN = 6000 / LN + 50.

    Raises
    ------
    InputError
        Not above 0, or above 600, where FN would be below the 60 s that there are at least.

    Examples
    --------
    >>> falling_number(30)
    250.0
    """
    number = required(
        "liquefaction_number",
        liquefaction,
        above=0,
        high=600,
        remedy="Flours have about 10 to 40.",
    )
    return 6000 / number + 50


def blend_falling_number(flours: Iterable[tuple[float, float]]) -> float:
    """Falling number of a blend of flours: liquefaction numbers averaged by mass.

    Parameters
    ----------
    flours : iterable of (falling number in s, weight)
        Weights in any one unit.

    Returns
    -------
    float
        Seconds; less than the mean of the falling numbers wherever they differ.

    Raises
    ------
    InputError
        No flour, a weight below 0, a falling number below 60 s.

    Examples
    --------
    >>> round(blend_falling_number([(400, 50), (220, 50)]), 1)
    278.8
    """
    rows = [
        (liquefaction_number(fn), required("weight", weight, low=0, remedy="Enter its weight."))
        for fn, weight in flours
    ]
    total = math.fsum(weight for _, weight in rows)
    required("weight", total, above=0, remedy="Enter the weight of at least one flour.")
    return 6000 * total / math.fsum(number * weight for number, weight in rows) + 50


@dataclass(frozen=True)
class FlourReading(InLines):
    """Whether a flour is malted already, as far as it can be told.

    Parameters
    ----------
    malted : {"yes", "malted or sprouted", "probably", "probably not", "cannot tell"}
    words : str
        What follows, in a sentence or two.
    source : str
        Where it stands.
    falling_number_s : float or None
        As given, s.
    """

    malted: Literal["yes", "malted or sprouted", "probably", "probably not", "cannot tell"]
    words: str
    source: str
    falling_number_s: float | None = None

    def __str__(self) -> str:
        return f"Already malted: {self.malted}. {self.words} ({self.source}.)"

    def to_frame(self) -> pd.DataFrame:
        """One row: falling_number_s, malted, words, source."""
        return pd.DataFrame([vars(self)])[["falling_number_s", "malted", "words", "source"]]


def flour_malted(falling_number_s: float | None = None, label: str = "") -> FlourReading:
    """Say whether the flour is malted already, from its label or its falling number.

    Parameters
    ----------
    falling_number_s : float, optional
        From the miller's sheet, s.
    label : str
        Ingredients printed on the bag. They beat the number, which sprouted grain lowers too.

    Raises
    ------
    InputError
        Neither given, or a falling number that cannot be.

    Examples
    --------
    >>> print(flour_malted(235))
    Already malted: probably. 235 s lies where malted bread flour does, 220 to 290 s. More malt \
adds to what is there: begin low, and plan a dough without any. (Bakers' dictionary, Baking \
Business, 220 to 250 s; a flour specification, 250 to 290 s.)
    >>> flour_malted(label="Wheat flour, malted barley flour").malted
    'yes'
    """
    number = None
    if falling_number_s is not None:
        number = _falling("falling_number_s", falling_number_s)
    if re.search(r"\b(malt|malted|amylase|enzymes?)\b", label, re.IGNORECASE):
        return FlourReading(
            "yes",
            "The label names malt or enzymes. A trial of malt in it asks what more malt does: "
            "a flat answer may be a true one.",
            "Label; common practice, from memory",
            number,
        )
    if number is None:
        if label.strip():
            return FlourReading(
                "cannot tell",
                "The label names no malt or enzymes, but not every country asks for them on it. "
                "The falling number would tell more: ask the miller.",
                "Common practice, no source",
            )
        remedy = "Give it from the miller's sheet, or the label."
        raise InputError("falling_number_s", None, "must not be empty", remedy)
    shown = f"{plain(number, 0)} s"
    dictionary = "Bakers' dictionary, Baking Business"
    if number < 220:
        return FlourReading(
            "malted or sprouted",
            f"{shown} is less than malted bread flour has, 220 to 250 s: much amylase, from malt "
            "or from sprouted grain. More malt is likely to make the crumb sticky.",
            f"{dictionary}; maker of the falling-number instrument, 62 s sticky",
            number,
        )
    if number <= 290:
        return FlourReading(
            "probably",
            f"{shown} lies where malted bread flour does, 220 to 290 s. More malt adds to what is "
            "there: begin low, and plan a dough without any.",
            f"{dictionary}, 220 to 250 s; a flour specification, 250 to 290 s",
            number,
        )
    if number < 400:
        return FlourReading(
            "cannot tell",
            f"{shown} lies between malted bread flour, 220 to 290 s, and flour with little "
            "amylase, 400 to 500 s. Ask the miller.",
            dictionary,
            number,
        )
    return FlourReading(
        "probably not",
        f"{shown} means little amylase, as flour without malt has, 400 to 500 s. This is the "
        "flour in which malt can show what it does.",
        dictionary,
        number,
    )


def _falling(field: str, value: float) -> float:
    return required(field, value, low=LEAST_FN_S, high=_MOST_FN_S, remedy=_FN)
