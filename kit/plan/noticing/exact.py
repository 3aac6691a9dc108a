"""Chances in closed form: noncentral t and F, the chance to settle it, balanced plans as numbers.

Noncentral distributions: Johnson, Kotz & Balakrishnan (1995), *Continuous Univariate
Distributions* 2, ch. 30 and 31. Power of mixed models from the analysis with variances known:
Littell, Milliken, Stroup & Wolfinger (1996), *SAS System for Mixed Models*, ch. 12.
"""

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from kit.analysis.moments import Floats
from kit.errors import DesignError, InputError
from kit.given import as_number
from kit.plan.spread import Spread

__all__ = [
    "Curve", "Exact", "Numbers", "Simulated", "between", "critical", "criticals", "numbers_of",
    "whole_factor",
]  # fmt: skip

_GRID = 4000


@lru_cache(maxsize=256)
def critical(level: float, df: float, settings: int) -> float:
    """Student's t, protected by Tukey where there are more than two settings."""
    from scipy import special

    from kit.analysis.means import tukey_critical

    if settings <= 2:
        return float(special.stdtrit(df, (1 + level) / 2))
    return tukey_critical(level, df, settings)


def criticals(df: Floats, level: float, settings: int) -> Floats:
    """Critical values of many degrees of freedom; by interpolation where each is slow."""
    from scipy import special

    if settings <= 2:
        result: Floats = special.stdtrit(df, (1 + level) / 2)
        return result
    inverse = 1 / np.clip(df, 0.5, 1e6)
    low, high = float(inverse.min()), float(inverse.max())
    if high - low < 1e-9:
        return np.full(len(df), critical(level, 1 / high, settings))
    nodes = np.linspace(low, high, 25)
    known = np.log([critical(level, float(1 / x), settings) for x in nodes])
    return np.exp(np.interp(inverse, nodes, known))


@lru_cache(maxsize=64)
def _spreads(df: float) -> tuple[Floats, Floats]:
    """Estimated spreads s/σ, df·(s/σ)² being chi-square, with the weight of each."""
    from scipy import special

    u = (np.arange(_GRID) + 0.5) / _GRID
    return np.sqrt(special.chdtri(df, 1 - u) / df), np.full(_GRID, 1 / _GRID)


class Curve(ABC):
    """The chance of noticing a difference, for any size of it.

    Base of `Exact` and `Simulated`, which say how; finding the smallest size is shared.
    """

    @abstractmethod
    def chance(self, difference: float) -> float:
        """Chance that the interval does not hold zero."""

    @abstractmethod
    def alike(self, matters: float) -> float:
        """Chance that the intervals of all pairs lie within ±matters when nothing differs."""

    @abstractmethod
    def times(self, factor: float) -> "Curve":
        """The curve when every standard deviation is `factor` times as large."""

    def error(self, chance: float) -> float:
        """Monte-Carlo standard error of a chance; 0 in closed form."""
        return 0.0

    def smallest(self, wanted: float) -> float:
        """Smallest difference noticed with the wanted chance; inf when none is."""
        from scipy import optimize

        high = self._start()
        for _ in range(60):
            if self.chance(high) >= wanted:
                break
            high *= 2
        else:
            return math.inf
        if self.chance(0.0) >= wanted:
            return 0.0
        return float(
            optimize.brentq(lambda d: self.chance(d) - wanted, 0.0, high, xtol=1e-10 * high)
        )

    @abstractmethod
    def _start(self) -> float:
        """Where to begin looking for the smallest difference."""


@dataclass(frozen=True)
class Exact(Curve):
    """A difference estimated with standard error `se` on `df` degrees of freedom.

    The interval is the estimate ± `critical` · estimated se; `settings` is how many means the pairs
    are of, all with this standard error.
    """

    se: float
    df: float
    critical: float
    settings: int

    def chance(self, difference: float) -> float:
        """P(|T| > critical), T noncentral t with difference/se.

        Examples
        --------
        >>> round(Exact(se=0.7360, df=6, critical=2.4469, settings=2).chance(2.0), 4)
        0.623
        """
        from scipy import special

        away = abs(difference) / self.se
        if away > 37 and away > 8 * self.critical:
            return 1.0
        above = 1.0 - float(special.nctdtr(self.df, away, self.critical))
        below = float(special.nctdtr(self.df, away, -self.critical))
        if math.isnan(above + below):  # far out, where the series ends
            s, weight = _spreads(self.df)
            limit = self.critical * s
            return float(weight @ (special.ndtr(away - limit) + special.ndtr(-away - limit)))
        return min(max(above + below, 0.0), 1.0)

    def alike(self, matters: float) -> float:
        """Average of P(all |Z| < matters/se − critical · s) over the estimated spread s."""
        from kit.analysis.means import all_within

        s, weight = _spreads(self.df)
        room = np.maximum(matters / self.se - self.critical * s, 0.0)
        return float(weight @ all_within(room, self.settings))

    def times(self, factor: float) -> "Exact":
        """Standard error in proportion."""
        return replace(self, se=self.se * factor)

    def _start(self) -> float:
        return self.se * (self.critical + 2.0)


