"""Differences along a fitted shape, protected where they were looked for, and what they say."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fitting import LEAST_DF, ORDER, Difference, term
from kit.analysis.asked import has_numbers
from kit.analysis.doses.best import BestDose, slopes
from kit.analysis.doses.data import Doses
from kit.analysis.doses.fit import Curve, curved, plateau, straight
from kit.analysis.doses.settings import DoseSet
from kit.analysis.grouping.structure import MOST_SETTINGS, safe_name
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats, Integers
from kit.analysis.verdict import Answer, decide, decide_each, sign
from kit.errors import DesignError

__all__ = [
    "FITTED", "along", "both_sides", "change", "largest", "may_be_best", "moved_by", "of_refits",
    "scheffe", "trend_of", "whole",
]  # fmt: skip

FITTED = {"straight": straight, "curved": curved, "plateau": plateau}


def change(
    curve: Curve, to: float, versus: float, freedom: int, matters: float | None
) -> Difference:
    """One difference along the curve; with `freedom` above 1 protected by Scheffé.

    Raises
    ------
    DesignError
        No spread is left to set it against.
    """
    from scipy import special

    row = curve.changes(np.array([to]), np.array([versus])).iloc[0]
    difference, se, df = (float(row[c]) for c in ("estimate", "se", "df"))
    if not se > 0:
        msg = "nothing is left over to judge the doses by: bake more doughs of each"
        raise DesignError(msg)
    t = difference / se
    p = float(special.fdtrc(freedom, df, t**2 / freedom))
    half = scheffe(freedom, df, curve.fit.level) * se
    low, high = difference - half, difference + half
    answer = decide(low, high, matters)
    return Difference(to, versus, difference, se, df, t, p, low, high, answer)


def whole(curve: Curve, matters: float | None) -> Difference:
    """From the lowest dose to the highest: one difference, by itself."""
    return change(curve, curve.high, curve.low, 1, matters)


def scheffe(freedom: int, df: float, level: float) -> float:
    """Critical value for every difference along a curve at once (Scheffé 1953).

    Examples
    --------
    With one way to change it is Student's t: 2.228 at 10 degrees of freedom.

    >>> round(scheffe(1, 10.0, 0.95), 3), round(scheffe(2, 10.0, 0.95), 3)
    (2.228, 2.865)
    """
    from scipy import special

    return math.sqrt(freedom * float(special.fdtri(freedom, df, level)))


def largest(curve: Curve, matters: float | None) -> tuple[Answer, Difference]:
    """One answer for all differences between two doses, and the largest with that answer."""
    grid, i, j = _pairs(curve)
    table = curve.changes(grid[j], grid[i]).to_numpy(dtype=float)
    answer, answers = _overall(table, curve, matters)
    settled = answer in (Answer.SMALL, Answer.NONE)
    of_this = np.array([settled or one is answer for one in answers])
    at = int(np.where(of_this, np.abs(table[:, 0]), -1.0).argmax())
    return answer, change(curve, float(grid[j[at]]), float(grid[i[at]]), curve.freedom, matters)


def of_refits(
    curve: Curve, fits: Sequence[MixedFit], matters: float | None, lead: Difference
) -> list[tuple[str, float]]:
    """The answer of `largest` in words, and the change along `lead`, for fits of one design."""
    grid, i, j = _pairs(curve)
    at = curve.rows(grid)
    to, versus = curve.rows(np.array([lead.level, lead.versus], dtype=float))
    rows = np.vstack([at[j] - at[i], to - versus])
    told = []
    for fit in fits:
        table = fit.linear(rows).to_numpy()
        found = _overall(table[:-1], curve, matters)[0].told(matters)
        told.append((found, float(table[-1, 0])))
    return told


def _pairs(curve: Curve) -> tuple[Floats, Integers, Integers]:
    """Doses along the curve, and all pairs of them."""
    grid = np.linspace(curve.low, curve.high, 13)
    i, j = np.triu_indices(len(grid), 1)
    return grid, i, j


def _overall(table: Floats, curve: Curve, matters: float | None) -> tuple[Answer, list[Answer]]:
    """One answer for differences ``estimate, se, df`` (one a row), and each one's own."""
    from scipy import special

    d, se, df = table.T
    known = np.where(df >= LEAST_DF, df, LEAST_DF)
    factor = np.sqrt(curve.freedom * special.fdtri(curve.freedom, known, curve.fit.level))
    wide = np.where(df >= LEAST_DF, factor * se, np.inf)
    answers = decide_each(d - wide, d + wide, matters)
    return next(a for a in ORDER if a in answers), answers


