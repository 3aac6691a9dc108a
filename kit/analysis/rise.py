"""How a dough rose: lag, top speed, where it levels off, and when it was double.

A growth curve is fitted where the readings allow one (`rise_models`); otherwise the readings
speak for themselves: double lies between the last reading below it and the first one above.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, cast

import numpy as np
import pandas as pd

from kit.analysis.asked import need_between, need_one_of
from kit.analysis.moments import Floats
from kit.analysis.proofs.curve_fit import CurveFit
from kit.analysis.proofs.models import DOUBLE, SHAPES, both, fit_rise, of_growth, smooth
from kit.analysis.proofs.readings import MOST_RATIO, Readings, read_rise
from kit.analysis.proofs.rise_words import RiseCurve, about_shape
from kit.errors import DataError

__all__ = ["RiseCurve", "rise"]

#: A growth curve has three unknowns; its own spread needs a fourth reading after the start.
LEAST = 4
#: A shape is clearly better when −2 log likelihood is this much less (a factor of e² ≈ 7 in
#: likelihood; a rule of thumb, no source). Without stated uncertainties a curve comes close to few
#: readings by chance, and n/(n − p) times as much is asked for: own choice, held to by simulation.
CLEARLY = 4.0
#: Stated uncertainties that would explain such a misfit less often than this do not explain it.
_MISFIT = 0.01
#: A start known no better than this tells no ratio.
_MOST_START = 0.5
#: Of what a reading is stated to be unsure by, so much is taken to be its own at least.
_LEAST_SHARE = 0.1
_DRAWN = 121

Asked = Literal["auto", "gompertz", "logistic", "smooth"]


def rise(
    hours: Sequence[float] | Floats,
    ratios: Sequence[float] | Floats,
    u: float | Sequence[float] | Floats | None = None,
    shape: Asked = "auto",
    level: float = 0.95,
    u_start: float = 0.0,
) -> RiseCurve:
    """Describe the rise of one dough from a few readings.

    Parameters
    ----------
    hours : sequence of float
        Since the clock started, at which the ratio was 1 by definition.
    ratios : sequence of float
        Volume over the volume at the start: 2 is double. In a straight container or a ring
        that is the ratio of the heights; of a free piece that keeps its shape, the cube of the
        ratio of its heights. Missing ones (None, NaN) are left out.
    u : float or sequence, optional
        Standard uncertainty of a ratio. Without it the spread about the curve is used.
    u_start : float
        Relative standard uncertainty of the volume at the start, which is in every ratio (and in
        its `u`) and so does not average out. 0 where a ratio was told by itself.
    shape : {"auto", "gompertz", "logistic", "smooth"}
        "auto" takes the growth curve that fits better, the smooth one where neither fits the
        stated uncertainties, and the readings alone where there are fewer than four.
    level : float
        Of the intervals.

    Returns
    -------
    RiseCurve

    Raises
    ------
    DataError
        No reading after the start.
    InputError
        A reading that is none, or a shape that the readings do not allow.

    Examples
    --------
    >>> rise([0, 0.5, 1, 1.5, 2, 2.5, 3], [1, 1.06, 1.28, 1.66, 2.03, 2.30, 2.47])
    <RiseCurve gompertz, 7 readings: double at 1.96 h [1.94, 1.97]>
    """
    need_one_of("shape", shape, ("auto", *SHAPES, "smooth"))
    need_between("level", level, 0, 1, "Write 0.95 for 95 %.")
    read = given = read_rise(hours, ratios, u)
    checks = list(read.checks)
    t, r, uncertain = read.rising()
    if u_start != 0:
        remedy = "Give u of the first volume over that volume, for example 0.02."
        need_between("u_start", u_start, 0, _MOST_START, remedy)
    if u_start and read.u is not None:
        read = replace(read, u=_by_itself(read.ratios, read.u, u_start))
    fits: dict[str, CurveFit] = {}
    if shape != "smooth" and len(t) >= LEAST and len(np.unique(t)) >= LEAST - 1:
        for name in SHAPES if shape == "auto" else [shape]:
            fitted = fit_rise(SHAPES[name], t, r, uncertain, level)
            if fitted is not None:
                fits[name] = fitted
    if shape in SHAPES and not fits:
        msg = (
            f"{len(t)} readings after the start do not allow a growth curve, which has three "
            f"unknowns: {LEAST} or more are needed. Leave shape out to hear what can be said."
        )
        raise DataError(msg)
    tried = _side_by_side(fits, known=uncertain is not None)
    chosen = "between"
    if fits:
        chosen = str(tried["shape"].iloc[int(tried["misfit"].to_numpy().argmin())])
        if shape == "auto" and _unexplained(fits[chosen]):
            checks.append(
                "neither growth curve goes through the readings as closely as their stated "
                "uncertainty asks: a smooth curve is used, which has no lag and no plateau"
            )
            chosen = "smooth"
    elif shape == "smooth" or (shape == "auto" and len(t) >= LEAST):
        chosen = "smooth"
    fit = fits.get(chosen)
    if fit is not None:
        numbers, more = of_growth(fit, chosen, read)
        for row in tried[(tried["shape"] != chosen) & ~tried["clear"]].itertuples():
            numbers = both(numbers, of_growth(fits[str(row.shape)], str(row.shape), read)[0])
    else:
        numbers, more = _of_readings(read, chosen, level)
    if u_start:
        asked: Asked = "auto" if chosen == "between" else cast(Asked, chosen)
        # the other way where it would go beyond what a ratio can be: as far, to first order
        off = -u_start if read.top * (1 + u_start) > MOST_RATIO else u_start
        moved = rise(read.hours, read.ratios * (1 + off), read.u, asked, level=level)
        numbers = _widened(numbers, moved.numbers["estimate"].to_numpy(), level)
    checks += more
    checks += about_shape(chosen, tried, fits)
    return RiseCurve(
        shape=chosen,
        numbers=numbers,
        curve=_along(read, fit, chosen),
        readings=given.table(used_to_peak=fit is not None),
        fell=read.fell,
        tried=tried,
        level=level,
        checks=tuple(checks),
        fit=fit,
    )


def _by_itself(ratios: Floats, u: Floats, u_start: float) -> Floats:
    """What a reading is unsure by without the start's share; some is always left."""
    left = np.sqrt(np.maximum(u**2 - (ratios * u_start) ** 2, 0.0))
    own: Floats = np.maximum(left, _LEAST_SHARE * u)
    return own


