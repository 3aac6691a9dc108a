"""Curves of a rising dough: Gompertz, logistic, and a smooth one that only rises, then falls.

Zwietering et al. (1990, *Appl Environ Microbiol* 56:1875) write both growth curves in terms a
baker can read: what is gained in the end, the top speed, and the lag, which is where the tangent
at the fastest moment meets the start. Dough volume over time was found to follow the modified
Gompertz curve (Romano et al. 2007, *J Food Eng* 83:142).

A proof ratio is 1 when the clock starts, whatever the curve. So the ratio is taken as
1 + y(t) − y(0), and the lag is where the steepest tangent meets 1.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from kit.analysis.curve_fit import CurveFit, fit_curve
from kit.analysis.moments import Floats
from kit.errors import DataError

__all__ = ["SHAPES", "Shape", "fit_rise", "gompertz", "logistic", "smooth", "unimodal"]

#: No dough is taken to gain more than this many times its own volume. Own limit, no source.
MOST_GAIN = 6.0
_FAR = 50.0  # exp(exp(50)) and beyond are the same to rounding


def gompertz(hours: Any, gain: float, speed: float, lag: float) -> Floats:
    """Modified Gompertz curve A·exp(−exp(μe/A·(λ − t) + 1)), Zwietering et al. 1990, table 2.

    Parameters
    ----------
    hours : array
        Time t.
    gain, speed, lag : float
        A, μ and λ: upper level, top speed per hour, hours until the steepest tangent leaves 0.

    Returns
    -------
    array

    Examples
    --------
    >>> round(float(gompertz(20, np.log(20), 0.2, 5)), 6)
    2.505549
    """
    t = np.asarray(hours, dtype=float)
    z = np.minimum(speed * np.e / gain * (lag - t) + 1, _FAR)
    out: Floats = gain * np.exp(-np.exp(z))
    return out


def logistic(hours: Any, gain: float, speed: float, lag: float) -> Floats:
    """Modified logistic curve A/(1 + exp(4μ/A·(λ − t) + 2)), Zwietering et al. 1990, table 2.

    Examples
    --------
    >>> float(logistic(2.0, 1.5, 0.75, 1.0))  # half the gain, A/(2μ) after the lag
    0.75
    """
    t = np.asarray(hours, dtype=float)
    z = np.minimum(4 * speed / gain * (lag - t) + 2, _FAR)
    out: Floats = gain / (1 + np.exp(z))
    return out


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
    out: Floats = np.exp(-np.exp(z))
    return out


def _gompertz_slope(z: Floats) -> Floats:
    out: Floats = np.exp(z - np.exp(z))
    return out


def _logistic_share(z: Floats) -> Floats:
    out: Floats = 1 / (1 + np.exp(z))
    return out


def _logistic_slope(z: Floats) -> Floats:
    share = _logistic_share(z)
    return share * (1 - share)


def _gompertz_when(share: Floats) -> Floats:
    out: Floats = np.log(-np.log(share))
    return out


def _logistic_when(share: Floats) -> Floats:
    out: Floats = np.log(1 / share - 1)
    return out


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
