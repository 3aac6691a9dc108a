"""Doughs of one cold retard are mixed in one go, and more alike than others of the bake.

Doughs chilled differently long for one bake are mixed at different times. What the hour or the
day did to all doughs of one mixing looks like the retard's doing, so that for the retard such a
mixing is the experimental unit, as the whole plot is in a split-plot design (Yates 1935, J R Stat
Soc Suppl 2:181), however many doughs it made. What varies within the mixings is judged within them.
"""

import pandas as pd

__all__ = ["TAKEN_ALIKE", "mixed_by", "shared_mixings"]

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


def mixed_by(*factors: str) -> str | None:
    """Return the column that says, within a bake, what was mixed in one go.

    Parameters
    ----------
    *factors : str
        What was varied, whether asked about or not.

    Examples
    --------
    >>> mixed_by("malt_percent", "retard_hours"), mixed_by("malt_percent")
    ('retard_hours', None)
    """
    return _RETARD if _RETARD in factors else None


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
