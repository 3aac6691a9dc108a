"""Lag, speed, plateau and time to double of a fitted growth curve, with intervals.

By the delta method; speed, gain and time to double on the logarithm, the lag as it is. How often
the intervals hold the truth is shown by simulation in the tests.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd

from kit.analysis.curve_fit import CurveFit
from kit.analysis.moments import Floats
from kit.analysis.rise_models import SHAPES
from kit.analysis.rise_readings import Readings

__all__ = ["DOUBLE", "both", "of_growth"]

#: Double the volume of the moment the clock started.
DOUBLE = 2.0
#: A number known to no better than this factor either way is not told. Own choice, no source.
_UNKNOWN = 4.0


def of_growth(fit: CurveFit, name: str, read: Readings) -> tuple[pd.DataFrame, list[str]]:
    """Return ``name, estimate, low, high`` of the four numbers, and what to know about them."""
    shape, theta, q = SHAPES[name], fit.theta, fit.quantile()
    covariance = np.nan_to_num(fit.covariance, nan=0.0, posinf=1e12)
    gain_held, start_held = (bool(np.isnan(fit.covariance[i, i])) for i in (0, 2))

    def half_width(function: Callable[[Floats], Floats]) -> float:
        step = 1e-5
        slope = np.array(
            [(function(theta + h) - function(theta - h)) / (2 * step) for h in step * np.eye(3)]
        )
        if not np.isfinite(slope).all():
            return float("inf")
        return q * float(np.sqrt(max(slope @ covariance @ slope, 0.0)))

    rows: list[tuple[str, float, float, float]] = []
    checks = []
    lag, half = float(shape.lag(theta)), half_width(shape.lag)
    high = np.nan if start_held else lag + half
    rows.append(("lag_hours", max(lag, 0.0), max(lag - half, 0.0), high))
    if start_held:
        checks.append("it rose fastest right from the start: no lag is seen")
    speed, factor = float(np.exp(theta[1])), _factor(half_width(lambda v: v[1]))
    rows.append(("speed_per_hour", speed, speed / factor, speed * factor))
    gain = float(shape.plateau(theta)) - 1
    factor = _factor(half_width(lambda v: np.log(shape.plateau(v) - 1)))
    if not gain_held and factor < _UNKNOWN:
        rows.append(("plateau_ratio", 1 + gain, 1 + gain / factor, 1 + gain * factor))
    else:
        rows.append(("plateau_ratio", np.nan, min(1 + gain / factor, read.top), np.inf))
        checks.append("the readings end before the rise bends: where it levels off is not known")
    double = float(shape.reach(DOUBLE, theta))
    factor = np.inf
    if np.isfinite(double):
        factor = _factor(half_width(lambda v: np.log(shape.reach(DOUBLE, v))))
    if factor < _UNKNOWN:
        rows.append(("double_hours", double, double / factor, double * factor))
        if double > read.last:
            checks.append(
                f"double lies beyond the last reading ({read.last:.3g} h): the curve goes on by "
                "itself there, and its interval takes its shape for granted"
            )
    else:
        # the curve does not tell it; the readings may
        rows.append(("double_hours", *read.crossing(DOUBLE, fit.level)))
    return pd.DataFrame(rows, columns=["name", "estimate", "low", "high"]), checks


def _factor(half: float) -> float:
    """Interval half-width on the logarithm as a factor."""
    return float(np.exp(half)) if half < 100 else float("inf")


def both(numbers: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    """Intervals that also hold those of another curve that fits about as well."""
    wider = numbers.copy()
    wider["low"] = np.fmin(numbers["low"], other["low"])
    wider["high"] = np.fmax(numbers["high"], other["high"])
    return wider
