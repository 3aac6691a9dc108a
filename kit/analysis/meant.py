"""Settings as they were meant, where what was done came close.

A dough chilled for 48 h 20 min is one of those of 48 h: taken as a setting of its own it would
stand alone, without another dough to tell it from.
"""

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from kit.analysis import words

__all__ = ["CLOSE", "as_meant"]

#: Within this share of the smallest step between settings a value is one of them (own choice).
CLOSE = 0.1


def as_meant(
    frame: pd.DataFrame, factors: Mapping[str, Iterable[object]]
) -> tuple[pd.DataFrame, list[str]]:
    """Return the frame with values near a setting moved to it, and a note where they were.

    Parameters
    ----------
    frame : DataFrame
        One row a piece; its column ``dough`` names those that are told of.
    factors : mapping
        Column -> the settings a trial has.

    Examples
    --------
    >>> rows = pd.DataFrame({"dough": ["A", "B", "C"], "retard_hours": [24, 48.33, 40]})
    >>> meant, notes = as_meant(rows, {"retard_hours": [24, 48]})
    >>> meant["retard_hours"].tolist()
    [24.0, 48.0, 40.0]
    >>> notes
    ['cold retard was 48.33 h in dough B: counted as 48 h, as meant']
    """
    moved, notes = frame.copy(), []
    for factor, settings in factors.items():
        known = np.unique([s for s in settings if isinstance(s, (int, float))])
        if len(known) < 2 or factor not in frame or not _is_number(frame[factor]):
            continue
        done = frame[factor].to_numpy(dtype=float)
        away = np.abs(done[:, None] - known)
        nearest = known[np.where(np.isnan(away), np.inf, away).argmin(1)]
        close = np.abs(done - nearest) <= CLOSE * np.diff(known).min()
        moved[factor] = np.where(close, nearest, done)
        other = close & (done != nearest)
        for was, meant in sorted(set(zip(done[other], nearest[other], strict=True))):
            hit = frame[other & (done == was)]
            where = [f"dough {name}" for name in dict.fromkeys(hit["dough"])]
            clocked = words.amount(factor, words.rounded(factor, float(was)))
            notes.append(
                f"{words.name(factor)} was {clocked} in {words.join(where)}: "
                f"counted as {words.amount(factor, float(meant))}, as meant"
            )
    return moved, notes


def _is_number(column: "pd.Series[float]") -> bool:
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