def trend_of(curve: Curve, whole: Difference) -> str:
    """What surely happens along the doses, in a word or two.

    Of a curve three things are looked at: its slope at both ends, and what it does overall. Any two
    of them being none, the curve is flat; so where it is surely not flat (an F test of line and
    bend together), each may be read at its own level (closed testing: Marcus, Peritz & Gabriel
    1976, Biometrika 63:655).
    """
    overall = sign(whole.low, whole.high)
    if curve.shape != "curved":
        way = {1: "up", -1: "down", 0: "unclear"}[overall]
        return f"{way} to a plateau" if overall and curve.break_at is not None else way
    start, middle, end = curve.rows(np.linspace(curve.low, curve.high, 3))
    if not curve.fit.test(np.array([middle - start, end - start]))["p"] < 1 - curve.fit.level:
        return "unclear"
    at = slopes(curve, np.array([curve.low, curve.high]))
    first, last = (sign(low, high) for _, low, high in at)
    if first == last == 0 and overall:
        return "up overall" if overall > 0 else "down overall"
    return _TRENDS[first, last]


def both_sides(doses: Doses, trend: str) -> str:
    """A peak or dip only where the doses themselves show both its sides, the curve left away.

    A curve with one bend that has risen must fall: where an outcome levels off, or has its best
    near one end, it shows a peak that is not there. So some dose inside must differ from the lowest
    one, and some from the highest (each end by Dunnett's intervals).

    Returns
    -------
    str
        `trend`; of a peak or dip what is left of it where one side is not sure.
    """
    if trend not in ("peak", "dip"):
        return trend
    return _ONE_SIDE[trend].get(_beaten(doses, 1.0 if trend == "peak" else -1.0), trend)


def may_be_best(doses: Doses, curve: Curve, best: BestDose) -> BestDose:
    """Count an end among the doses that may be best unless the doses themselves say it is not.

    As for `both_sides`: what goes on rising ever more slowly is best at the end, where a curve with
    one bend has turned.
    """
    if curve.shape != "curved":
        return best
    beaten = _beaten(doses, 1.0 if best.want == "high" else -1.0)
    ends = [
        (end, end) for end, lost in zip((curve.low, curve.high), beaten, strict=True) if not lost
    ]
    return replace(best, may_be=DoseSet.of([*best.may_be.pieces, *ends]))


def _beaten(doses: Doses, way: float) -> tuple[bool, bool]:
    """Whether some dose baked surely lies above (`way` 1) or below (−1) the lowest, the highest.

    Where that cannot be asked, there is nothing but the curve to go by.
    """
    name = doses.of[0]
    levels = sorted(doses.frame[name].unique())
    if len(levels) > MOST_SETTINGS:
        return True, True
    try:
        fit = doses.fit(f"C({name})")
    except DesignError:
        return True, True  # each dose mixed once
    edge = "low" if way > 0 else "high"
    first, last = (
        bool((fit.contrasts(name, "control", end)[edge] * way > 0).any())
        for end in (levels[0], levels[-1])
    )
    return first, last


#: What is left of a peak or dip, by whether its first and its last side are sure.
_ONE_SIDE = {
    "peak": {(True, False): "up first", (False, True): "down last", (False, False): "unclear"},
    "dip": {(True, False): "down first", (False, True): "up last", (False, False): "unclear"},
}
_TRENDS = {
    (1, 1): "up", (-1, -1): "down", (1, -1): "peak", (-1, 1): "dip", (1, 0): "up first",
    (-1, 0): "down first", (0, 1): "up last", (0, -1): "down last", (0, 0): "unclear",
}  # fmt: skip


def along(curve: Curve) -> pd.DataFrame:
    """The curve at 41 doses, and where a plateau begins."""
    doses = np.linspace(curve.low, curve.high, 41)
    if curve.break_at is not None:
        doses = np.union1d(doses, [curve.break_at])
    table = with_interval(curve.heights(doses), curve.fit.level)
    table.insert(0, "dose", doses)
    return table


def moved_by(
    doses: Doses, curve: Curve, now: Difference, outcome: str, covariates: Sequence[str]
) -> list[str]:
    """What holding the covariates alike did to the change over all doses."""
    if not covariates:
        return []
    beside = {term(c, has_numbers(doses.frame[safe_name(c)])) for c in covariates}
    less = replace(doses, terms=tuple(t for t in doses.terms if t not in beside))
    try:
        without = whole(FITTED[curve.shape](less), None)
    except DesignError:
        return []
    half, unit = now.half_width, words.unit_of(outcome)
    held = words.join(map(words.name, covariates))
    return [
        f"with {held} held alike, the change from the lowest dose to the highest is "
        f"{words.number(now.difference, half, unit)} "
        f"(±{words.number(half, half)}); without that it would be "
        f"{words.number(without.difference, half, unit)} "
        f"(±{words.number(without.half_width, without.half_width)})"
    ]
