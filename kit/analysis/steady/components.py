"""Intervals for variance components, and for anything made of them: sums, shares, ratios.

REML gives the components v and their covariance W. From the residual outwards each component is
split into what the inner ones already say and a rest of its own, uncorrelated with them
(W = LDLᵀ, v = Lu). With equal numbers of pieces and doughs the rests u are the mean squares of
the analysis of variance over their numbers: independent, each its expectation times chi-square
over its degrees of freedom ν = 2u²/D. Unequal numbers make this an approximation of the kind of
Satterthwaite (1946, Biometrics Bull 2:110).

Putting uν/χ² in the place of every u, for chi-square values spread evenly over their
distribution, gives surrogate components; the quantiles of whatever is made of them are the
interval (Weerahandi 1993, JASA 88:899; Chiang 2001, Technometrics 43:356). For one mean square,
and for the ratio of two, these are the classical intervals.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats

__all__ = ["Surrogates", "even_points", "interval", "sources", "spread_of"]

#: Even points: the quantiles of an interval are then within 0.002 of their probability.
POINTS = 8_000


def even_points(count: int, columns: int) -> Floats:
    """Points spread evenly over the open unit cube, shape (count, columns), the same every time.

    Multiples of powers of the number g with g^(columns + 1) = g + 1, modulo 1: an additive
    (Kronecker) sequence, which leaves fewer holes than chance does (Niederreiter 1992, *Random
    Number Generation and Quasi-Monte Carlo Methods*, ch. 3).
    """
    g = 2.0
    for _ in range(60):
        g = (1 + g) ** (1 / (columns + 1))
    steps = g ** -np.arange(1.0, columns + 1)
    points: Floats = (0.5 + np.outer(np.arange(1.0, count + 1), steps)) % 1.0
    return np.clip(points, 1e-9, 1 - 1e-9)


def interval(values: Floats, level: float) -> tuple[float, float]:
    """The middle `level` of surrogate values."""
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def sources(names: Sequence[str], estimate: Floats, values: Floats, level: float) -> pd.DataFrame:
    """Each source of spread with its size and its share, and their intervals.

    Of K variances and their surrogates, shape (POINTS, K): ``component, sd, low, high, variance,
    share, share_low, share_high``, one row a source; what is below zero is shown as zero.
    """
    variance, drawn = np.maximum(estimate, 0.0), np.maximum(values, 0.0)
    whole = drawn.sum(axis=1)
    rows = []
    for name, own, one in zip(names, variance, drawn.T, strict=True):
        low, high = np.sqrt(interval(one, level))
        share = own / variance.sum(), *interval(one / whole, level)
        rows.append((name, np.sqrt(own), low, high, own, *share))
    columns = "component sd low high variance share share_low share_high".split()
    return pd.DataFrame(rows, columns=columns)


class Surrogates:
    """Variance components with what stands for their uncertainty.

    Attributes
    ----------
    names : tuple of str
        The fit's groupings, outermost first, and "residual".
    estimate, df : float arrays, shape (K + 1,)
        As estimated (below zero where they ended there), and the degrees of freedom of each
        one's own rest.
    values : float array, shape (POINTS, K + 1)
        Surrogates, below zero where they fall there.
    even : float array, shape (POINTS, more)
        Further independent even points.
    """

    def __init__(self, fit: MixedFit, more: int = 0) -> None:
        self.names: tuple[str, ...] = (*fit.groups, "residual")
        self.estimate: Floats = fit._estimate.variance
        count = len(self.estimate)
        lower, spread = _split(fit._estimate.w[::-1, ::-1])
        own = np.linalg.solve(lower, self.estimate[::-1])
        # with very unequal numbers a rest may end at zero: it then counts for one degree
        own = np.maximum(own, np.sqrt(spread / 2))
        df = 2 * own**2 / spread
        even = even_points(POINTS, count + more)
        drawn = np.column_stack([spread_of(own[i], df[i], even[:, i]) for i in range(count)])
        self.values: Floats = (drawn @ lower.T)[:, ::-1]
        self.df: Floats = df[::-1]
        self.even: Floats = even[:, count:]

    def sum(self, weights: Sequence[float] | Floats) -> Floats:
        """Surrogates of a weighted sum of the components, shape (POINTS,)."""
        total: Floats = np.maximum(self.values, 0.0) @ np.asarray(weights, dtype=float)
        return total


def spread_of(variance: float, df: float, even: Floats) -> Floats:
    """Surrogates of a variance known from `df` degrees of freedom, at even points."""
    from scipy import special

    drawn: Floats = variance * df / (2 * special.gammaincinv(df / 2, even))
    return drawn


def _split(w: Floats) -> tuple[Floats, Floats]:
    """Factors of W = LDLᵀ: L with ones on its diagonal, and the diagonal of D."""
    root = np.linalg.cholesky((w + w.T) / 2)
    diagonal = np.diag(root)
    return root / diagonal, diagonal**2