@dataclass(frozen=True)
class Simulated(Curve):
    """Trials without any difference, refitted; a true difference only shifts the estimate.

    (The variance estimates do not change when a setting's mean is moved, so one set of trials
    gives the whole curve.)

    Parameters
    ----------
    errors : float array, shape (n,)
        Estimated differences.
    halves : float array, shape (n,)
        Half widths of their intervals; inf where a trial could not be analysed.
    furthest : float array, shape (n,)
        How far from zero the interval of any pair of settings reaches.
    """

    errors: Floats
    halves: Floats
    furthest: Floats

    def chance(self, difference: float) -> float:
        """Share of trials whose interval does not hold zero."""
        return float(np.mean(np.abs(self.errors + difference) > self.halves))

    def alike(self, matters: float) -> float:
        """Share of trials whose intervals all lie within ±matters."""
        return float(np.mean(self.furthest < matters))

    def times(self, factor: float) -> "Simulated":
        """Everything in proportion."""
        return Simulated(self.errors * factor, self.halves * factor, self.furthest * factor)

    def error(self, chance: float) -> float:
        """Binomial standard error."""
        return math.sqrt(max(chance * (1 - chance), 0.0) / len(self.errors))

    def _start(self) -> float:
        good = np.isfinite(self.halves)
        return float(np.median(self.halves[good])) * 2 + 1e-12 if good.any() else 1.0


def whole_factor(
    effects: Sequence[float], each: float, variance: float, df: float, level: float
) -> float:
    """Chance that the F test of all settings together notices them, on `df` degrees of freedom.

    `effects` are the true means of the settings, `each` the doughs (pieces) of one, `variance` that
    of one dough's mean (of one piece), `level` 1 − alpha.
    """
    from scipy import special, stats

    means = np.asarray(effects, dtype=float)
    top = len(means) - 1
    away = each * float(((means - means.mean()) ** 2).sum()) / variance
    limit = float(special.fdtri(top, df, level))
    chance = 1.0 - float(special.ncfdtr(top, df, away, limit))
    return float(stats.ncf.sf(limit, top, df, away)) if math.isnan(chance) else chance


Inside = Literal["dough", "shaping", "piece"]


@dataclass(frozen=True)
class Numbers:
    """A balanced plan as numbers."""

    settings: int
    doughs: int
    pieces: int
    unit: Inside
    each: float
    df: int

    def variance(self, spread: Spread) -> float:
        """Of one unit: a dough's mean, or within its dough a piece, or a shaping's mean."""
        own = spread.piece**2
        if self.unit == "shaping":
            return (spread.shaping or 0.0) ** 2 + own * max(self.settings / self.pieces, 1.0)
        return own if self.unit == "piece" else spread.dough**2 + own / self.pieces

    def se(self, spread: Spread) -> float:
        """Standard error of the difference between two settings."""
        return math.sqrt(2 * self.variance(spread) / self.each)


def numbers_of(settings: int, bakes: int | None, doughs: int, pieces: int, unit: Inside) -> Numbers:
    """Count units and degrees of freedom, or refuse where none are left."""
    if unit == "dough":
        total = settings * doughs * (bakes or 1)
        each = total / settings
        df = total - (bakes or 1) - (settings - 1)
    else:
        total = doughs * (bakes or 1)
        inside = pieces if unit == "piece" else min(settings, pieces)
        each = total * inside / settings
        df = total * inside - total - (settings - 1)
    if df < 1:
        what = "dough" if unit == "dough" else "piece"
        remedy = "more pieces a dough, or more doughs"
        if unit == "dough":
            remedy = "bake on at least two bakes" if bakes else "mix each setting at least twice"
        msg = (
            f"{total} doughs for {settings} settings leave nothing over to judge the {what}-to-"
            f"{what} spread by (0 degrees of freedom): {remedy}."
        )
        raise DesignError(msg)
    return Numbers(settings, total, pieces, unit, each, df)


def between(name: str, value: float) -> None:
    """Refuse a share that is none."""
    number = as_number(value)
    if number is None or not 0 < number < 1:
        raise InputError(name, value, "must lie between 0 and 1")
