"""Curves of a rising dough: Gompertz, logistic, and a smooth one that only rises, then falls.

Zwietering et al. (1990, *Appl Environ Microbiol* 56:1875) write both growth curves in terms a
baker can read: what is gained in the end, the top speed, and the lag, which is where the tangent
at the fastest moment meets the start (their table 2: A·exp(−exp(μe/A·(λ − t) + 1)), and
A/(1 + exp(4μ/A·(λ − t) + 2))). Dough volume over time was found to follow the modified Gompertz
curve (Romano et al. 2007, *J Food Eng* 83:142).

A proof ratio is 1 when the clock starts, whatever the curve. So the ratio is taken as
1 + y(t) − y(0), and the lag is where the steepest tangent meets 1. Intervals are by the delta
method; speed, gain and time to double on the logarithm, the lag as it is. How often they hold the
truth is shown by simulation in the tests.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats
from kit.analysis.proofs.curve_fit import CurveFit, fit_curve
from kit.analysis.proofs.readings import Readings
from kit.errors import DataError

__all__ = [
    "DOUBLE", "SHAPES", "Shape", "both", "fit_rise", "of_growth", "smooth", "unimodal",
]  # fmt: skip

#: Double the volume of the moment the clock started.
DOUBLE = 2.0
#: A number known to no better than this factor either way is not told. Own choice, no source.
_UNKNOWN = 4.0
#: No dough is taken to gain more than this many times its own volume. Own limit, no source.
MOST_GAIN = 6.0
_FAR = 50.0  # exp(exp(50)) and beyond are the same to rounding


@dataclass(frozen=True)
class Shape:
    """A growth curve of θ = (log gain, log speed, hours to the fastest moment).

    Those three are what the search uses: the logarithms keep gain and speed above 0, and a
    fastest moment at or after the start keeps the lag at or above 0.

    Parameters
    ----------
    name : str
    steep : float
        The curve's argument is steep·μ/A·(t_fastest − t): e for Gompertz, 4 for the logistic.
    share : callable
        Share of the gain at an argument z.
    slope : callable
        Derivative of the share in −z.
    argument : callable
        The z at which a share is reached.
    """

    name: str
    steep: float
    share: Callable[[Floats], Floats]
    slope: Callable[[Floats], Floats]
    argument: Callable[[Floats], Floats]

    def _z(self, hours: Any, theta: Floats) -> Floats:
        log_gain, log_speed, fastest = np.moveaxis(np.asarray(theta, dtype=float), -1, 0)
        rate = self.steep * np.exp(log_speed - log_gain)
        out: Floats = np.clip(rate * (fastest - np.asarray(hours, dtype=float)), -_FAR, _FAR)
        return out

    def ratio(self, hours: Any, theta: Floats) -> Floats:
        """Proof ratio; `hours` and the leading axes of `theta` are broadcast together."""
        gain = np.exp(np.asarray(theta)[..., 0])
        grown = self.share(self._z(hours, theta)) - self.share(self._z(0.0, theta))
        out: Floats = 1 + gain * grown
        return out

    def derivatives(self, hours: Any, theta: Floats) -> Floats:
        """Derivatives of the ratio in θ, shape (n, 3)."""

        def of_growth(at: Floats) -> Floats:
            z = self._z(at, theta)
            gain, speed = np.exp(theta[0]), np.exp(theta[1])
            fall = gain * self.slope(z)
            fastest = np.broadcast_to(self.steep * speed / gain, z.shape)
            columns = [gain * self.share(z) + fall * z, -fall * z, -fall * fastest]
            out: Floats = np.stack(columns, axis=-1)
            return out

        t = np.asarray(hours, dtype=float)
        return of_growth(t) - of_growth(np.zeros_like(t))

    def lag(self, theta: Floats) -> Floats:
        """Hours until the steepest tangent leaves a ratio of 1."""
        gain, speed = np.exp(theta[..., 0]), np.exp(theta[..., 1])
        middle, start = self.share(np.zeros(())), self.share(self._z(0.0, theta))
        out: Floats = theta[..., 2] - (middle - start) * gain / speed
        return out

    def plateau(self, theta: Floats) -> Floats:
        """Ratio it levels off at."""
        out: Floats = 1 + np.exp(theta[..., 0]) * (1 - self.share(self._z(0.0, theta)))
        return out

    def reach(self, ratio: float, theta: Floats) -> Floats:
        """Hours until a ratio; infinite where the curve levels off below it."""
        gain, speed = np.exp(theta[..., 0]), np.exp(theta[..., 1])
        share = (ratio - 1) / gain + self.share(self._z(0.0, theta))
        with np.errstate(all="ignore"):
            hours = theta[..., 2] - self.argument(share) * gain / (self.steep * speed)
        out: Floats = np.where(share < 1, hours, np.inf)
        return out

    def theta(self, gain: Any, speed: Any, lag: Any) -> Floats:
        """The θ of a curve whose `lag` is Zwietering's λ (that of y, not of the ratio)."""
        gain, speed, lag = (np.asarray(v, dtype=float) for v in (gain, speed, lag))
        middle = self.share(np.zeros(())) * gain / speed
        out: Floats = np.stack([np.log(gain), np.log(speed), lag + middle], axis=-1)
        return out


