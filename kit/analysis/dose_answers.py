"""Differences along a fitted shape, protected where they were looked for, and what they say."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.best_dose import slopes
from kit.analysis.compare import LEAST_DF, Difference, _term
from kit.analysis.dose_fit import Curve, Doses, curved, plateau, straight
from kit.analysis.dose_set import critical
from kit.analysis.structure import safe_name
from kit.analysis.verdict import Answer, decide
from kit.errors import DesignError

__all__ = ["FITTED", "along", "change", "largest", "moved_by", "scheffe", "trend_of", "whole"]

FITTED = {"straight": straight, "curved": curved, "plateau": plateau}


def change(
    curve: Curve, to: float, versus: float, freedom: int, matters: float | None
) -> Difference:
    """One difference along the curve; with `freedom` above 1 protected by Scheffé."""
    from scipy import stats

    row = curve.changes(np.array([to]), np.array([versus])).iloc[0]
    difference, se, df = (float(row[c]) for c in ("estimate", "se", "df"))
    t = difference / se
    p = float(stats.f.sf(t**2 / freedom, freedom, df))
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
    from scipy import stats

    return math.sqrt(freedom * float(stats.f.ppf(level, freedom, df)))


def largest(curve: Curve, matters: float | None) -> tuple[Answer, Difference]:
    """One answer for all differences between two doses, and the largest with that answer."""
    from scipy import stats

    grid = np.linspace(curve.low, curve.high, 13)
    i, j = np.triu_indices(len(grid), 1)
    table = curve.changes(grid[j], grid[i])
    df = table["df"].to_numpy(dtype=float)
    known = np.where(df >= LEAST_DF, df, LEAST_DF)
    factor = np.sqrt(curve.freedom * stats.f.ppf(curve.fit.level, curve.freedom, known))
    wide = np.where(df >= LEAST_DF, factor, np.inf) * table["se"].to_numpy(dtype=float)
    d = table["estimate"]
    answers = np.array([decide(a, b, matters) for a, b in zip(d - wide, d + wide, strict=True)])
    order = (Answer.MATTERS, Answer.UNCLEAR, Answer.SMALL, Answer.NONE)
    answer = next(a for a in order if (answers == a).any())
    settled = answer in (Answer.SMALL, Answer.NONE)
    of_this = np.ones(len(d), dtype=bool) if settled else answers == answer
    at = int(np.where(of_this, d.abs(), -1.0).argmax())
    return answer, change(curve, float(grid[j[at]]), float(grid[i[at]]), curve.freedom, matters)


def trend_of(curve: Curve, whole: Difference) -> str:
    """What surely happens along the doses, in a word or two."""
    overall = int(whole.low > 0) - int(whole.high < 0)
    if curve.break_at is not None:
        return {1: "up to a plateau", -1: "down to a plateau", 0: "unclear"}[overall]
    if curve.shape != "curved":
        return {1: "up", -1: "down", 0: "unclear"}[overall]
    at = slopes(curve, np.array([curve.low, curve.high]))
    first, last = (int(low > 0) - int(high < 0) for _, low, high in at)
    if first == last == 0 and overall:
        return "up overall" if overall > 0 else "down overall"
    return _TRENDS[first, last]


_TRENDS = {
    (1, 1): "up", (-1, -1): "down", (1, -1): "peak", (-1, 1): "dip", (1, 0): "up first",
    (-1, 0): "down first", (0, 1): "up last", (0, -1): "down last", (0, 0): "unclear",
}  # fmt: skip


def along(curve: Curve) -> pd.DataFrame:
    """The curve at 41 doses, and where a plateau begins."""
    doses = np.linspace(curve.low, curve.high, 41)
    if curve.break_at is not None:
        doses = np.union1d(doses, [curve.break_at])
    table = curve.heights(doses).rename(columns={"estimate": "mean"})
    half = np.array([critical(df, curve.fit.level) for df in table["df"]]) * table["se"]
    table = table.assign(low=table["mean"] - half, high=table["mean"] + half)
    table.insert(0, "dose", doses)
    return table


def moved_by(
    doses: Doses, curve: Curve, now: Difference, outcome: str, covariates: Sequence[str]
) -> list[str]:
    """What holding the covariates alike did to the change over all doses."""
    if not covariates:
        return []
    beside = {
        _term(c, pd.api.types.is_numeric_dtype(doses.frame[safe_name(c)])) for c in covariates
    }
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
