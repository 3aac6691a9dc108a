"""Marginal means and the differences between them, protected for looking at several at once.

Pairs by Tukey–Kramer (Kramer 1956, Biometrics 12:307), several settings against one by Dunnett
(1955, JASA 50:1096), each with its own Kenward–Roger degrees of freedom.
"""

import itertools
import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd
from scipy import special

from kit.analysis.asked import need_one_of
from kit.analysis.moments import Floats
from kit.errors import DataError

if TYPE_CHECKING:
    from kit.analysis.mixed import MixedFit

__all__ = [
    "contrasts", "dunnett", "dunnett_critical", "dunnett_p", "marginal_means", "one_factor",
    "per_df", "tukey_critical", "tukey_criticals", "tukey_p", "with_interval",
]  # fmt: skip

#: With fewer degrees of freedom no interval is wide enough to mean anything.
LEAST_DF = 0.2


def marginal_means(fit: "MixedFit", factors: str | Sequence[str]) -> pd.DataFrame:
    """Mean of each level, other factors weighted equally, covariates at their mean.

    Parameters
    ----------
    fit : MixedFit
    factors : str or sequence of str
        Categorical variables of the model.

    Returns
    -------
    DataFrame
        ``level`` (or one column a factor when there are several), ``mean, se, df, low, high``;
        NaN where an empty cell makes the mean unknowable.

    Raises
    ------
    NotFoundError
        A name is no factor of the model.
    """
    names = [factors] if isinstance(factors, str) else list(factors)
    levels, rows = fit.design.grid(names)
    table = with_interval(fit.linear(fit.design.estimable(rows)), fit.level)
    if len(names) == 1:
        levels = levels.set_axis(["level"], axis=1)
    return pd.concat([levels, table], axis=1)