def _gompertz_share(z: Floats) -> Floats:
    return np.asarray(np.exp(-np.exp(z)))


def _gompertz_slope(z: Floats) -> Floats:
    return np.asarray(np.exp(z - np.exp(z)))


def _logistic_share(z: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(z)))


def _logistic_slope(z: Floats) -> Floats:
    share = _logistic_share(z)
    return share * (1 - share)


def _gompertz_when(share: Floats) -> Floats:
    return np.asarray(np.log(-np.log(share)))


def _logistic_when(share: Floats) -> Floats:
    return np.asarray(np.log(1 / share - 1))


SHAPES = {
    "gompertz": Shape("gompertz", np.e, _gompertz_share, _gompertz_slope, _gompertz_when),
    "logistic": Shape("logistic", 4.0, _logistic_share, _logistic_slope, _logistic_when),
}


def fit_rise(
    shape: Shape, hours: Floats, ratios: Floats, u: Floats | None, level: float
) -> CurveFit | None:
    """Fit one growth curve; None where no minimum is found, or the readings leave it open.

    Left open is a curve that is known nowhere near as well as a volume: two readings of one moment
    that differ, for example, allow any speed between them. Readings at hour 0 say nothing about the
    curve, which starts at 1, and must be left out.
    """
    span = float(hours.max())
    gained = np.maximum(ratios - 1, 1e-3)
    t, r = np.append(0.0, hours), np.append(1.0, ratios)
    steps = np.diff(t) > 0
    slopes = np.diff(r)[steps] / np.diff(t)[steps]
    speed = max(float(slopes.max()), 0.01 / span)
    middle = float((t[:-1] + t[1:])[steps][slopes.argmax()] / 2)
    low = np.array([np.log(0.02), np.log(1e-3 / span), 0.0])
    high = np.array([np.log(MOST_GAIN), np.log(100 / span), 3 * span])
    starts = [
        np.clip([np.log(gained.max() * more), np.log(speed), at], low + 1e-6, high - 1e-6)
        for more, at in ((1.1, middle), (2.0, max(span, middle)))
    ]
    try:
        fit = fit_curve(
            shape.ratio, hours, ratios, starts, u, ("log gain", "log speed", "fastest_hours"),
            (low, high), shape.derivatives, level,
        )  # fmt: skip
    except DataError:
        return None
    # not a number: held at an end
    covariance = np.where(np.isnan(fit.covariance), 0.0, fit.covariance)
    at_end = fit.theta[0] < low[0] + 1e-3 or not low[1] + 1e-3 < fit.theta[1] < high[1] - 1e-3
    if at_end or not np.isfinite(covariance).all():  # it did not rise, or jumped
        return None
    along = shape.derivatives(np.linspace(0, span, 101), fit.theta)
    variance = float(np.einsum("ni,ij,nj->n", along, covariance, along).max())
    return fit if variance < MOST_GAIN**2 else None


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


def unimodal(values: Floats, peak: int) -> Floats:
    """Nearest values (least squares) that only rise up to `peak` and only fall after it.

    Examples
    --------
    >>> unimodal(np.array([1.0, 1.3, 1.2, 2.0, 1.8]), 3).tolist()
    [1.0, 1.25, 1.25, 2.0, 1.8]
    """
    from scipy.optimize import isotonic_regression

    up = isotonic_regression(values[: peak + 1]).x
    down = (
        isotonic_regression(values[peak + 1 :], increasing=False).x
        if peak + 1 < len(values)
        else []
    )
    return np.concatenate([up, np.minimum(down, up[-1])])


def smooth(hours: Floats, ratios: Floats) -> Any:
    """A smooth curve through the readings that has no bump of its own.

    Readings are first brought to rise up to the highest and to fall after it (`unimodal`), then
    joined by a monotone cubic (Fritsch & Butland 1984, SIAM J Sci Stat Comput 5:300, as
    `scipy.interpolate.PchipInterpolator`). Readings of one time are averaged.

    Returns
    -------
    PchipInterpolator
    """
    from scipy.interpolate import PchipInterpolator

    t, place = np.unique(np.append(0.0, hours), return_inverse=True)
    r = np.bincount(place, np.append(1.0, ratios)) / np.bincount(place)
    return PchipInterpolator(t, unimodal(r, int(r.argmax())))
