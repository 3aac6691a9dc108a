"""What is made in one go: doughs of one cold retard are mixed, pieces of one proof are shaped.

Doughs chilled differently long for one bake are mixed at different times. What the hour or the
day did to all doughs of one mixing looks like the retard's doing, so that for the retard such a
mixing is the experimental unit, as the whole plot is in a split-plot design (Yates 1935, J R Stat
Soc Suppl 2:181), however many doughs it made. What varies within the mixings is judged by doughs;
`counts_for` says where the mixings have to be told apart for it as well.

Pieces of one dough that are to proof alike are shaped together and go to the griddle when they are
ready: the minute and the eye that said so are theirs in common. For the proof such a shaping is the
experimental unit, as the sub-plot is in a split-plot design, however many pieces it made.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats

__all__ = ["TAKEN_ALIKE", "columns_of", "counts_for", "mixed_by", "shaped_by", "shared_mixings"]

#: What is taken where no bake has shown how mixings differ.
TAKEN_ALIKE = (
    "it was taken that doughs mixed in one go differ as much as doughs mixed at different times; "
    "where the day of mixing tells, less will be noticed"
)

#: How much more of a difference than of the spread it is judged by the mixings make up: 1 where the
#: settings lie in them as by lot, 0 where evenly, more where they go with them (own choice).
_EVENLY, _BY_LOT = 0.05, 1.5
#: Of more doughs than this every mixing can be told apart.
_MOST_DOUGHS = 2000
_RETARD = "retard_hours"
_PROOFS = ("proof_ratio", "proof_minutes")
_SAID = (
    "doughs of one cold retard and one bake are mixed in one go, so for cold retard such a mixing "
    "counts once, however many doughs it makes: one dough of each retard a bake, and more bakes, "
    "tell most"
)


def mixed_by(*factors: str) -> str | None:
    """Return which of the factors varied says, within a bake, what was mixed in one go.

    Examples
    --------
    >>> mixed_by("malt_percent", "retard_hours"), mixed_by("malt_percent")
    ('retard_hours', None)
    """
    return _RETARD if _RETARD in factors else None


def shaped_by(*factors: str) -> list[str]:
    """Return the factors that say, within a dough, which pieces were shaped together.

    Examples
    --------
    >>> shaped_by("side_minutes", "proof_ratio"), shaped_by("side_minutes")
    (['proof_ratio'], [])
    """
    return [proof for proof in _PROOFS if proof in factors]


def shared_mixings(runs: pd.DataFrame) -> list[str]:
    """Return the caution for a plan where a bake has several doughs of one retard, else nothing.

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


def counts_for(factor: pd.Series, others: Sequence[pd.Series], mixing: pd.Series) -> bool:
    """Say whether mixings are to be told apart for a factor that varies within them.

    Where its settings lie evenly in the mixings, what a mixing does cancels in the difference, and
    telling the mixings apart takes it out of the spread as well. Where the settings go with the
    mixings, it is in the difference far more than in the spread. Where they lie as by lot, it is
    in both alike (Fisher 1926, J Min Agric 33:503): nothing is gained by telling the mixings
    apart, and few doughs a mixing cannot be told from it.

    Parameters
    ----------
    factor, mixing : Series
        One value a dough: settings, or numbers along a line.
    others : sequence of Series
        What is held alike, and the bake.

    Examples
    --------
    >>> bake = pd.Series([1, 1, 1, 1, 2, 2, 2, 2])
    >>> malt, mixing = pd.Series([0, 1] * 4), pd.Series([1, 1, 2, 2, 3, 3, 4, 4])
    >>> counts_for(malt.astype(str), [bake.astype(str)], mixing)
    True
    """
    if len(factor) > _MOST_DOUGHS:
        return True
    own, around = columns_of(factor), np.hstack([columns_of(other) for other in others])
    theirs, all_told = _basis(around), _basis(np.hstack([around, own]))
    left = own - theirs @ (theirs.T @ own)
    differences = each = np.eye(own.shape[1])
    if len(each) > 1:  # not along a line
        differences = np.column_stack([a - b for a, b in combinations(each, 2)])
    weights = left @ np.linalg.pinv(left.T @ left) @ differences
    in_mixing = columns_of(mixing.astype(str))
    spare = len(own) - all_told.shape[1]
    of_spread = len(own) - float(((all_told.T @ in_mixing) ** 2).sum())
    if spare < 1 or of_spread < 1e-9 * len(own):
        return True  # nothing to judge it by: whoever fits it says so
    of_difference = ((in_mixing.T @ weights) ** 2).sum(axis=0) / (weights**2).sum(axis=0)
    share = float(of_difference.mean()) / (of_spread / spare)
    return not _EVENLY < share < _BY_LOT


def columns_of(values: pd.Series) -> Floats:
    """A float centred and scaled, all else as an indicator a value."""
    if pd.api.types.is_float_dtype(values):
        column = values.to_numpy(dtype=float)[:, None]
        numbers: Floats = (column - column.mean()) / (column.std() or 1.0)
        return numbers
    indicators: Floats = pd.get_dummies(values.astype(str), dtype=float).to_numpy()
    return indicators


def _basis(x: Floats) -> Floats:
    """Orthonormal columns that span those of x, and 1."""
    u, s, _ = np.linalg.svd(np.hstack([np.ones((len(x), 1)), x]), full_matrices=False)
    span: Floats = u[:, s > 1e-9 * s[0]]
    return span
