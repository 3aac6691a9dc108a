"""Doughs of one cold retard are mixed in one go: what counts once when the retard is asked about.

Doughs chilled differently long for one bake are mixed at different times. What the hour or the
day did to all doughs of one mixing looks like the retard's doing, so that such a mixing is the
experimental unit, as the whole plot is in a split-plot design (Yates 1935, J R Stat Soc Suppl
2:181), however many doughs it made.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

import pandas as pd

from kit.errors import KitError

if TYPE_CHECKING:
    from kit.analysis.compare import Comparison

__all__ = ["TAKEN_ALIKE", "mixed_by", "shared_mixings", "told_apart"]

#: What is taken where no bake has shown how mixings differ.
TAKEN_ALIKE = (
    "it was taken that doughs mixed in one go differ as much as doughs mixed at different times; "
    "where the day of mixing tells, less will be noticed"
)

_RETARD = "retard_hours"
_SAID = (
    "doughs of one cold retard and one bake are mixed in one go, so for cold retard such a mixing "
    "counts once, however many doughs it makes: one dough of each retard a bake, and more bakes, "
    "tell most"
)


def mixed_by(*asked: str) -> str | None:
    """Return the column that says, within a bake, what was mixed in one go.

    Parameters
    ----------
    *asked : str
        Factors asked about. For factors that vary within a mixing the doughs count, and none is
        needed.

    Examples
    --------
    >>> mixed_by("retard_hours"), mixed_by("malt_percent")
    ('retard_hours', None)
    """
    return _RETARD if _RETARD in asked else None


def shared_mixings(runs: pd.DataFrame) -> list[str]:
    """Return the caution for a plan where a bake has several doughs of one retard, else nothing.

    Parameters
    ----------
    runs : DataFrame
        One row a piece, with ``bake, dough`` and the factors.

    Examples
    --------
    >>> rows = pd.DataFrame({"bake": [1] * 3, "dough": list("ABC"), "retard_hours": [24, 48, 48]})
    >>> len(shared_mixings(rows)), shared_mixings(rows[:2])
    (1, [])
    """
    if _RETARD not in runs or runs[_RETARD].nunique() < 2:
        return []
    doughs = runs.groupby(["bake", _RETARD])["dough"].nunique()
    return [_SAID] if doughs.max() > 1 else []


def told_apart(answer: "Comparison", again: "Callable[[], Comparison]") -> list[str]:
    """Return the caution where the answer rests on the mixings of a bake being alike, else nothing.

    A factor that varies within the mixings is judged from dough to dough. Where its settings do not
    lie evenly in them, what the doughs of one mixing share is part of its difference.

    Parameters
    ----------
    answer : Comparison
        As if doughs mixed in one go were no more alike than others of the bake.
    again : callable
        Asks the same with the mixings told.
    """
    try:
        other = again()
    except KitError:
        return []  # too few to tell them apart
    if "mixing" not in other.fit.groups or other.answer is answer.answer:
        return []
    return [
        "it was taken that doughs of one cold retard, which are mixed in one go, are no more alike "
        f"than others of a bake; not taking it, the answer would be: {other.answer.value}"
    ]
