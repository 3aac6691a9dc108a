"""How often tasters who cannot tell would spread the samples as far as they did.

If a taster cannot tell, her marks might as well stand on her samples in any other order. Counting
all orders of all tasters gives an exact test whatever the marks are, ranks or scores, tied or not
(Fisher's randomisation test with tasters as blocks). The statistic is the sum of squares of the
samples' totals, each mark taken from its taster's own mean; scaled as in `spread`, it is Friedman's
with the correction for ties.
"""

import math
from itertools import permutations

import numpy as np

from kit.analysis.moments import Floats

__all__ = ["chance_of_spread", "spread"]

#: Rows handled at once; beyond, orders are drawn instead of counted.
_MOST = 300_000
_DRAWN = 19_999


def spread(marks: Floats) -> float:
    """(P − 1) Σ T² / Σ a²: marks' totals by sample against the marks themselves.

    Friedman's statistic where the marks are ranks, 12 ΣR² / (J P (P+1)) − 3 J (P+1), divided by
    1 − E / (J P (P² − 1)) with E = Σ (t³ − t) where there are ties (ISO 8587).

    Parameters
    ----------
    marks : float array, shape (tasters, samples)
        NaN where a taster did not have a sample.

    Returns
    -------
    float
        NaN when every taster marked all alike.

    Examples
    --------
    >>> round(spread(np.array([[1, 2, 3], [1, 3, 2], [1, 2, 3], [2, 1, 3.0]])), 3)
    4.5
    """
    own = _own(marks)
    squares = float(np.nansum(own**2))
    if squares == 0:
        return math.nan
    had = np.sum(~np.isnan(marks), axis=0)
    totals = np.nansum(own, axis=0)
    # a sample that fewer tasters had counts accordingly more
    between = float(np.sum(totals**2 * len(marks) / had))
    return float((marks.shape[1] - 1) * between / squares)


def chance_of_spread(marks: Floats, seed: int = 1) -> tuple[float, bool]:
    """Chance of such a spread, or a larger one, where nobody can tell.

    Parameters
    ----------
    marks : float array, shape (tasters, samples)
    seed : int
        Of the orders drawn, where there are too many to count.

    Returns
    -------
    p : float
    exact : bool
        Whether all orders were counted; else 19 999 were drawn.

    Examples
    --------
    >>> chance_of_spread(np.array([[1, 2, 3], [1, 2, 3], [1, 2, 3.0]]))  # 1 / 36
    (0.027777777777777776, True)
    """
    own = _own(marks)
    if not np.nansum(own**2) > 0:
        return 1.0, True
    if not np.isnan(own).any():
        counted = _counted(np.round(own, 9))
        if counted is not None:
            return counted, True
    return _drawn(own, seed), False


def _own(marks: Floats) -> Floats:
    """Marks from each taster's own mean, the largest being 4 to 8: no limit depends on their scale.

    Marks that are whole numbers stay on a grid that has no rounding, so that ties are ties.
    """
    own: Floats = (marks - np.nanmean(marks, axis=1, keepdims=True)) * marks.shape[1]
    most = float(np.nanmax(np.abs(own)))
    return own / 2.0 ** (math.floor(math.log2(most)) - 2) if most > 0 else own


def _counted(own: Floats) -> float | None:
    """Exact chance by adding one taster after the other, alike states put together."""
    least = float(np.sum(own.sum(axis=0) ** 2)) - 1e-4
    states: Floats = np.sort(own[:1], axis=1)
    weights: Floats = np.ones(1)
    if math.factorial(own.shape[1]) > _MOST:
        return None
    for row in own[1:]:
        orders = np.unique(np.array(list(permutations(row))), axis=0)
        if len(states) * len(orders) > _MOST:
            return None
        sums = np.sort((states[:, None] + orders[None]).reshape(-1, own.shape[1]), axis=1)
        kept, which = np.unique(np.round(sums, 8), axis=0, return_inverse=True)
        share = np.repeat(weights / len(orders), len(orders))
        states, weights = kept, np.bincount(which.ravel(), share).astype(float)
    return min(1.0, float(weights[np.sum(states**2, axis=1) >= least].sum()))


def _drawn(own: Floats, seed: int) -> float:
    """Chance by drawing orders; the observed one is counted in, so that it is never too small."""
    rng = np.random.default_rng(seed)
    totals = np.zeros((_DRAWN, own.shape[1]))
    for row in own:
        here = np.flatnonzero(~np.isnan(row))
        totals[:, here] += rng.permuted(np.tile(row[here], (_DRAWN, 1)), axis=1)
    had = np.sum(~np.isnan(own), axis=0)
    scale = len(own) / had
    reached = np.sum(totals**2 * scale, axis=1)
    least = float(np.sum(np.nansum(own, axis=0) ** 2 * scale)) - 1e-7
    return (1 + int(np.sum(reached >= least))) / (1 + _DRAWN)
