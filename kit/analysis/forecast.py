"""When a dough that is proofing now will be double, and when to look again.

What the baker's earlier doughs did, and how they differed, is brought up to date by the first
readings of this one (`forecast_prior`, `forecast_update`). Rooms of other temperatures are
allowed for by `rise_temperature`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit.analysis import forecast_words, words
from kit.analysis.forecast_clock import Clock, earlier_table, next_look
from kit.analysis.forecast_prior import (
    USUAL_HOURS,
    USUAL_ROOM_C,
    expect,
    fit_earlier,
)
from kit.analysis.forecast_update import Mixture, update, weighted_quantile
from kit.analysis.moments import Floats
from kit.analysis.rise_models import SHAPES
from kit.analysis.rise_readings import read_rise
from kit.analysis.rise_temperature import (
    FRIDGE_C,
    SPREAD_PER_10_C,
    refuse_outside,
)
from kit.analysis.rise_words import DOUBLE_IS
from kit.errors import DataError, InputError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Forecast", "double_at", "forecast"]

#: Without earlier curves so many readings after the start are asked for.
LEAST = 3


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
        return forecast_words.expected(self)

    @property
    def look(self) -> str:
        """When to look again; empty where there is nothing to look at."""
        return forecast_words.look(self)

    @property
    def headline(self) -> str:
        """When it will be double, and when to look again."""
        return f"{self.expected} {self.look}".strip()

    @property
    def rests_on(self) -> str:
        """Readings and earlier doughs."""
        return forecast_words.rests_on(self)

    @property
    def method(self) -> str:
        """Model and sources, for a statistician."""
        return forecast_words.method(self)

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


def forecast(
    hours: Sequence[float] | Floats,
    ratios: Sequence[float] | Floats,
    earlier: pd.DataFrame | None = None,
    room_temp_c: float | None = None,
    earlier_temps: Mapping[Any, float] | float | None = None,
    now: datetime | None = None,
    level: float = 0.9,
    u: float | Sequence[float] | None = None,
    start_temp_c: float | None = FRIDGE_C,
    seed: int = 1,
    now_hours: float | None = None,
) -> Forecast:
    """Forecast when a dough will be double.

    Parameters
    ----------
    hours, ratios : sequence of float
        Readings so far, as in `kit.analysis.rise.rise`. With earlier curves they may be empty.
    earlier : DataFrame, optional
        Readings of the baker's earlier doughs of this kind: ``dough, hours, proof_ratio``, one
        row a reading; a column ``room_temp_c`` may stand for `earlier_temps`.
    room_temp_c : float, optional
        The room now, between 15 and 35 °C.
    earlier_temps : mapping of dough to float, or float, optional
        The rooms of the earlier doughs. Both must be given, or neither: then the rooms are
        taken as alike.
    now : datetime, optional
        Clock time at `now_hours`: times are then told by the clock.
    level : float
        Of the interval.
    u : float or sequence, optional
        Standard uncertainty of a ratio.
    start_temp_c : float, optional
        Of all doughs at the start; None where they had the room's temperature.
    seed : int
        Of the draws.
    now_hours : float, optional
        Hours since the start at which it is asked; those of the last reading when not given (0
        before the first). No look is told for earlier.

    Returns
    -------
    Forecast

    Raises
    ------
    DataError
        Too few readings, where there are no earlier curves.
    InputError, NotFoundError
        A temperature, reading or column that cannot be used.

    Examples
    --------
    >>> forecast([0.5, 1.0, 1.5], [1.04, 1.2, 1.5], seed=1).hours < 2.6
    True
    """
    if not 0 < level < 1:
        raise InputError("level", level, "must lie between 0 and 1", "Give 0.9 for 90 %.")
    t, r, spread, notes = _readings(hours, ratios, u)
    table = None if earlier is None else earlier_table(earlier, earlier_temps)
    if len(t) < LEAST and (table is None or table.empty):
        count = words.plural(len(t), "reading")
        msg = (
            f"{count} after the start and no earlier curves: too early to say when it will be "
            f"double. {LEAST} readings or more are needed; a quarter to half an hour apart will "
            "do. (Usual practice is about two hours for a cold dough at 22 °C.)"
        )
        raise DataError(msg)
    last = float(t[-1]) if len(t) else 0.0
    told = last if now_hours is None else now_hours
    if not np.isfinite(told) or told < last:
        remedy = "Give the hours since the start, or leave it out."
        raise InputError("now_hours", told, f"is before the last reading ({last:.3g} h)", remedy)
    clock = Clock(room_temp_c, start_temp_c)
    return _tell(clock, table, (t, r, spread), told, now, level, seed, notes)


def double_at(
    temp_c: float,
    earlier: pd.DataFrame | None = None,
    earlier_temps: Mapping[Any, float] | float | None = None,
    level: float = 0.9,
    start_temp_c: float | None = FRIDGE_C,
    seed: int = 1,
) -> Forecast:
    """Say how long the next dough will take to double in a room of another temperature.

    The baker's own times are moved by temperature as yeast grows (`kit.analysis.rise_temperature`),
    by some degrees, between 15 and 35 °C. The further it is moved, the wider the interval.

    Parameters
    ----------
    temp_c : float
        Of the room.
    earlier, earlier_temps, level, start_temp_c, seed
        As in `forecast`. Without earlier curves it rests on usual practice.

    Returns
    -------
    Forecast
        Without a reading.

    Raises
    ------
    InputError, NotFoundError
        A temperature outside 15 to 35 °C, one that is missing, a column that is not there.

    Examples
    --------
    >>> cool, warm = double_at(19.0), double_at(26.0)
    >>> warm.hours < cool.hours
    True
    """
    table = None if earlier is None else earlier_table(earlier, earlier_temps)
    clock = Clock(temp_c, start_temp_c)
    nothing = (np.empty(0), np.empty(0), None)
    return _tell(clock, table, nothing, 0.0, None, level, seed, ())


def _tell(
    clock: Clock,
    table: pd.DataFrame | None,
    read: tuple[Floats, Floats, Floats | None],
    told: float,
    now: datetime | None,
    level: float,
    seed: int,
    notes: tuple[str, ...],
) -> Forecast:
    """What is expected of a dough, its readings, and what both say together."""
    t, r, spread = read
    own, moved, more = _on_this_clock(table, clock)
    pasts = {name: None if own is None else fit_earlier(own, SHAPES[name]) for name in SHAPES}
    draws = Mixture([
        update(expect(clock.usual(), past, moved, SHAPES[name]), clock.there(t), r, spread, seed)
        for name, past in pasts.items()
    ])  # fmt: skip
    past = pasts["gompertz"]
    times = clock.back(draws.double())
    never = float(draws.weight[~np.isfinite(times)].sum())
    # one chance in twenty of never, told by itself, would leave the interval without an end
    becomes = 1 - never if never < 0.5 else 1.0
    middle, low, high = (
        weighted_quantile(times, draws.weight, chance * becomes)
        for chance in (0.5, (1 - level) / 2, (1 + level) / 2)
    )
    last_hours = float(t[-1]) if len(t) else 0.0
    top = float(r.max()) if len(r) else 1.0
    look = np.nan if top >= 2 else max(next_look(last_hours, middle, low, high), told)
    return Forecast(
        hours=middle,
        low=low,
        high=high,
        last_hours=last_hours,
        top_ratio=top,
        now_hours=told,
        look_hours=look,
        never=never,
        now=now,
        room_temp_c=clock.room,
        earlier=() if past is None else past.doughs,
        readings=pd.DataFrame({"hours": t, "ratio": r}),
        curve=_fan(draws, clock, _until(last_hours, middle, high), level),
        level=level,
        checks=(*notes, *more, *forecast_words.cautions(past, table is not None, clock.moved)),
    )


def _readings(
    hours: Any, ratios: Any, u: Any
) -> tuple[Floats, Floats, Floats | None, tuple[str, ...]]:
    """Readings up to the highest; none where only the start is there."""
    after = np.asarray(hours, dtype=float).reshape(-1)
    if not (after > 0).any():
        return np.empty(0), np.empty(0), None, ()
    read = read_rise(hours, ratios, u)
    return (*read.rising(), read.checks)


def _on_this_clock(
    table: pd.DataFrame | None, clock: Clock
) -> tuple[pd.DataFrame | None, float, list[str]]:
    """Earlier readings on this room's clock, how far they were moved, and what to know."""
    if table is None or table.empty:
        off = 0.0 if clock.room is None else abs(clock.room - USUAL_ROOM_C)
        return None, SPREAD_PER_10_C * off / 10, []
    known = "room_temp_c" in table and bool(table["room_temp_c"].notna().all())
    if known != (clock.room is not None):
        missing = "of the earlier doughs" if clock.room is not None else "of this dough's room"
        remedy = "Give room_temp_c and earlier_temps, or neither to take all rooms as alike."
        raise InputError("room_temp_c", clock.room, f"the temperature {missing} is missing", remedy)
    if not known:
        note = "temperatures were not given: all rooms are taken as equally warm"
        return table, 0.0, [note]
    for room in table["room_temp_c"].unique():
        refuse_outside(float(room), "earlier_temps")
    parts = [
        part.assign(hours=clock.there(part["hours"].to_numpy(dtype=float), float(str(room))))
        for room, part in table.groupby(table["room_temp_c"].astype(float))
    ]
    rooms = table.groupby("dough", observed=True)["room_temp_c"].first()
    away = abs(float(clock.room or 0.0) - float(rooms.mean()))
    return pd.concat(parts).sort_index(), SPREAD_PER_10_C * away / 10, []


def _until(last: float, middle: float, high: float) -> float:
    """How far the curve is drawn: to the end of the interval, within reason."""
    ends = [end for end in (high, 3 * middle) if np.isfinite(end)]
    return max(last, min(ends, default=2 * last or 2 * USUAL_HOURS))


def _fan(draws: Mixture, clock: Clock, until: float, level: float) -> pd.DataFrame:
    """Ratio to expect along time, with its interval."""
    t, chances = np.linspace(0, until, 61), (0.5, (1 - level) / 2, (1 + level) / 2)
    rows = [
        [weighted_quantile(column, draws.weight, chance) for chance in chances]
        for column in draws.ratio(clock.there(t)).T
    ]
    table = pd.DataFrame(rows, columns=["ratio", "low", "high"])
    table.insert(0, "hours", t)
    return table
