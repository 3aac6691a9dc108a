"""What else was set differently: an answer holds it alike, or says that it did not."""

from collections.abc import Container, Sequence

import pandas as pd

from kit.analysis import words

__all__ = ["SET", "set_beside"]

#: What a baker decides, of the quantities the kit knows; others happen, or come of these.
SET = (
    "malt_percent", "malt_lintner", "hydration_percent", "salt_percent", "yeast_percent",
    "retard_hours", "side_minutes",
)  # fmt: skip

#: Closer than this share of the largest, settings are one: so well is a thing set (own choice).
ALIKE = 0.03


def set_beside(
    frame: pd.DataFrame, held: Container[str], bakes: Sequence[str] = ()
) -> dict[str, str]:
    """Quantities that were set differently within a bake and are not held alike.

    What differs from bake to bake only is no worry: bakes are told apart anyhow.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    held : container of str
        The factor, and what is held alike.
    bakes : sequence of str
        Columns that say which bake.

    Returns
    -------
    dict
        Column -> its settings in words.

    Examples
    --------
    >>> rows = pd.DataFrame({"bake": [1, 1, 2], "retard_hours": [16, 40.0, 40.5]})
    >>> set_beside(rows, {"malt_percent"}, ["bake"])
    {'retard_hours': '16 to 40.5 h'}
    >>> set_beside(rows[1:], {"malt_percent"}, ["bake"])
    {}
    """
    found = {}
    for column in (c for c in SET if c in frame and c not in held):
        values = pd.to_numeric(frame[column], errors="coerce")
        apart = values.max() - values.min()
        if bakes:
            each = values.groupby([frame[b].astype(str) for b in bakes])
            apart = (each.max() - each.min()).max()
        if apart > ALIKE * values.abs().max():
            low, high = (words.rounded(column, float(v)) for v in (values.min(), values.max()))
            two = " and " if values.nunique() == 2 else " to "
            found[column] = f"{low:g}{two}{words.amount(column, high)}"
    return found
