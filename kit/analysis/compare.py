"""Compare the settings of a factor over several bakes and answer in words that hold.

A dough is one experimental unit, however many muffins it makes: what was decided at mixing is
judged against the spread from dough to dough, what was decided on the griddle against the
spread from piece to piece. Which is which follows from the records, not from a question.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from kit.analysis.asked import relabelled
from kit.analysis.checking.checks import check_comparison
from kit.analysis.comparison import Comparison, compared

__all__ = ["Comparison", "compare"]


def compare(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    dough: str | None = None,
    bake: str | None = None,
    load: str | None = None,
    trial: str | None = None,
    matters: float | str | None = None,
    adjust: Sequence[str] = (),
    control: Any = None,
    line: bool | None = None,
    level: float = 0.95,
    examine: bool = False,
    mixing: str | None = None,
) -> Comparison:
    """Compare an outcome between the settings of a factor.

    Parameters
    ----------
    frame : DataFrame
        One row a piece. A column ``piece``, when there is one, must not repeat within a dough.
    outcome, by : str
        Numeric column measured, and column set on purpose.
    dough, bake, load : str, optional
        Columns that say which rows belong together. Without `dough` every row is taken as a
        dough of its own.
    trial : str, optional
        Column that says which trial a row belongs to, when several are put together: bakes are
        told apart by it, and trials are held alike.
    matters : float or str, optional
        The smallest difference that the baker cares about, in the outcome's unit, or as typed:
        ``"1/8 in"``.
    adjust : sequence of str
        Other factors to hold alike.
    control : object, optional
        Compare every setting with this one only (Dunnett) instead of every pair
        (Tukey–Kramer).
    line : bool, optional
        Fit a straight line through a numeric factor instead of comparing settings; decided
        by itself when not given (a line when a numeric factor takes more than 8 values).
    level : float
        Of the intervals.
    examine : bool
        Look at residuals, single doughs, missing pieces, limits and events too.
    mixing : str, optional
        Column that says which doughs of a bake were mixed in one go, such as ``retard_hours``:
        where the factor belongs to whole mixings, a mixing counts once, however many doughs.

    Raises
    ------
    DesignError
        The bakes cannot answer this, whatever the numbers: each setting mixed once, a factor
        that cannot be told from the bake or from another factor, too few doughs.
    DataError, InputError, NotFoundError
        A column or value that cannot be used.
    """
    frame = relabelled(
        frame, by, *adjust
    )  # as compared; what is looked at must bear the same labels
    columns = {"trial": trial, "bake": bake, "mixing": mixing, "dough": dough, "load": load}
    found = compared(frame, outcome, by, columns, matters, adjust, control, line, level)
    if not examine:
        return found
    examined = check_comparison(frame, found)
    return replace(found, examined=examined, checks=(*found.checks, *examined.checks))
