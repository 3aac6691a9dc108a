"""The best dose among those baked, where it may lie, and the least that is good enough.

The set of doses that may be best holds every dose at which a Kenward–Roger test does not
reject "this one is best". Inside the doses that is "the curve is level here and, that given, not
a dip": two independent tests that share the error four to one. At the ends it is "the curve does
not fall away here, and the other end is not better" (one-sided, half the error each). So the set
keeps its level without the peak being assumed to exist.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from kit.analysis.doses.fit import Curve
from kit.analysis.doses.settings import DoseSet, critical, fieller
from kit.analysis.means import with_interval
from kit.analysis.moments import Floats

__all__ = ["BestDose", "Want", "find_best", "slopes", "turning_set"]

Want = Literal["high", "low"]
#: Steps along the doses in which the least dose that is good enough is looked for.
STEPS = 120
#: Steps in which the doses are tried for being the best.
FINE = 1200


@dataclass(frozen=True)
class BestDose:
    """Where the outcome is best among the doses baked.

    Parameters
    ----------
    want : {"high", "low"}
        What is best: much of the outcome, or little.
    dose : float
        Where the fitted shape is best; of a plateau, where it begins.
    place : {"lowest", "inside", "highest", "plateau"}
        Whether that is an end of the doses baked.
    mean, low, high : float
        The outcome there, with its interval.
    may_be : DoseSet
        The doses baked that may be best.
    turning : float or None
        Where the curve turns, be it outside the doses baked.
    turning_kind : {"peak", "dip", ""}
    turning_set : DoseSet or None
        Where it may turn (Fieller): without end, or everything, when it may not turn at all.
    enough : float or None
        Lowest dose whose fitted outcome comes within `matters` of the best.
    enough_from, enough_surely : float or None
        Below the one it surely does not, from the other one on it surely does; None where no
        dose is sure.
    """

    want: Want
    dose: float
    place: Literal["lowest", "inside", "highest", "plateau"]
    mean: float
    low: float
    high: float
    may_be: DoseSet
    turning: float | None
    turning_kind: str
    turning_set: DoseSet | None
    enough: float | None
    enough_from: float | None
    enough_surely: float | None


def find_best(curve: Curve, want: Want, matters: float | None) -> BestDose:
    """Find the best dose of a fitted shape.

    Parameters
    ----------
    curve : Curve
    want : {"high", "low"}
    matters : float or None
        How far from the best is still good enough.
    """
    sign = 1.0 if want == "high" else -1.0
    grid = np.linspace(curve.low, curve.high, STEPS + 1)
    turning, kind, turns, may_be = None, "", None, DoseSet(())
    if curve.shape == "curved":
        turning, kind, turns = turning_set(curve)
        may_be = _may_be_best(curve, sign)
    elif curve.break_at is None:
        may_be = _line_may_be_best(curve, sign)
    dose = _highest(curve, sign, turning)
    place: Literal["lowest", "inside", "highest", "plateau"] = "inside"
    if dose in (curve.low, curve.high):
        place = "lowest" if dose == curve.low else "highest"
    if curve.break_at is not None:
        rise = curve.changes(np.array([curve.high]), np.array([curve.low])).iloc[0]
        if sign * rise["estimate"] > 0:
            dose, place = curve.break_at, "plateau"
        may_be = _plateau_may_be_best(curve, sign, grid)
    at = with_interval(curve.heights(np.array([dose])), curve.fit.level).iloc[0]
    enough, first, surely = (None, None, None)
    if matters is not None:
        enough, first, surely = _good_enough(curve, sign, matters, grid)
    return BestDose(
        want=want,
        dose=float(dose),
        place=place,
        mean=float(at["mean"]),
        low=float(at["low"]),
        high=float(at["high"]),
        may_be=may_be,
        turning=turning,
        turning_kind=kind,
        turning_set=turns,
        enough=enough,
        enough_from=first,
        enough_surely=surely,
    )


def turning_set(curve: Curve) -> tuple[float | None, str, DoseSet]:
    """Where a curve turns, whether to a peak or a dip, and every dose where it may.

    Fieller's set with the smallest Kenward–Roger degrees of freedom of the slopes at both ends
    and of the bend.
    """
    slopes = _slope_rows(curve, np.array([curve.low, curve.high]))
    bend = _slope_rows(curve, np.array([1.0])) - _slope_rows(curve, np.array([0.0]))
    rows = np.vstack([slopes, bend])
    df = float(curve.fit.linear(rows)["df"].min())
    # slopes are measured from the middle of the doses: the numbers then are of like size
    middle = (curve.low + curve.high) / 2
    basis = np.vstack([_slope_rows(curve, np.array([middle])), bend])
    v = basis @ curve.fit.covariance.to_numpy() @ basis.T
    a, b = curve.fit.linear(basis)["estimate"]
    found = fieller(a, b, v[0, 0], v[0, 1], v[1, 1], critical(df, curve.fit.level))
    if b == 0:
        return None, "", found.shifted(middle)
    return float(middle - a / b), "peak" if b < 0 else "dip", found.shifted(middle)


def _slope_rows(curve: Curve, doses: Floats) -> Floats:
    """Rows whose product with the coefficients is the slope at each dose."""
    names = list(curve.fit.coefficients.index)
    rows = np.zeros((len(doses), len(names)))
    if curve.shape == "curved":
        rows[:, names.index(curve.bend_name)] = 2 * doses
    rows[:, names.index(curve.of)] = 1.0
    return rows


def slopes(curve: Curve, doses: Floats) -> Floats:
    """``estimate, low, high`` of the slope of a line or curve at each dose, shape (r, 3)."""
    table = with_interval(curve.fit.linear(_slope_rows(curve, doses)), curve.fit.level)
    return table[["mean", "low", "high"]].to_numpy(dtype=float)


def _may_be_best(curve: Curve, sign: float) -> DoseSet:
    """Doses at which "this is the best one baked" is not rejected."""
    ends = np.array([curve.low, curve.high])
    at_ends = slopes(curve, ends)
    change = with_interval(curve.changes(ends[1:], ends[:1]), curve.fit.level).iloc[0]
    pieces = _level_and_no_dip(curve, sign)
    for end, slope, outward in zip(ends, at_ends, (-1.0, 1.0), strict=True):
        # largest value that "rises towards this end" and "is above the other end" may have
        rise = max(sign * outward * slope[1], sign * outward * slope[2])
        above = max(sign * outward * change["low"], sign * outward * change["high"])
        if rise >= 0 and above >= 0:
            pieces.append((float(end), float(end)))
    return DoseSet.of(pieces)


def _level_and_no_dip(curve: Curve, sign: float) -> list[tuple[float, float]]:
    """Stretches of doses where the curve may be level without turning the wrong way there."""
    from scipy import stats

    doses = np.linspace(curve.low, curve.high, FINE + 1)
    rows = _slope_rows(curve, doses)
    bend = (_slope_rows(curve, np.array([1.0])) - _slope_rows(curve, np.array([0.0])))[0]
    v = curve.fit.covariance.to_numpy()
    b = curve.fit.coefficients["estimate"].to_numpy(dtype=float)
    df = float(curve.fit.linear(np.vstack([rows[[0, -1]], bend]))["df"].min())
    slope, of_slope = sign * (rows @ b), np.einsum("ij,jk,ik->i", rows, v, rows)
    share = (rows @ v @ bend) / of_slope
    # the bend that is left when the slope is zero there: independent of the slope itself
    left = sign * (bend @ b) - share * slope
    of_left = np.maximum(bend @ v @ bend - share**2 * of_slope, 1e-300)
    error = 1 - curve.fit.level
    first = 0.8 * error
    second = 1 - (1 - error) / (1 - first)
    may = np.abs(slope) <= stats.t.isf(first / 2, df) * np.sqrt(of_slope)
    may &= left <= stats.t.isf(second, df) * np.sqrt(of_left)
    step = (curve.high - curve.low) / FINE / 2
    return [
        (max(float(dose) - step, curve.low), min(float(dose) + step, curve.high))
        for dose in doses[may]
    ]


def _line_may_be_best(curve: Curve, sign: float) -> DoseSet:
    """The end a straight line rises to; every dose when it may be level."""
    low, high = curve.low, curve.high
    _, least, most = slopes(curve, np.array([low]))[0]
    if least <= 0 <= most:
        return DoseSet(((low, high),))
    best = high if sign * least > 0 else low
    return DoseSet(((best, best),))


def _plateau_may_be_best(curve: Curve, sign: float, grid: Floats) -> DoseSet:
    """Where the plateau may begin if it surely lies above; the lowest dose if surely below."""
    whole = with_interval(curve.changes(grid[-1:], grid[:1]), curve.fit.level).iloc[0]
    low, high = sorted((sign * whole["low"], sign * whole["high"]))
    if high < 0:
        return DoseSet(((curve.low, curve.low),))
    if low <= 0 or curve.break_set is None:
        return DoseSet(((curve.low, curve.high),))
    return curve.break_set.within(curve.low, curve.high)


def _highest(curve: Curve, sign: float, turning: float | None) -> float:
    """Where the fitted shape is best: an end, or where it turns."""
    doses = [curve.low, curve.high]
    if turning is not None and curve.low < turning < curve.high:
        doses.append(turning)
    heights = sign * curve.heights(np.array(doses))["estimate"].to_numpy(dtype=float)
    return float(doses[int(heights.argmax())])


def _good_enough(
    curve: Curve, sign: float, matters: float, grid: Floats
) -> tuple[float | None, float | None, float | None]:
    """Lowest dose that comes within `matters` of the best: fitted, at least, surely."""
    rows, wide = curve.rows(grid), curve.rows(grid, wide=True)
    fit = curve.wider or curve.fit
    height = sign * (rows @ curve.fit.coefficients["estimate"].to_numpy(dtype=float))
    short = height.max() - height
    v = wide @ fit.covariance.to_numpy() @ wide.T
    own = np.diag(v)
    se = np.sqrt(np.maximum(own[:, None] + own[None, :] - 2 * v, 0.0))
    df = float(curve.changes(grid[-1:], grid[:1])["df"].iloc[0])
    if not math.isfinite(df):
        return None, None, None
    gap = height[:, None] - height[None, :]  # [other, this]: how much better the other is
    half = critical(df, fit.level) * se
    surely = (gap + half).max(axis=0) < matters
    possible = (gap - half).max(axis=0) <= matters
    return (
        float(grid[int((short <= matters + 1e-12).argmax())]),
        float(grid[int(possible.argmax())]) if possible.any() else None,
        float(grid[int(surely.argmax())]) if surely.any() else None,
    )