def _widened(numbers: pd.DataFrame, moved: Floats, level: float) -> pd.DataFrame:
    """Intervals that hold the start's error too: what the numbers move by when it is off by one u.

    Independent of the readings' own errors, so it adds in squares (GUM 5.1.2; found by moving the
    input as in its 5.1.3, note 2).
    """
    from scipy import special

    estimate = numbers["estimate"].to_numpy()
    shift = float(special.ndtri((1 + level) / 2)) * np.nan_to_num(np.abs(moved - estimate))
    low, high = numbers["low"].to_numpy(), numbers["high"].to_numpy()
    wider_low = np.where(np.isnan(estimate), low, estimate - np.hypot(estimate - low, shift))
    wider_high = np.where(np.isnan(estimate), high, estimate + np.hypot(high - estimate, shift))
    return numbers.assign(low=np.maximum(wider_low, 0.0), high=wider_high)


def _side_by_side(fits: dict[str, CurveFit], known: bool) -> pd.DataFrame:
    """How much worse each growth curve is than the better one, by −2 log likelihood.

    Without stated uncertainties it is that of the residuals with the curve's unknowns integrated
    out, whose spread has n − p degrees of freedom: −2 log L = (n − p) log RSS.
    """
    tiny = np.finfo(float).tiny
    left = [f.n - len(f.theta) for f in fits.values()]
    away = [
        f.rss if known else df * np.log(max(f.rss, tiny))
        for f, df in zip(fits.values(), left, strict=True)
    ]
    misfit = np.array(away) - min(away, default=0.0)
    least = [
        CLEARLY * (1.0 if known else f.n / df) for f, df in zip(fits.values(), left, strict=True)
    ]
    return pd.DataFrame({"shape": list(fits), "misfit": misfit, "clear": misfit >= np.array(least)})


def _unexplained(fit: CurveFit) -> bool:
    """Whether stated uncertainties do not explain the misfit (never, where none were)."""
    from scipy import special

    chance = float(special.chdtrc(fit.n - len(fit.theta), fit.rss))
    return fit.stated and chance < _MISFIT


def _of_readings(read: Readings, chosen: str, level: float) -> tuple[pd.DataFrame, list[str]]:
    """What can be told without a growth curve."""
    nan = np.nan
    double, low, high = read.crossing(DOUBLE, level)
    checks, speed = [], nan
    if chosen == "smooth":
        curve = smooth(read.hours, read.ratios)
        t = np.linspace(0, read.peak_hours, 400)
        speed = float(curve.derivative()(t).max())
        if read.top >= DOUBLE and np.isfinite(double):
            t = np.linspace(0, read.peak_hours, 4001)
            double = float(np.clip(np.interp(DOUBLE, curve(t), t), low, high))
    else:
        count = len(read.rising()[0])
        few = "one reading" if count == 1 else f"{count} readings"
        until = "after the start" if read.fell is None else "until it fell"
        checks.append(
            f"{few} {until}: too few for a curve. What lies between two readings is taken "
            f"as straight; {LEAST} readings spread over the rise would tell lag and speed"
        )
    rows = [
        ("lag_hours", nan, nan, nan),
        ("speed_per_hour", speed, nan, nan),
        ("plateau_ratio", nan, read.top, np.inf),
        ("double_hours", double, low, high),
    ]
    return pd.DataFrame(rows, columns=["name", "estimate", "low", "high"]), checks


def _along(read: Readings, fit: CurveFit | None, chosen: str) -> pd.DataFrame:
    """The curve where it is drawn."""
    if fit is not None:
        t = np.linspace(0, read.peak_hours, _DRAWN)
        theta, spread = fit.theta, np.nan_to_num(fit.covariance, nan=0.0, posinf=0.0)
        ratio = SHAPES[chosen].ratio(t, theta)
        slope = SHAPES[chosen].derivatives(t, theta)
        # rounding can leave the variance of a height that is known for sure just below 0
        variance = np.maximum(np.einsum("ni,ij,nj->n", slope, spread, slope), 0.0)
        half = fit.quantile() * np.sqrt(variance)
        return pd.DataFrame({"hours": t, "ratio": ratio, "low": ratio - half, "high": ratio + half})
    if chosen == "smooth":
        t = np.linspace(0, read.last, _DRAWN)
        ratio = np.asarray(smooth(read.hours, read.ratios)(t), dtype=float)
    else:
        t, ratio = np.append(0.0, read.hours), np.append(1.0, read.ratios)
    return pd.DataFrame({"hours": t, "ratio": ratio, "low": np.nan, "high": np.nan})
