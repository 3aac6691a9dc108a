"""The rise of one dough in words, every sentence made from its own numbers."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import words
from kit.analysis.proofs.curve_fit import CurveFit
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["DOUBLE_IS", "RiseCurve", "about_shape", "clock", "span", "told"]

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


@dataclass(frozen=True)
class RiseCurve(Told):
    """How one dough rose.

    Parameters
    ----------
    shape : {"gompertz", "logistic", "smooth", "between"}
        What was used; "between" is straight from reading to reading.
    numbers : DataFrame
        ``name, estimate, low, high``, one row each of ``lag_hours, speed_per_hour,
        plateau_ratio, double_hours``; NaN where it cannot be told, infinite where a limit is
        not reached. Speed is in starting volumes per hour.
    curve : DataFrame
        ``hours, ratio, low, high`` along the curve.
    readings : DataFrame
        ``hours, ratio, u, used``: not used are readings of a growth curve after the highest.
    fell : (float, float) or None
        Hours and ratio of the highest reading, where it fell after.
    tried : DataFrame
        ``shape, misfit, clear``: −2 log likelihood less that of the better growth curve, and
        whether that makes it clearly the worse one.
    level : float
        Of the intervals.
    checks : tuple of str
    fit : CurveFit or None
    photos : DataFrame
        ``hours, ratio, photo`` of readings measured on a photo: its file, drawn small.
    """

    shape: str
    numbers: pd.DataFrame
    curve: pd.DataFrame
    readings: pd.DataFrame
    fell: tuple[float, float] | None
    tried: pd.DataFrame
    level: float
    checks: tuple[str, ...]
    fit: CurveFit | None = field(repr=False)
    photos: pd.DataFrame = field(
        repr=False, default_factory=lambda: pd.DataFrame(columns=["hours", "ratio", "photo"])
    )

    def of(self, name: str) -> "pd.Series[Any]":
        """One row of `numbers`."""
        return self.numbers[self.numbers["name"] == name].iloc[0]

    @property
    def lag_hours(self) -> float:
        """Hours until the steepest tangent leaves the start."""
        return float(self.of("lag_hours")["estimate"])

    @property
    def speed_per_hour(self) -> float:
        """Top speed, in starting volumes per hour."""
        return float(self.of("speed_per_hour")["estimate"])

    @property
    def plateau_ratio(self) -> float:
        """Proof ratio it levels off at."""
        return float(self.of("plateau_ratio")["estimate"])

    @property
    def double_hours(self) -> float:
        """Hours until double the volume; NaN where it was not and cannot be told."""
        return float(self.of("double_hours")["estimate"])

    @property
    def headline(self) -> str:
        """When it was double."""
        row, top = self.of("double_hours"), float(self.readings["ratio"].max())
        last = float(self.readings["hours"].max())
        if math.isnan(row["estimate"]):
            if self.fit is not None and float(self.of("plateau_ratio")["high"]) < 2:
                return f"It was not double: it levels off near {self.plateau_ratio:.2f} times."
            return f"It was not double yet after {clock(last)}: {top:.2f} times its start."
        if self.fit is None:
            low, high = clock(row["low"]), clock(row["high"])
            if low == high:
                return f"It was double about {clock(row['estimate'])} after the start."
            where = f"between {low} and {high}"
            if math.isinf(row["high"]):
                where = f"after {clock(row['low'])}, perhaps not yet"
            return f"It was double {where}, about {clock(row['estimate'])} after the start."
        sure = f"({span(row['low'], row['high'])})"
        verb = "would be" if row["estimate"] > last else "was"
        return f"It {verb} double {clock(row['estimate'])} after the start {sure}."

    @property
    def sentence(self) -> str:
        """Lag, top speed, plateau and fall."""
        parts = []
        if self.fit is not None:
            lag, speed, plateau = (
                self.of(k) for k in ("lag_hours", "speed_per_hour", "plateau_ratio")
            )
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
        elif 0 < self.speed_per_hour < _FASTEST:
            fast = f"{self.speed_per_hour:.2g} of its starting volume an hour"
            parts.append(f"At its fastest it gained {fast}.")
        if self.fell is not None:
            when, top = clock(self.fell[0]), f"{self.fell[1]:.2f} times"
            parts.append(
                f"After {when} it fell, from {top}: it had proofed past what it could hold."
            )
        return " ".join(parts)

    @property
    def next_step(self) -> str:
        """What to do next. Common practice, no source."""
        row = self.of("double_hours")
        if self.fell is not None:
            return (
                "Next: cook it earlier; aim at the ratio you like best, not at the most it can do."
            )
        if math.isnan(row["estimate"]):
            return "Next: keep looking every quarter of an hour until it has passed double."
        if self.shape == "between":
            often = "Next: read it every quarter to half hour"
            return f"{often}, from the start until it has passed double."
        width = (row["high"] - row["low"]) / row["estimate"]
        if not width < 0.25:
            return "Next: a few more readings around double would narrow the time most."
        return "Next: record other doughs the same way; the time differs from dough to dough."

    @property
    def method(self) -> str:
        """Model, intervals and sources, for a statistician."""
        if self.fit is None:
            how = (
                "monotone cubic through isotonic values"
                if self.shape == "smooth"
                else "straight lines"
            )
            return f"For the statistician: {how} between readings; limits are readings."
        stated = " times the stated uncertainty" if self.fit.stated else ""
        held = "t" if math.isfinite(self.fit.df) else "normal"
        degrees = f" with {self.fit.df:.0f} df" if math.isfinite(self.fit.df) else ""
        both = "; ".join(
            f"{row.shape} +{row.misfit:.1f}" for row in self.tried.itertuples(index=False)
        )
        return (
            f"For the statistician: modified {self.shape} curve (Zwietering et al. 1990) from a "
            f"ratio of 1, least squares, residual SD {self.fit.sd:.2g}{stated}; "
            f"{100 * self.level:.0f} % {held} intervals{degrees} by the delta method, "
            "speed, gain and time to double on the logarithm. "
            f"−2 log likelihood above the better: {both}."
        )

    def __repr__(self) -> str:
        double = self.of("double_hours")
        span = f"{double['estimate']:.3g} h [{double['low']:.3g}, {double['high']:.3g}]"
        return f"<RiseCurve {self.shape}, {len(self.readings)} readings: double at {span}>"

    def tells(self) -> Telling:
        """What it says."""
        texts = (self.sentence, DOUBLE_IS, self.next_step)
        return Telling(self.headline, texts, self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn: ``kind, name, hours, ratio, estimate, low, high``."""
        parts = [
            self.numbers.assign(kind="number"),
            self.curve.assign(kind="curve"),
            self.readings.assign(kind="reading"),
        ]
        columns = ["kind", "name", "hours", "ratio", "estimate", "low", "high", "u", "used"]
        return pd.concat(parts, ignore_index=True).reindex(columns=columns)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw readings, curve and the time to double with its interval."""
        from kit import charts

        return charts.rise_curve(self, ax)


def about_shape(chosen: str, tried: pd.DataFrame, fits: Mapping[str, CurveFit]) -> list[str]:
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
