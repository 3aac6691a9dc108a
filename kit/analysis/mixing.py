"""Doughs of one cold retard are mixed in one go: a caution for plans and answers."""

import pandas as pd

__all__ = ["shared_sessions"]

_SAID = (
    "doughs of one cold retard and one bake are mixed in one go, those of another at another time, "
    "so that what the hour or the day did to them all looks like the retard's doing, and the "
    "answer may seem surer than it is. Trust what comes back in every bake; surest is one dough of "
    "each retard a bake, and more bakes"
)


def shared_sessions(frame: pd.DataFrame, by: str) -> list[str]:
    """Return the caution where a bake has several doughs of one retard, else nothing.

    Parameters
    ----------
    frame : DataFrame
        One row a piece, with ``bake, dough`` and the factor.
    by : str

    Examples
    --------
    >>> rows = pd.DataFrame({"bake": [1] * 3, "dough": list("ABC"), "retard_hours": [24, 48, 48]})
    >>> len(shared_sessions(rows, "retard_hours"))
    1
    >>> shared_sessions(rows[:2], "retard_hours"), shared_sessions(rows, "dough")
    ([], [])
    """
    if by != "retard_hours" or not {"bake", "dough", by} <= set(frame.columns):
        return []
    doughs = frame.groupby(["bake", by])["dough"].nunique()
    return [_SAID] if frame[by].nunique() > 1 and doughs.max() > 1 else []
