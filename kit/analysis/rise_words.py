"""Every sentence about a rise, made from the numbers of the result."""

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit.analysis import words

if TYPE_CHECKING:
    from kit.analysis.curve_fit import CurveFit
    from kit.analysis.rise import RiseCurve

__all__ = [
    "DOUBLE_IS", "about_shape", "clock", "finding", "headline", "method", "next_step", "span",
    "told",
]  # fmt: skip

#: Own arithmetic: the cube root of 2 is 1.26.
DOUBLE_IS = (
    "Double is double the volume (about 1.26 × in height when the shape stays the same; 2 × in a "
    "ring or a straight jar)."
)
#: Faster than any dough rises: two readings of one moment that differ. Own limit, no source.
_FASTEST = 10.0
SHAPES = {
    "gompertz": "the Gompertz curve (quick start, long tail)",
    "logistic": "the logistic curve (start and end alike)",
}


def clock(hours: float) -> str:
    """A length of time as a baker says it.

    Examples
    --------
    >>> clock(1.96), clock(0.4), clock(2.0)
    ('1 h 58 min', '24 min', '2 h')
    """
    if not math.isfinite(hours):
        return "unknown" if math.isnan(hours) else "without limit"
    minutes = round(60 * hours)
    whole, rest = divmod(minutes, 60)
    if whole == 0:
        return f"{rest} min"
    return f"{whole} h {rest} min" if rest else f"{whole} h"


def span(low: float, high: float) -> str:
    """An interval of time in words.

    Examples
    --------
    >>> span(1.9, 2.1), span(1.9, float("inf"))
    ('1 h 54 min to 2 h 6 min', '1 h 54 min or later')
    """
    if math.isinf(high) or math.isnan(high):
        return f"{clock(low)} or later"
    return f"{clock(low)} to {clock(high)}"


def told(row: "pd.Series[Any]", show: Callable[[float], str]) -> str:
    """A number with its interval; "not known" where the readings do not tell.

    Examples
    --------
    >>> told(pd.Series({"estimate": 1.5, "low": 1.4, "high": 1.75}), clock)
    '1 h 30 min (1 h 24 min to 1 h 45 min)'
    """
    value, low, high = (float(row[k]) for k in ("estimate", "low", "high"))
    if math.isnan(value):
        return "not known"
    if not math.isfinite(low + high):
        return show(value)
    return f"{show(value)} ({show(low)} to {show(high)})"


def headline(c: "RiseCurve") -> str:
    """When it was double."""
    row, top = c.of("double_hours"), float(c.readings["ratio"].max())
    last = float(c.readings["hours"].max())
    at = "" if c.room_temp_c is None else f" at {c.room_temp_c:.3g} °C"
    if math.isnan(row["estimate"]):
        if c.fit is not None and float(c.of("plateau_ratio")["high"]) < 2:
            return f"It was not double{at}: it levels off near {c.plateau_ratio:.2f} times."
        return f"It was not double yet{at} after {clock(last)}: {top:.2f} times its start."
    if c.fit is None:
        low, high = clock(row["low"]), clock(row["high"])
        if low == high:
            return f"It was double{at} about {clock(row['estimate'])} after the start."
        where = f"between {low} and {high}"
        if math.isinf(row["high"]):
            where = f"after {clock(row['low'])}, perhaps not yet"
        return f"It was double{at} {where}, about {clock(row['estimate'])} after the start."
    sure = f"({span(row['low'], row['high'])})"
    verb = "would be" if row["estimate"] > last else "was"
    return f"It {verb} double{at} {clock(row['estimate'])} after the start {sure}."


def finding(c: "RiseCurve") -> str:
    """Lag, top speed, plateau and fall."""
    parts = []
    if c.fit is not None:
        lag, speed, plateau = (c.of(k) for k in ("lag_hours", "speed_per_hour", "plateau_ratio"))
        until = f"{clock(lag['estimate'])}"
        if math.isfinite(lag["high"]):
            until += f" ({span(lag['low'], lag['high'])})"
        half = (speed["high"] - speed["low"]) / 2
        fast = words.number(speed["estimate"], half)
        between = f"{words.number(speed['low'], half)} to {words.number(speed['high'], half)}"
        parts.append(
            f"It took {until} to get going, then gained at best {fast} ({between}) of its "
            "starting volume an hour"
        )
        if math.isnan(plateau["estimate"]):
            parts[-1] += "."
        else:
            half = (plateau["high"] - plateau["low"]) / 2
            level = words.number(plateau["estimate"], half)
            low, high = (words.number(plateau[k], half) for k in ("low", "high"))
            parts[-1] += f", and levels off at {level} times ({low} to {high})."
    elif 0 < c.speed_per_hour < _FASTEST:
        parts.append(
            f"At its fastest it gained {c.speed_per_hour:.2g} of its starting volume an hour."
        )
    if c.fell is not None:
        parts.append(
            f"After {clock(c.fell[0])} it fell, from {c.fell[1]:.2f} times: it had proofed past "
            "what it could hold."
        )
    return " ".join(parts)


def next_step(c: "RiseCurve") -> str:
    """What to do next. Common practice, no source."""
    row = c.of("double_hours")
    if c.fell is not None:
        return "Next: cook it earlier; aim at the ratio you like best, not at the most it can do."
    if math.isnan(row["estimate"]):
        return "Next: keep looking every quarter of an hour until it has passed double."
    if c.shape == "between":
        return (
            "Next: read it every quarter to half hour, from the start until it has passed double."
        )
    width = (row["high"] - row["low"]) / row["estimate"]
    if not width < 0.25:
        return "Next: a few more readings around double would narrow the time most."
    return "Next: record other doughs the same way; the time differs from dough to dough."


def about_shape(chosen: str, tried: pd.DataFrame, fits: Mapping[str, "CurveFit"]) -> list[str]:
    """Whether the readings tell the two growth curves apart."""
    if chosen not in fits or len(tried) < 2:
        return []
    other = tried[tried["shape"] != chosen].iloc[0]
    if other["clear"]:
        return []
    return [
        f"{SHAPES[chosen]} is drawn; so few readings do not rule out {SHAPES[other['shape']]}: the "
        "intervals hold what either of them says"
    ]


def method(c: "RiseCurve") -> str:
    """Model, intervals and sources, for a statistician."""
    if c.fit is None:
        how = "monotone cubic through isotonic values" if c.shape == "smooth" else "straight lines"
        return f"For the statistician: {how} between readings; limits are readings."
    held = "t" if math.isfinite(c.fit.df) else "normal"
    degrees = f" with {c.fit.df:.0f} df" if math.isfinite(c.fit.df) else ""
    both = "; ".join(f"{row.shape} +{row.misfit:.1f}" for row in c.tried.itertuples(index=False))
    return (
        f"For the statistician: modified {c.shape} curve (Zwietering et al. 1990) from a ratio of "
        f"1, least squares, residual SD {c.fit.sd:.2g}"
        f"{' times the stated uncertainty' if c.fit.stated else ''}; {100 * c.level:.0f} % "
        f"{held} intervals{degrees} by the delta method, speed, gain and time to double on the "
        f"logarithm. −2 log likelihood above the better: {both}."
    )
