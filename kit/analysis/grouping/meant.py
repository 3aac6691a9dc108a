"""Settings as they were meant, where what was done came close.

A dough chilled for 48 h 20 min is one of those of 48 h: taken as a setting of its own it would
stand alone, without another dough to tell it from. What is read on every piece (how far it had
risen) never meets the setting exactly: either all its values can be told to be some setting, or
all are used as they were read; half of each would be neither settings nor readings.
"""

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit import words
from kit.analysis.asked import has_numbers
from kit.analysis.grouping.mixing import shaped_by
from kit.analysis.moments import Floats

__all__ = ["as_meant", "meant"]

#: Within this share of the smallest step between settings a value is one of them (own choice).
_CLOSE = 0.1
#: The same for readings of every piece: there a value is at least twice as near to its setting as
#: to any other (own choice).
_NEARER = 1 / 3


def meant(factor: str) -> str:
    """Name the column of the settings meant, beside a proof that stays as it was read."""
    return f"{factor}, meant"


def as_meant(
    frame: pd.DataFrame, factors: Mapping[str, Iterable[object]]
) -> tuple[pd.DataFrame, list[str]]:
    """Return the frame with values near a setting moved to it, and one note a factor.

    Beside a proof that stays as it was read stands the nearest setting (`meant`): it says which
    pieces were shaped together.

    Parameters
    ----------
    frame : DataFrame
        One row a piece; its column ``dough`` names those that are told of, within their
        ``bake`` where there is one.
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
        if len(known) < 2 or factor not in frame or not has_numbers(frame[factor]):
            continue
        done = frame[factor].to_numpy(dtype=float)
        away = np.abs(done[:, None] - known)
        nearest = known[np.where(np.isnan(away), np.inf, away).argmin(1)]
        given, step = ~np.isnan(done), float(np.diff(known).min())
        whole = frame.groupby(_dough(frame))[factor].nunique().max() <= 1
        read = not whole and (done == nearest).sum() < given.sum() / 2
        limit = (_NEARER if read else _CLOSE) * step * (1 + 1e-9)
        close = given & (np.abs(done - nearest) <= limit)
        if shaped_by(factor) and not whole and not close[given].all():
            # what lies more than a step beyond them all is a setting of its own
            moved[meant(factor)] = np.where(np.abs(done - nearest) <= step, nearest, done)
        if read and not close[given].all():
            notes.append(_as_read(factor, done, known))
            continue
        moved[factor] = np.where(close, nearest, done)
        other = close & (done != nearest)
        if other.any():
            notes.append(_counted(frame, factor, nearest, other, bool(whole)))
    return moved, notes


def _dough(frame: pd.DataFrame) -> list[str]:
    """Columns that tell doughs apart: bakes may name theirs alike."""
    return [c for c in ("bake", "dough") if c in frame]


def _as_read(factor: str, done: Floats, known: Floats) -> str:
    """That readings of every piece lie too far between the settings to be these."""
    low, high = (_told(factor, float(f(done))) for f in (np.nanmin, np.nanmax))
    return (
        f"{words.name(factor)} was read piece by piece, from {low} to {high}, and not always near "
        f"{_listed(factor, known)}, which were meant: used as it was read"
    )


def _counted(
    frame: pd.DataFrame, factor: str, nearest: Floats, other: NDArray[np.bool_], whole: bool
) -> str:
    """What was counted as meant: where it was one value the doughs, else how many and how far."""
    done = frame[factor].to_numpy(dtype=float)
    if len(np.unique(done[other])) == 1:
        where = [f"dough {name}" for name in dict.fromkeys(frame["dough"][other])]
        first = int(np.flatnonzero(other)[0])
        return (
            f"{words.name(factor)} was {_told(factor, done[first])} in {words.join(where)}: "
            f"counted as {words.amount(factor, float(nearest[first]))}, as meant"
        )
    unit = "dough" if whole else "piece"
    count, total = (
        len(frame.loc[rows, _dough(frame)].drop_duplicates()) if whole else int(rows.sum())
        for rows in (other, ~np.isnan(done))
    )
    far = int(np.where(other, np.abs(done - nearest), -1.0).argmax())
    return (
        f"{words.name(factor)} was not quite as meant in {count} of {words.plural(total, unit)}: "
        f"counted as {_listed(factor, np.unique(nearest[other]))}, as meant (farthest off: "
        f"{_told(factor, done[far])} for {words.amount(factor, float(nearest[far]))}, in dough "
        f"{frame['dough'].iloc[far]})"
    )


def _told(factor: str, value: float) -> str:
    return words.amount(factor, words.rounded(factor, float(value)))


def _listed(factor: str, known: Floats) -> str:
    return f"{words.join(f'{k:g}' for k in known)} {words.unit_of(factor)}".strip()