def with_interval(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """Turn ``estimate, se, df`` into ``mean, se, df, low, high`` by Student's t."""
    half = special.stdtrit(table["df"].to_numpy(), (1 + level) / 2) * table["se"].to_numpy()
    mean = table["estimate"].to_numpy()
    return table.rename(columns={"estimate": "mean"}).assign(low=mean - half, high=mean + half)


def contrasts(
    fit: "MixedFit",
    factors: str | Sequence[str],
    kind: Literal["pairs", "control"] = "pairs",
    control: object = None,
) -> pd.DataFrame:
    """Differences between the means of a factor's levels, or of combinations of levels.

    Parameters
    ----------
    fit : MixedFit
    factors : str or sequence of str
        Categorical variables of the model.
    kind : {"pairs", "control"}
        Every pair (later level minus earlier), or every level minus `control`.
    control : object
        A level; the first when not given.

    Returns
    -------
    DataFrame
        ``contrast, level, versus, difference, se, df, t, p, low, high``; p and the interval
        are jointly protected; NaN where a mean is unknowable.

    Raises
    ------
    NotFoundError
        A name is no factor of the model.
    InputError
        `control` is no level, or `kind` is unknown.
    DataError
        The factor has one level only.
    """
    names = [factors] if isinstance(factors, str) else list(factors)
    levels, rows = fit.design.grid(names)
    values: list[Any] = levels[names[0]].tolist()
    if len(names) > 1:
        values = [", ".join(map(str, row)) for row in levels.itertuples(index=False)]
    if len(values) < 2:
        msg = f"{names[0]} has one level only ({values[0]}): there is no difference to look at."
        raise DataError(msg)
    need_one_of("kind", kind, ("pairs", "control"))
    if kind == "pairs":
        pairs = [(j, i) for i, j in itertools.combinations(range(len(values)), 2)]
    else:
        if control is not None:
            need_one_of("control", control, values)
        base = 0 if control is None else values.index(control)
        pairs = [(i, base) for i in range(len(values)) if i != base]
    differences = fit.design.estimable(np.array([rows[i] - rows[j] for i, j in pairs]))
    table = fit.linear(differences).rename(columns={"estimate": "difference"})
    table["t"] = table["difference"] / table["se"]
    good = table["t"].notna().to_numpy()
    p, critical = np.full(len(table), np.nan), np.full(len(table), np.nan)
    if good.any():
        known = table[good]
        each = list(zip(known["t"].abs(), known["df"], strict=True))
        if kind == "pairs":
            size = len({i for pair, ok in zip(pairs, good, strict=True) if ok for i in pair})
            p[good] = [tukey_p(t, df, size) for t, df in each]
            critical[good] = per_df(known["df"], lambda df: tukey_critical(fit.level, df, size))
        else:
            loadings, critical[good] = dunnett(fit, differences[good], known["df"].to_numpy())
            p[good] = [dunnett_p(t, df, loadings) for t, df in each]
    table["p"] = p
    table["low"] = table["difference"] - critical * table["se"]
    table["high"] = table["difference"] + critical * table["se"]
    table.insert(0, "contrast", [f"{values[i]} - {values[j]}" for i, j in pairs])
    table.insert(1, "level", [values[i] for i, _ in pairs])
    table.insert(2, "versus", [values[j] for _, j in pairs])
    return table


def per_df(df: Sequence[float] | Floats | pd.Series, find: Callable[[float], float]) -> Floats:
    """Call `find` once for each distinct df (equal to 1e-9): these quantiles are slow."""
    rounded = [float(f"{value:.10g}") for value in df]
    known = {value: find(value) for value in dict.fromkeys(rounded)}
    return np.array([known[value] for value in rounded])


def dunnett(fit: "MixedFit", differences: Floats, df: Floats) -> tuple[Floats, Floats]:
    """Loadings (see `one_factor`) and critical values of r differences (r, p) from one control."""
    covariance = differences @ fit._estimate.phi_adjusted @ differences.T
    scale = np.sqrt(np.diag(covariance))
    loadings = one_factor(covariance / np.outer(scale, scale))
    return loadings, per_df(df, lambda each: dunnett_critical(fit.level, each, loadings))


def tukey_criticals(level: float, df: Floats, size: int) -> Floats:
    """`tukey_critical` of an array of degrees of freedom, interpolated where many are different.

    Met to 1e-6 of its value (a polynomial in 1 / df through seven Chebyshev nodes).
    """
    if size == 2:
        own: Floats = special.stdtrit(df, (1 + level) / 2)
        return own
    different = np.unique(np.asarray(df).round(9))
    inverse = 1 / different
    middle, half = (inverse[0] + inverse[-1]) / 2, (inverse[0] - inverse[-1]) / 2
    if len(different) <= 7 or different[0] < 2:
        known = np.array([tukey_critical(level, float(x), size) for x in different])
        found: Floats = known[np.searchsorted(different, np.asarray(df).round(9))]
        return found
    nodes = np.cos(np.pi * (np.arange(7) + 0.5) / 7)
    at = [math.log(tukey_critical(level, float(1 / (middle + half * x)), size)) for x in nodes]
    curve = np.polynomial.chebyshev.chebfit(nodes, at, 6)
    told: Floats = np.exp(np.polynomial.chebyshev.chebval((1 / df - middle) / half, curve))
    return told


def tukey_p(t: float, df: float, size: int) -> float:
    """Chance that the most different pair of `size` equal means passes t, in absolute value.

    The studentized range, by quadrature over the shared part and over the estimated spread;
    agrees with `scipy.stats.studentized_range` (which is some hundred times slower) to 1e-9.
    """
    if df < LEAST_DF:
        return 1.0
    s, ws = _spread_nodes(df)
    return float(np.clip(1.0 - ws @ all_within(t * s, size), 0.0, 1.0))


def all_within(t: Floats, size: int) -> Floats:
    """Chance that no pair of `size` equal means differs by more than t ≥ 0 true standard errors.

    Examples
    --------
    Of two means the normal's 1.96; of four the tabled range 3.633, which is √2 standard errors.

    >>> all_within(np.array([1.96]), 2).round(4), all_within(np.array([3.633 / 2**0.5]), 4).round(4)
    (array([0.95]), array([0.95]))
    """
    z, weight = _normal_nodes()
    width = np.sqrt(2) * t[:, None]
    inside = size * (special.ndtr(z) - special.ndtr(z - width)) ** (size - 1)
    chance: Floats = inside @ weight
    return chance


def dunnett_p(t: float, df: float, loadings: Floats) -> float:
    """Chance that the largest of |T₁|…|T_k| passes t, T multivariate t with such `loadings`."""
    if df < LEAST_DF:
        return 1.0
    (z, wz), (s, ws) = _normal_nodes(), _spread_nodes(df)
    rest = np.sqrt(1 - loadings**2)
    limit, shared = t * s[:, None, None], loadings * z[None, :, None]
    inside = special.ndtr((limit - shared) / rest) - special.ndtr((-limit - shared) / rest)
    return float(np.clip(1.0 - ws @ (inside.prod(axis=-1) @ wz), 0.0, 1.0))


@lru_cache(maxsize=4096)
def tukey_critical(level: float, df: float, size: int) -> float:
    """Critical t that the most different of `size` equal means passes with chance 1 − level."""
    if size == 2:
        return float(special.stdtrit(df, (1 + level) / 2)) if df >= LEAST_DF else np.inf
    return _critical(lambda t: tukey_p(t, df, size), level, df, size * (size - 1) // 2)


def dunnett_critical(level: float, df: float, loadings: Floats) -> float:
    """Critical t that the largest of the |T| passes with chance 1 − level."""
    return _critical(lambda t: dunnett_p(t, df, loadings), level, df, len(loadings))


def _critical(passes: Callable[[float], float], level: float, df: float, count: int) -> float:
    from scipy import optimize

    if df < LEAST_DF:  # no interval is wide enough
        return np.inf
    # between that of one difference by itself and that of all of them unrelated (Bonferroni)
    ends = special.stdtrit(df, 1 - (1 - level) / 2 / np.array([1, count]))
    low, top = 0.999 * float(ends[0]), 1.001 * float(ends[1])
    while passes(top) > 1 - level:  # levels so strict that rounding shows
        low, top = top, 2 * top
        if not top < 1e9:
            return np.inf
    if passes(low) < 1 - level:
        low = 0.0
    return float(optimize.brentq(lambda t: passes(t) - (1 - level), low, top, xtol=1e-9))


def one_factor(correlation: Floats) -> Floats:
    """Loadings b, shape (k,), with correlation[i, j] ≈ b_i·b_j off the diagonal.

    Differences from one control have this form exactly when the means are independent, and
    always when there are two or three of them; otherwise it is the nearest such form (in the
    unbalanced cake data the entries are met to 0.02, p values to 0.001).
    """
    from scipy import optimize

    k = len(correlation)
    if k == 1:
        return np.zeros(1)
    upper = np.triu_indices(k, 1)
    target = correlation[upper]
    start = np.full(k, np.sqrt(np.clip(target.mean(), 0.01, 0.98)))
    if np.ptp(target) < 1e-12 and target[0] >= 0.01:
        return start
    fit = optimize.least_squares(
        lambda b: np.outer(b, b)[upper] - target, start, bounds=(-0.999999, 0.999999),
        xtol=1e-15, ftol=1e-15, gtol=1e-15,
    )  # fmt: skip
    loadings: Floats = fit.x
    return loadings


@lru_cache(maxsize=2)
def _legendre(count: int) -> tuple[Floats, Floats]:
    """Nodes and weights of Gauss–Legendre quadrature on (−1, 1)."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


@lru_cache(maxsize=1)
def _normal_nodes() -> tuple[Floats, Floats]:
    """Nodes and weights for the average over a standard normal."""
    z, w = _legendre(96)
    z, w = 8.5 * z, 8.5 * w
    return z, w * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)


@lru_cache(maxsize=64)
def _spread_nodes(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights for the average over s/σ, where df·(s/σ)² is chi-square.

    The nodes crowd towards the low end (cubed), where the density of few df is steep.
    """
    half = df / 2
    low, high = np.sqrt(
        [special.gammaincinv(half, 1e-13) / half, special.gammainccinv(half, 1e-13) / half]
    )
    u, w = _legendre(80)
    u, w = (u + 1) / 2, w / 2
    s = low + (high - low) * u**3
    log_density = (
        np.log(2) + half * np.log(half) - special.gammaln(half) + (df - 1) * np.log(s) - half * s**2
    )
    return s, w * 3 * (high - low) * u**2 * np.exp(log_density)
