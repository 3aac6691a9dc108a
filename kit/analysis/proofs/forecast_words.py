"""A forecast, and every sentence about it."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.proofs.rise_words import DOUBLE_IS, clock, span
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.proofs.forecast_prior import Earlier

__all__ = ["Forecast", "cautions"]

#: From this chance on it is said that it may never be double.
_TELL = 0.05
_QUICK = (
    "a dough that is much quicker than two hours may be double before these times, so look early, "
    "and "
)
#: and from this one no finer than "more than 95 %": the curve itself is an assumption
_SURE = 0.95


@dataclass(frozen=True)
class Forecast(Told):
    """When a dough will be double.

    Parameters
    ----------
    hours, low, high : float
        Since the start: as likely before as after, and an interval, both of a dough that becomes
        double; infinite where it more likely never does.
    last_hours : float
        Hours since the start of the last reading; 0 before the first.
    top_ratio : float
        The highest ratio read so far; 1 before the first.
    now_hours : float
        Hours since the start at which this is told.
    look_hours : float
        Hours since the start at which to look again.
    never : float
        Chance that it levels off before double.
    now : datetime or None
        Clock time at `now_hours`.
    room_temp_c : float or None
    earlier : tuple
        Names of the earlier doughs it rests on.
    readings : DataFrame
        ``hours, ratio``.
    curve : DataFrame
        ``hours, ratio, low, high``: what to expect.
    level : float
    checks : tuple of str
    """

    hours: float
    low: float
    high: float
    last_hours: float
    top_ratio: float
    now_hours: float
    look_hours: float
    never: float
    now: datetime | None
    room_temp_c: float | None
    earlier: tuple[object, ...]
    readings: pd.DataFrame
    curve: pd.DataFrame
    level: float
    checks: tuple[str, ...]

    def at(self, hours: float) -> datetime | None:
        """Clock time of an hour since the start; None without `now` or where it is never."""
        if self.now is None or not np.isfinite(hours):
            return None
        ahead = timedelta(hours=hours - self.now_hours)
        if self.now.tzinfo is None:
            return self.now + ahead
        # by way of UTC: an hour is an hour also in the night the clocks are changed
        return (self.now.astimezone(UTC) + ahead).astimezone(self.now.tzinfo)

    @property
    def doubled(self) -> bool:
        """Whether a reading was double already."""
        return self.top_ratio >= 2

    @property
    def expected(self) -> str:
        """When it will be double."""
        if self.doubled:
            return "It has doubled."
        sure = f"with {100 * self.level:.0f} %"
        if math.isinf(self.hours):
            return (
                "It may not become double: it is slower, or levels off sooner, than double needs."
            )
        if self._of_the_next():
            room = "" if self.room_temp_c is None else f" in a room of {self.room_temp_c:.3g} °C"
            return f"A dough{room} doubles in about {clock(self.hours)} ({self._lasting()} {sure})."
        if self.hours <= self.now_hours:
            return f"It is probably double already ({self._span()} {sure})."
        return f"Double {self._at(self.hours)} ({self._span()} {sure})."

    @property
    def look(self) -> str:
        """When to look again; empty where there is nothing to look at."""
        if self.doubled or self._of_the_next():
            return ""
        if self.look_hours <= self.now_hours:
            return "Look at it now."
        return f"Look again {self._at(self.look_hours, about='')}."

    @property
    def headline(self) -> str:
        """When it will be double, and when to look again."""
        return f"{self.expected} {self.look}".strip()

    @property
    def rests_on(self) -> str:
        """Readings and earlier doughs."""
        parts = []
        if len(self.readings):
            parts.append(f"{words.plural(len(self.readings), 'reading')} of this dough")
        if self.earlier:
            parts.append(f"{words.plural(len(self.earlier), 'earlier dough')} of yours")
        else:
            parts.append(
                "usual practice (a cold dough doubles in about two hours at 22 °C, no source)"
            )
        text = f"It rests on {words.join(parts)}."
        if self.never >= _TELL and not self.doubled:
            chance = f"about {100 * self.never:.0f} %" if self.never < _SURE else "more than 95 %"
            text += f" The chance that it never becomes double is {chance}."
        return text

    @property
    def method(self) -> str:
        """Model and sources, for a statistician."""
        text = (
            "For the statistician: modified Gompertz and logistic curves (Zwietering et al. 1990), "
            "each by its evidence, log gain, log speed and log fastest moment normal from dough to "
            "dough, normal–inverse-Wishart prior, readings by importance sampling; "
            f"{100 * self.level:.0f} % interval of the posterior of doughs that double"
        )
        if self.room_temp_c is not None:
            text += (
                "; temperature by the cardinal model (Rosso et al. 1993) with 2.8, 32.3 and "
                "45.4 °C (Salvado et al. 2011; the minimum is over the genus) and Newton's law of "
                "cooling"
            )
        return f"{text}."

    def _of_the_next(self) -> bool:
        """Whether it tells of doughs to come, not of one that proofs."""
        return not len(self.readings) and self.now is None

    def _at(self, hours: float, about: str = "about ") -> str:
        """Return "at about 09:52", or "in about 35 min" where the clock is not known."""
        when = self.at(hours)
        if when is not None:
            return f"at {about}{self._hand(when)}"
        return f"in {about}{clock(hours - self.now_hours)}"

    def _hand(self, when: datetime) -> str:
        """A clock time, with its day where that is not today."""
        other = "" if self.now is None or when.date() == self.now.date() else f" on {when:%Y-%m-%d}"
        return f"{when:%H:%M}{other}"

    def _span(self) -> str:
        """Between which times; from the last reading on, at which it was not double yet."""
        low, high = self.at(max(self.low, self.last_hours)), self.at(self.high)
        if low is not None and high is not None:
            return f"between {self._hand(low)} and {self._hand(high)}"
        if low is not None:
            return f"{self._hand(low)} or later"
        early = max(self.low - self.now_hours, 0.0)
        return f"in {span(early, self.high - self.now_hours)}"

    def _lasting(self) -> str:
        return (
            span(self.low, self.high)
            if math.isinf(self.high)
            else (f"between {clock(self.low)} and {clock(self.high)}")
        )

    def __repr__(self) -> str:
        return f"<Forecast double at {self.hours:.3g} h [{self.low:.3g}, {self.high:.3g}]>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.rests_on, DOUBLE_IS), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn: ``kind, hours, ratio, low, high``.

        In the rows "double" and "look again" low and high are hours, along the "curve" ratios.
        """
        told = [
            {"kind": "double", "hours": self.hours, "ratio": 2.0, "low": self.low,
             "high": self.high},
            {"kind": "look again", "hours": self.look_hours},
        ]  # fmt: skip
        parts = [
            pd.DataFrame(told),
            self.readings.assign(kind="reading"),
            self.curve.assign(kind="curve"),
        ]
        whole = pd.concat(parts, ignore_index=True)
        return whole.reindex(columns=["kind", "hours", "ratio", "low", "high"])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw readings, what to expect, and the time of double with its interval."""
        from kit import charts

        return charts.rise_forecast(self, ax)


def cautions(earlier: "Earlier | None", moved: bool, early: bool = True) -> list[str]:
    """What to know before trusting it; `early` when it may be double before it is expected."""
    notes = []
    if earlier is None or not earlier.doughs:
        notes.append(
            "without curves of your own the forecast is wide and leans on usual practice: "
            + f"{_QUICK if early else ''}record this one to its end"
        )
    elif len(earlier.doughs) < 4:
        notes.append(
            f"{words.plural(len(earlier.doughs), 'earlier dough')} cannot say much about how "
            "doughs differ: the forecast is wide"
        )
    if earlier is not None and earlier.left_out:
        names = words.join(map(str, earlier.left_out))
        notes.append(f"too few readings of {names} for a curve: left out")
    if moved:
        notes.append(
            "times are moved by temperature as yeast grows, and a cold dough is taken to warm like "
            "a lump: good for some degrees, not for the refrigerator"
        )
    return notes
